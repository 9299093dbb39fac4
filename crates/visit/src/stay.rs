//! The visits of a round: which units have one open, and how far a unit that was locked out is back in service. A visit outlives its
//! checks, a pause and a restart: [`Recall`] is what a caller remembers of one.
//!
//! Does not know hold points, readings or what is owed; the round says what happened to a unit.

use alloc::collections::BTreeMap;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use crate::restoration::Owed;

/// Visits open at one time at most; beyond them no check of a further unit is armed.
const VISITS_MAX: usize = 256;

/// How far a unit is back in service, as far as its visit knows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Service {
    /// Nobody locked it out in this visit.
    #[default]
    Untouched,
    /// It was locked out, and nothing says that it has power again.
    LockedOut,
    /// It has power again, and nothing says that it has run since.
    PowerBack,
    /// It has run since it was locked out.
    Ran,
}

impl Service {
    const NAMED: [(Self, &'static str); 3] =
        [(Self::LockedOut, "locked out"), (Self::PowerBack, "power back"), (Self::Ran, "ran")];

    /// The word in the history and in recordings; `None` while nobody locked it out.
    #[must_use]
    pub fn word(self) -> Option<&'static str> {
        Self::NAMED.iter().find(|(service, _)| *service == self).map(|(_, word)| *word)
    }

    /// Reads that word.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::NAMED.iter().find(|(_, known)| *known == word).map(|(service, _)| *service)
    }

    /// What is not in order about it, at the end of a visit.
    #[must_use]
    pub const fn lacks(self) -> Option<&'static str> {
        match self {
            Self::Untouched | Self::Ran => None,
            Self::LockedOut => Some("it was locked out, and nothing says that it has power again"),
            Self::PowerBack => Some("it was locked out, and nothing says that it has run since"),
        }
    }

    /// What puts that in order.
    pub(crate) const fn next_step(self) -> Option<&'static str> {
        match self {
            Self::Untouched | Self::Ran => None,
            Self::LockedOut => Some("say power back, then take a check of the running unit"),
            Self::PowerBack => Some("take a check of the running unit"),
        }
    }
}

/// What is remembered of a visit that is still open. What makes people safe is not among it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Recall {
    /// The unit's tag.
    pub unit_tag: String,
    /// What must be put back there.
    pub owed: Vec<Owed>,
    /// The checks that have a verdict, each by its component and its rule.
    pub judged: Vec<(String, String)>,
    /// Those of them whose last word is a fail or a conditional fail: what they would show stands nowhere.
    pub failed: Vec<(String, String)>,
    /// How many findings there are.
    pub findings: u32,
    /// How far the unit is back in service.
    pub service: Service,
    /// The visit is closed, and only what it left undone counts: it is owed to the next one.
    pub closed: bool,
}

/// All open visits, each by its unit.
#[derive(Clone, Debug, Default)]
pub(crate) struct Stays(BTreeMap<String, Service>);

impl Stays {
    /// Whether a visit at this unit is open, or may be opened.
    pub(crate) fn has_room(&self, unit_tag: &str) -> bool {
        self.is_open(unit_tag) || self.0.len() < VISITS_MAX
    }

    /// Whether a visit at this unit is open.
    pub(crate) fn is_open(&self, unit_tag: &str) -> bool {
        self.0.contains_key(unit_tag)
    }

    /// Something is done at this unit; says whether the visit begins with it.
    pub(crate) fn open(&mut self, unit_tag: &str) -> bool {
        let is_new = !self.is_open(unit_tag);
        if is_new {
            self.0.insert(unit_tag.to_string(), Service::Untouched);
        }
        is_new
    }

    /// A visit that was open before the round began, or at another machine. What the round itself saw counts more.
    pub(crate) fn recall(&mut self, unit_tag: &str, service: Service) {
        let known = self.0.entry(unit_tag.to_string()).or_default();
        if *known == Service::Untouched {
            *known = service;
        }
    }

    /// The unit of an open visit, by its tag in capitals or not.
    pub(crate) fn find(&self, unit_tag: &str) -> Option<&str> {
        self.0.keys().map(String::as_str).find(|known| known.eq_ignore_ascii_case(unit_tag))
    }

    /// Units that have a visit open.
    pub(crate) fn units(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }

    /// How far this unit is back in service.
    pub(crate) fn service(&self, unit_tag: &str) -> Service {
        self.0.get(unit_tag).copied().unwrap_or_default()
    }

    /// The unit was locked out; what changed.
    pub(crate) fn locked_out(&mut self, unit_tag: &str) -> Option<Service> {
        self.go(unit_tag, Service::LockedOut, |_| true)
    }

    /// The unit has power; what changed.
    pub(crate) fn power_back(&mut self, unit_tag: &str) -> Option<Service> {
        self.go(unit_tag, Service::PowerBack, |now| now == Service::LockedOut)
    }

    /// The unit runs, so it has power too; what changed.
    pub(crate) fn ran(&mut self, unit_tag: &str) -> Option<Service> {
        self.go(unit_tag, Service::Ran, |now| now != Service::Untouched)
    }

    fn go(&mut self, unit_tag: &str, to: Service, from: impl Fn(Service) -> bool) -> Option<Service> {
        let now = self.0.get_mut(unit_tag).filter(|now| **now != to && from(**now))?;
        *now = to;
        Some(to)
    }

    /// The visit at this unit has ended.
    pub(crate) fn close(&mut self, unit_tag: &str) {
        self.0.remove(unit_tag);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_that_was_locked_out_is_back_when_it_has_run() {
        let mut stays = Stays::default();
        assert!(stays.open("RTU-07") && !stays.open("RTU-07"));
        assert_eq!((stays.power_back("RTU-07"), stays.ran("RTU-07")), (None, None), "never locked out");
        assert_eq!(stays.service("RTU-07").lacks(), None);
        assert_eq!(stays.locked_out("RTU-07"), Some(Service::LockedOut));
        assert_eq!(stays.locked_out("RTU-07"), None, "said once");
        assert!(stays.service("RTU-07").lacks().unwrap().contains("power"));
        assert_eq!(stays.power_back("RTU-07"), Some(Service::PowerBack));
        assert!(stays.service("RTU-07").lacks().unwrap().contains("run"));
        assert_eq!(stays.ran("RTU-07"), Some(Service::Ran));
        assert_eq!(stays.service("RTU-07").lacks(), None);
        // Locked out again, everything begins anew; a unit that runs has power.
        assert_eq!(stays.locked_out("RTU-07"), Some(Service::LockedOut));
        assert_eq!(stays.ran("RTU-07"), Some(Service::Ran));
        assert_eq!(stays.power_back("RTU-07"), None);
        assert_eq!(stays.locked_out("RTU-08"), None, "no visit is open there");
    }

    #[test]
    fn a_recall_remembers_and_does_not_cover_what_was_seen_since() {
        let mut stays = Stays::default();
        stays.recall("RTU-07", Service::LockedOut);
        assert!(!stays.open("RTU-07"));
        assert_eq!(stays.service("RTU-07"), Service::LockedOut);
        stays.ran("RTU-07");
        stays.recall("RTU-07", Service::LockedOut);
        assert_eq!(stays.service("RTU-07"), Service::Ran);
        assert_eq!((stays.find("rtu-07"), stays.find("RTU-08")), (Some("RTU-07"), None));
        stays.close("RTU-07");
        assert_eq!(stays.units().count(), 0);
    }

    #[test]
    fn it_is_bounded() {
        let mut stays = Stays::default();
        for n in 0..VISITS_MAX {
            assert!(stays.open(&alloc::format!("RTU-{n}")));
        }
        assert!(stays.has_room("RTU-0") && !stays.has_room("one more"));
    }

    #[test]
    fn a_service_is_read_by_its_word() {
        for service in [Service::LockedOut, Service::PowerBack, Service::Ran] {
            assert_eq!(service.word().and_then(Service::of_word), Some(service));
        }
        assert_eq!((Service::Untouched.word(), Service::of_word("untouched")), (None, None));
    }
}
