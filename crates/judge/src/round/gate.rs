//! The standing hold points: what was shown, for which unit, component or leads, and until when.
//! Does not know rules or readings.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Instant;

use crate::hold::{self, Evidence, Scope};

/// Where a hold point was shown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place<'a> {
    pub(super) unit_tag: &'a str,
    pub(super) component: &'a str,
}

#[derive(Clone, Debug)]
struct Standing {
    name: String,
    unit_tag: String,
    component: String,
    evidence: Evidence,
}

impl Standing {
    fn until(&self) -> Instant {
        self.evidence.at + hold::of(&self.name).lasts
    }

    fn reaches(&self, place: Place<'_>) -> bool {
        match hold::of(&self.name).scope {
            Scope::Leads => true,
            Scope::Unit => self.unit_tag == place.unit_tag,
            Scope::Component => self.unit_tag == place.unit_tag && self.component == place.component,
        }
    }
}

/// All hold points that stand now.
#[derive(Clone, Debug, Default)]
pub(super) struct Gate {
    standing: Vec<Standing>,
}

impl Gate {
    /// The evidence for a hold point at this place, if it stands.
    pub(super) fn evidence(&self, name: &str, place: Place<'_>) -> Option<&Evidence> {
        self.standing.iter().find(|s| s.name == name && s.reaches(place)).map(|s| &s.evidence)
    }

    /// Seconds until it lapses.
    pub(super) fn lapses_in_s(&self, name: &str, place: Place<'_>, now: Instant) -> Option<f64> {
        let standing = self.standing.iter().find(|s| s.name == name && s.reaches(place))?;
        Some(standing.until().since(now).seconds())
    }

    pub(super) fn show(&mut self, name: &str, place: Place<'_>, evidence: Evidence) {
        self.standing.retain(|s| !(s.name == name && s.reaches(place)));
        self.standing.push(Standing {
            name: name.to_string(),
            unit_tag: place.unit_tag.to_string(),
            component: place.component.to_string(),
            evidence,
        });
    }

    /// When the next one lapses.
    pub(super) fn next_lapse(&self) -> Option<Instant> {
        self.standing.iter().map(Standing::until).min()
    }

    /// Removes and names those whose time is over, earliest first.
    pub(super) fn lapse_due(&mut self, now: Instant) -> Vec<(String, Instant)> {
        let mut due: Vec<(String, Instant)> = Vec::new();
        self.standing.retain(|s| {
            let until = s.until();
            if until <= now {
                due.push((s.name.clone(), until));
            }
            until > now
        });
        due.sort_by_key(|(_, until)| *until);
        due
    }

    /// Removes and names what power on this unit undoes.
    pub(super) fn energised(&mut self, unit_tag: &str) -> Vec<String> {
        self.remove(|s| s.unit_tag == unit_tag && hold::of(&s.name).undone_by_power)
    }

    /// Removes one by name at this place; true if it stood.
    pub(super) fn withdraw(&mut self, name: &str, place: Place<'_>) -> bool {
        !self.remove(|s| s.name == name && s.reaches(place)).is_empty()
    }

    fn remove(&mut self, which: impl Fn(&Standing) -> bool) -> Vec<String> {
        let mut gone = Vec::new();
        self.standing.retain(|s| {
            let remove = which(s);
            if remove {
                gone.push(s.name.clone());
            }
            !remove
        });
        gone
    }
}
