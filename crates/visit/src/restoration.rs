//! What is owed to a unit: whatever was taken off, opened or forced for a check and must be put back before the visit closes.
//! It outlives a pause and a span in which nobody watched: what makes you safe is forgotten, what you owe is remembered.
//!
//! Does not ask for anything, nor know checks.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use crate::hold::{self, Scope};
use crate::job::Place;

/// Things owed at most; beyond them the hold point that takes something off is refused.
const OWED_MAX: usize = 256;

/// One thing that must be put back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Owed {
    /// The unit.
    pub unit_tag: String,
    /// The component; empty where it is of the whole unit.
    pub component: String,
    /// The hold point for which it was taken off.
    pub hold_point: String,
    /// What puts it back.
    pub what: String,
}

/// All that is owed, in the order in which it was taken off.
#[derive(Clone, Debug, Default)]
pub(crate) struct Restoration(Vec<Owed>);

impl Restoration {
    /// Whether nothing more can be owed.
    pub(crate) fn is_full(&self) -> bool {
        self.0.len() >= OWED_MAX
    }

    /// A hold point was shown here; gives what is owed for it, the first time.
    pub(crate) fn shown(&mut self, name: &str, place: Place<'_>) -> Option<Owed> {
        let known = hold::of(name);
        let what = known.owes?.to_string();
        let component = if known.scope == Scope::Component { place.component } else { "" };
        let owed = Owed {
            unit_tag: place.unit_tag.to_string(),
            component: component.to_string(),
            hold_point: name.to_string(),
            what,
        };
        if self.0.contains(&owed) || self.is_full() {
            return None;
        }
        self.0.push(owed.clone());
        Some(owed)
    }

    /// Something was taken off, opened or forced for a check by this title; gives what is owed for it, the first time. Beyond the bound
    /// nothing more is owed.
    pub(crate) fn take_off(&mut self, what: &str, title: &str, place: Place<'_>) -> Option<Owed> {
        let owed = Owed {
            unit_tag: place.unit_tag.to_string(),
            component: place.component.to_string(),
            hold_point: title.to_string(),
            what: what.to_string(),
        };
        if self.0.contains(&owed) || self.is_full() {
            return None;
        }
        self.0.push(owed.clone());
        Some(owed)
    }

    /// What was owed to this unit before, here or at another machine.
    pub(crate) fn recall(&mut self, unit_tag: &str, owed: Vec<Owed>) {
        for owed in owed.into_iter().take(OWED_MAX) {
            let owed = Owed { unit_tag: unit_tag.to_string(), ..owed };
            if !self.0.contains(&owed) {
                self.0.push(owed);
            }
        }
    }

    /// What is owed to this unit; to every unit without one.
    pub(crate) fn owed(&self, unit_tag: Option<&str>) -> impl Iterator<Item = &Owed> {
        self.0.iter().filter(move |owed| unit_tag.is_none_or(|tag| owed.unit_tag == tag))
    }

    /// Somebody says that this is back: the hold point's name, or what is owed, in words, with its component or without. Where several components of the unit owe
    /// the same, the one under work is meant.
    ///
    /// # Errors
    /// What is owed instead.
    pub(crate) fn restored(&mut self, what: &str, place: Place<'_>) -> Result<Owed, String> {
        let named = |owed: &Owed| {
            let same = |known: &str| known.to_lowercase() == what.to_lowercase();
            owed.unit_tag == place.unit_tag
                && [&owed.hold_point, &owed.what, &owed.in_words(), &owed.name()]
                    .into_iter()
                    .any(|known| same(known))
        };
        let found: Vec<usize> = (0..self.0.len()).filter(|at| self.0.get(*at).is_some_and(named)).collect();
        let here =
            found.iter().find(|at| self.0.get(**at).is_some_and(|owed| owed.component == place.component));
        let at = here.or_else(|| found.first().filter(|_| found.len() == 1));
        match at {
            Some(at) => Ok(self.0.remove(*at)),
            None => Err(self.refusal(what, place)),
        }
    }

    fn refusal(&self, what: &str, place: Place<'_>) -> String {
        let owed: Vec<String> = self.owed(Some(place.unit_tag)).map(Owed::in_words).collect();
        let unit_tag = place.unit_tag;
        if owed.is_empty() {
            let nothing = alloc::format!("{what:?} was not taken: nothing is owed to {unit_tag}");
            let elsewhere = self.0.first().map(|owed| owed.unit_tag.as_str());
            return elsewhere.map_or(nothing.clone(), |tag| {
                alloc::format!("{nothing}, but to {tag}: say unit {tag} first")
            });
        }
        alloc::format!("{what:?} was not taken: {unit_tag} is owed {}", owed.join("; "))
    }
}

impl Owed {
    /// Component and what puts it back.
    #[must_use]
    pub fn in_words(&self) -> String {
        if self.component.is_empty() {
            return alloc::format!("{} ({})", self.what, self.hold_point);
        }
        alloc::format!("{}: {} ({})", self.component, self.what, self.hold_point)
    }

    /// Component and hold point: `condenser fan 1 / one lead off`; the hold point alone where it is of the whole unit.
    #[must_use]
    pub fn name(&self) -> String {
        if self.component.is_empty() {
            return self.hold_point.clone();
        }
        alloc::format!("{} / {}", self.component, self.hold_point)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at<'a>(unit_tag: &'a str, component: &'a str) -> Place<'a> {
        Place::new(unit_tag, component)
    }

    #[test]
    fn a_lead_taken_off_is_owed_once_and_put_back_once() {
        let mut restoration = Restoration::default();
        assert_eq!(restoration.shown("locked out", at("RTU-07", "C1")), None);
        let owed = restoration.shown("one lead off", at("RTU-07", "C1")).unwrap();
        assert_eq!((owed.component.as_str(), owed.hold_point.as_str()), ("C1", "one lead off"));
        assert_eq!(restoration.shown("one lead off", at("RTU-07", "C1")), None, "owed already");
        assert_eq!(restoration.owed(Some("RTU-08")).count(), 0);
        assert_eq!(restoration.restored("One lead off", at("RTU-07", "C1")), Ok(owed));
        let why = restoration.restored("one lead off", at("RTU-07", "C1")).unwrap_err();
        assert_eq!(why, "\"one lead off\" was not taken: nothing is owed to RTU-07");
    }

    #[test]
    fn of_two_components_the_one_under_work_is_meant_and_else_it_is_asked() {
        let mut restoration = Restoration::default();
        for component in ["C1", "C2"] {
            restoration.shown("one lead off", at("RTU-07", component)).unwrap();
        }
        let why = restoration.restored("one lead off", at("RTU-07", "supply")).unwrap_err();
        assert!(why.contains("C1: ") && why.contains("C2: "), "{why}");
        let why = restoration.restored("one lead off", at("RTU-08", "supply")).unwrap_err();
        assert_eq!(
            why,
            "\"one lead off\" was not taken: nothing is owed to RTU-08, but to RTU-07: say unit RTU-07 first"
        );
        let words = restoration.owed(None).map(Owed::in_words).last().unwrap();
        assert_eq!(restoration.restored(&words, at("RTU-07", "supply")).unwrap().component, "C2", "{words}");
        assert_eq!(restoration.restored("one lead off", at("RTU-07", "supply")).unwrap().component, "C1");
    }

    #[test]
    fn what_is_recalled_is_owed_once_and_put_back_as_ever() {
        let mut restoration = Restoration::default();
        let owed = restoration.shown("one lead off", at("RTU-07", "C1")).unwrap();
        let elsewhere = Owed { unit_tag: "RTU-08".to_string(), component: "C2".to_string(), ..owed.clone() };
        restoration.recall("RTU-07", Vec::from([owed.clone(), owed, elsewhere]));
        assert_eq!(restoration.owed(Some("RTU-07")).count(), 2, "each is of the unit whose visit it is");
        assert!(restoration.restored("one lead off", at("RTU-07", "C2")).is_ok());
    }

    #[test]
    fn it_is_bounded() {
        let mut restoration = Restoration::default();
        for n in 0..OWED_MAX {
            assert!(restoration.shown("one lead off", at("RTU-07", &alloc::format!("C{n}"))).is_some());
        }
        assert!(restoration.is_full());
        assert_eq!(restoration.shown("one lead off", at("RTU-07", "one more")), None);
    }
}
