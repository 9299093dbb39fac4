//! The store of standing hold points: what was shown, for which unit, component or leads, and until when.
//! Does not know rules or readings.
//!
//! It is asked at each reading when the next hold point lapses, so each is looked up among the known ones once, when
//! it is shown, and what is asked often is found in order: by place, by time of lapse, by order of showing.

use alloc::borrow::Cow;
use alloc::collections::{BTreeMap, BTreeSet};
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Instant;

use crate::hold::{self, Evidence, Power, Scope};
use crate::job::Place;

/// Hold points kept at most; the oldest goes first, which only closes gates.
pub(super) const STANDING_MAX: usize = 1_024;

/// Name, unit and component, the last two as far as the scope goes; at most one hold point stands for each.
type Key<'a> = (Cow<'a, str>, Cow<'a, str>, Cow<'a, str>);

fn key<'a>(name: &'a str, scope: Scope, place: Place<'a>) -> Key<'a> {
    let (unit_tag, component) = match scope {
        Scope::Leads => ("", ""),
        Scope::Unit => (place.unit_tag, ""),
        Scope::Component => (place.unit_tag, place.component),
    };
    (name.into(), unit_tag.into(), component.into())
}

/// A hold point that stands, or has just fallen.
#[derive(Clone, Debug)]
pub(super) struct Standing {
    pub(super) name: String,
    unit_tag: String,
    component: String,
    scope: Scope,
    undone_by_power: bool,
    /// Since when it stands without a break; showing it again before it lapses does not change this.
    since: Instant,
    /// When it lapses.
    until: Instant,
    evidence: Evidence,
}

impl Standing {
    /// Whether it counts at this place.
    pub(super) fn reaches(&self, place: Place<'_>) -> bool {
        self.key() == key(&self.name, self.scope, place)
    }

    fn key(&self) -> Key<'_> {
        let place = Place { unit_tag: &self.unit_tag, component: &self.component };
        key(&self.name, self.scope, place)
    }
}

/// All hold points that stand now.
#[derive(Clone, Debug, Default)]
pub(super) struct Gate {
    /// By the order in which they were shown; the number counts up.
    standing: BTreeMap<u64, Standing>,
    /// The number of the one that stands there.
    by_place: BTreeMap<Key<'static>, u64>,
    /// When each lapses; at equal times in the order of showing.
    lapses: BTreeSet<(Instant, u64)>,
    shown: u64,
}

impl Gate {
    fn number(&self, name: &str, scope: Scope, place: Place<'_>) -> Option<u64> {
        self.by_place.get(&key(name, scope, place)).copied()
    }

    fn find(&self, name: &str, scope: Scope, place: Place<'_>) -> Option<&Standing> {
        self.standing.get(&self.number(name, scope, place)?)
    }

    /// For each hold point of an ordered list, its evidence if it counts. One shown before an earlier one of the list
    /// stood (for another check, or before that one lapsed) does not count, nor does one behind an open one; leads are
    /// proved apart from the unit and keep no order, nor do conditions that other checks show.
    pub(super) fn evidence_of(&self, list: &[String], place: Place<'_>) -> Vec<Option<&Evidence>> {
        let mut earlier: Option<Instant> = None;
        let mut broken = false;
        let count = |name: &String| {
            let known = hold::of(name);
            let standing = self.find(name, known.scope, place);
            if !known.keeps_order {
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
        Some(self.find(name, hold::of(name).scope, place)?.until.since(now).seconds())
    }

    /// Takes it as shown; `renewed` when it still counted until now.
    pub(super) fn show(&mut self, name: &str, place: Place<'_>, evidence: Evidence, renewed: bool) {
        let known = hold::of(name);
        let before = self.number(name, known.scope, place).and_then(|number| self.take(number));
        let since = before.filter(|_| renewed).map_or(evidence.at, |s| s.since);
        if self.standing.len() >= STANDING_MAX
            && let Some((oldest, _)) = self.standing.first_key_value()
        {
            self.take(*oldest);
        }
        let standing = Standing {
            name: name.to_string(),
            unit_tag: place.unit_tag.to_string(),
            component: place.component.to_string(),
            scope: known.scope,
            undone_by_power: known.undone_by_power,
            since,
            until: evidence.at + known.lasts,
            evidence,
        };
        let number = self.shown;
        self.shown = number.saturating_add(1);
        self.lapses.insert((standing.until, number));
        self.by_place.insert(owned(standing.key()), number);
        self.standing.insert(number, standing);
    }

    /// When the next one lapses.
    pub(super) fn next_lapse(&self) -> Option<Instant> {
        self.lapses.first().map(|(until, _)| *until)
    }

    /// Removes those whose time is over, earliest first.
    pub(super) fn lapse_due(&mut self, now: Instant) -> Vec<Standing> {
        let mut due = Vec::new();
        while let Some((_, number)) = self.lapses.first().copied().filter(|(until, _)| *until <= now) {
            due.extend(self.take(number));
        }
        due
    }

    /// Removes what power undoes: on this unit, or on every unit when it is not known which has power.
    pub(super) fn energised(&mut self, unit_tag: Option<&str>) -> Vec<Standing> {
        self.take_all(|s| unit_tag.is_none_or(|unit| s.unit_tag == unit) && s.undone_by_power)
    }

    /// Removes what was shown on this unit.
    pub(super) fn leave(&mut self, unit_tag: &str) -> Vec<Standing> {
        self.take_all(|s| s.scope != Scope::Leads && s.unit_tag == unit_tag)
    }

    /// Removes one by name, wherever on this unit it stands.
    pub(super) fn end(&mut self, name: &str, unit_tag: &str) -> Vec<Standing> {
        self.take_all(|s| s.name == name && (s.unit_tag == unit_tag || s.scope == Scope::Leads))
    }

    /// Removes what rests on the isolation of this unit.
    pub(super) fn lose_isolation(&mut self, unit_tag: &str) -> Vec<Standing> {
        self.take_all(|s| s.unit_tag == unit_tag && hold::of(&s.name).power == Power::Isolated)
    }

    /// Removes what says that this unit runs.
    pub(super) fn lose_life(&mut self, unit_tag: &str) -> Vec<Standing> {
        self.take_all(|s| s.unit_tag == unit_tag && hold::of(&s.name).power == Power::Live)
    }

    fn take_all(&mut self, which: impl Fn(&Standing) -> bool) -> Vec<Standing> {
        let numbers: Vec<u64> =
            self.standing.iter().filter(|(_, s)| which(s)).map(|(number, _)| *number).collect();
        numbers.into_iter().filter_map(|number| self.take(number)).collect()
    }

    /// Removes all of them.
    pub(super) fn forget_all(&mut self) -> Vec<Standing> {
        let Self { standing, .. } = core::mem::take(self);
        standing.into_values().collect()
    }

    /// Removes one by name at this place.
    pub(super) fn withdraw(&mut self, name: &str, place: Place<'_>) -> Option<Standing> {
        let number = self.number(name, hold::of(name).scope, place)?;
        self.take(number)
    }

    fn take(&mut self, number: u64) -> Option<Standing> {
        let gone = self.standing.remove(&number)?;
        self.lapses.remove(&(gone.until, number));
        self.by_place.remove(&owned(gone.key()));
        Some(gone)
    }
}

fn owned((name, unit_tag, component): Key<'_>) -> Key<'static> {
    (name.into_owned().into(), unit_tag.into_owned().into(), component.into_owned().into())
}

#[cfg(test)]
mod tests;
