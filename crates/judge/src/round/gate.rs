//! The standing hold points: what was shown, for which unit, component or leads, and until when.
//! Does not know rules or readings.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Instant;

use crate::hold::{self, Evidence, Scope};

/// Hold points kept at most; the oldest goes first, which only closes gates.
pub(super) const STANDING_MAX: usize = 1_024;

/// Where a hold point was shown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place<'a> {
    pub(super) unit_tag: &'a str,
    pub(super) component: &'a str,
}

/// A hold point that stands, or has just fallen.
#[derive(Clone, Debug)]
pub(super) struct Standing {
    pub(super) name: String,
    unit_tag: String,
    component: String,
    /// Since when it stands without a break; showing it again before it lapses does not change this.
    since: Instant,
    evidence: Evidence,
}

impl Standing {
    fn until(&self) -> Instant {
        self.evidence.at + hold::of(&self.name).lasts
    }

    /// Whether it counts at this place.
    pub(super) fn reaches(&self, place: Place<'_>) -> bool {
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
    fn find(&self, name: &str, place: Place<'_>) -> Option<&Standing> {
        self.standing.iter().find(|s| s.name == name && s.reaches(place))
    }

    /// For each hold point of an ordered list, its evidence if it counts. One shown before an earlier one of the list
    /// stood (for another check, or before that one lapsed) does not count, nor does one behind an open one; leads are
    /// proved apart from the unit and keep no order, nor do conditions that other checks show.
    pub(super) fn evidence_of(&self, list: &[String], place: Place<'_>) -> Vec<Option<&Evidence>> {
        let mut earlier: Option<Instant> = None;
        let mut broken = false;
        let count = |name: &String| {
            let standing = self.find(name, place);
            if !hold::of(name).keeps_order {
                return standing.map(|s| &s.evidence);
            }
            let counts = standing.filter(|s| !broken && earlier.is_none_or(|at| s.evidence.at >= at));
            broken |= counts.is_none();
            earlier = earlier.max(counts.map(|s| s.since));
            counts.map(|s| &s.evidence)
        };
        list.iter().map(count).collect()
    }

    /// Seconds until it lapses.
    pub(super) fn lapses_in_s(&self, name: &str, place: Place<'_>, now: Instant) -> Option<f64> {
        Some(self.find(name, place)?.until().since(now).seconds())
    }

    /// Takes it as shown; `renewed` when it still counted until now.
    pub(super) fn show(&mut self, name: &str, place: Place<'_>, evidence: Evidence, renewed: bool) {
        let before = self.find(name, place).map(|s| s.since).filter(|_| renewed);
        self.standing.retain(|s| !(s.name == name && s.reaches(place)));
        if self.standing.len() >= STANDING_MAX {
            self.standing.remove(0);
        }
        self.standing.push(Standing {
            name: name.to_string(),
            unit_tag: place.unit_tag.to_string(),
            component: place.component.to_string(),
            since: before.unwrap_or(evidence.at),
            evidence,
        });
    }

    /// When the next one lapses.
    pub(super) fn next_lapse(&self) -> Option<Instant> {
        self.standing.iter().map(Standing::until).min()
    }

    /// Removes those whose time is over, earliest first.
    pub(super) fn lapse_due(&mut self, now: Instant) -> Vec<Standing> {
        let mut due = self.remove(|s| s.until() <= now);
        due.sort_by_key(Standing::until);
        due
    }

    /// Removes what power undoes: on this unit, or on every unit when it is not known which has power.
    pub(super) fn energised(&mut self, unit_tag: Option<&str>) -> Vec<Standing> {
        self.remove(|s| unit_tag.is_none_or(|unit| s.unit_tag == unit) && hold::of(&s.name).undone_by_power)
    }

    /// Removes all of them.
    pub(super) fn forget_all(&mut self) -> Vec<Standing> {
        core::mem::take(&mut self.standing)
    }

    /// Removes one by name at this place.
    pub(super) fn withdraw(&mut self, name: &str, place: Place<'_>) -> Option<Standing> {
        self.remove(|s| s.name == name && s.reaches(place)).pop()
    }

    fn remove(&mut self, which: impl Fn(&Standing) -> bool) -> Vec<Standing> {
        let (gone, kept) = core::mem::take(&mut self.standing).into_iter().partition(which);
        self.standing = kept;
        gone
    }
}
