//! The store of standing hold points: what was shown, for which unit, component or leads, and until when.
//! Does not know rules or readings.
//!
//! It is asked at each reading when the next hold point lapses, so each is looked up among the known ones once, when
//! it is shown, and what is asked often is found in order: by place, by time of lapse, by order of showing.

use alloc::borrow::Cow;
use alloc::collections::{BTreeMap, BTreeSet};
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Instant;

use crate::hold::{self, Evidence, How, Power, Scope};
use crate::job::Place;
use crate::model::Slot;
use judge::rule::UnitState;

/// Hold points kept at most; the oldest goes first, which only closes gates.
pub(super) const STANDING_MAX: usize = 1_024;

/// Name, unit, and the circuit, component or device, the last two as far as the scope goes; at most one hold point stands for each.
type Key<'a> = (Cow<'a, str>, Cow<'a, str>, Cow<'a, str>);

fn key<'a>(name: &'a str, scope: Scope, place: Place<'a>, device: Option<&'a str>) -> Key<'a> {
    let (unit_tag, part) = match scope {
        Scope::Leads => ("", device.unwrap_or_default()),
        Scope::Unit => (place.unit_tag, ""),
        Scope::Circuit => (place.unit_tag, place.slot.circuit.as_deref().unwrap_or_default()),
        Scope::Component | Scope::Served => (place.unit_tag, place.component),
    };
    (name.into(), unit_tag.into(), part.into())
}

/// What a hold point of this scope covers there, in words.
fn covers(scope: Scope, place: Place<'_>, device: Option<&str>) -> String {
    let unit_tag = place.unit_tag;
    match (scope, &place.slot.circuit, device) {
        (Scope::Leads, _, Some(device)) => format!("leads of {device}"),
        (Scope::Leads, _, None) => "leads".to_string(),
        (Scope::Circuit, Some(circuit), _) => format!("{unit_tag}, circuit {circuit}"),
        (Scope::Unit | Scope::Circuit, ..) => unit_tag.to_string(),
        (Scope::Component | Scope::Served, ..) if place.component.is_empty() => unit_tag.to_string(),
        (Scope::Component | Scope::Served, ..) => format!("{unit_tag}, {}", place.component),
    }
}

/// A hold point that stands, or has just fallen.
#[derive(Clone, Debug)]
pub(super) struct Standing {
    pub(super) name: String,
    unit_tag: String,
    component: String,
    slot: Slot,
    /// The device whose leads it is about, where it is about leads and a device showed it.
    device: Option<String>,
    scope: Scope,
    undone_by_power: bool,
    /// Since when it stands without a break; showing it again before it lapses does not change this.
    since: Instant,
    evidence: Evidence,
}

impl Standing {
    /// Whether it counts at this place.
    pub(super) fn reaches(&self, place: Place<'_>) -> bool {
        match self.scope {
            Scope::Leads => true,
            Scope::Served => {
                self.unit_tag == place.unit_tag && place.is_served_by(&self.component, &self.slot)
            }
            scope => self.key() == key(&self.name, scope, place, None),
        }
    }

    fn key(&self) -> Key<'_> {
        let place = Place { unit_tag: &self.unit_tag, component: &self.component, slot: &self.slot };
        key(&self.name, self.scope, place, self.device.as_deref())
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
    /// What failed where it would have shown something for what it serves, oldest first.
    failed: Vec<Failed>,
}

/// A part that failed.
#[derive(Clone, Debug)]
struct Failed {
    name: String,
    unit_tag: String,
    component: String,
    slot: Slot,
    at: Instant,
}

impl Failed {
    fn is_at(&self, place: Place<'_>) -> bool {
        self.unit_tag == place.unit_tag && self.component == place.component
    }
}

/// What shows a hold point.
#[derive(Clone, Debug)]
pub(super) struct Shown {
    pub(super) at: Instant,
    pub(super) how: How,
    /// The device, or the check whose verdict it is.
    pub(super) from: Option<String>,
}

impl Gate {
    /// The one that counts at this place, the newest of several.
    fn number(&self, name: &str, scope: Scope, place: Place<'_>) -> Option<u64> {
        let within = match scope {
            Scope::Leads => "",
            Scope::Served => place.unit_tag,
            _ => return self.by_place.get(&key(name, scope, place, None)).copied(),
        };
        let from: Key<'_> = (name.into(), within.into(), "".into());
        let all = self.by_place.range(owned(from)..).map_while(|((of, unit_tag, _), number)| {
            let standing = (of == name && unit_tag == within).then(|| self.standing.get(number))??;
            Some((*number, standing))
        });
        let mut newest = None;
        for (number, _) in all.filter(|(_, standing)| standing.reaches(place)) {
            newest = newest.max(Some(number));
        }
        newest
    }

    fn find(&self, name: &str, scope: Scope, place: Place<'_>) -> Option<&Standing> {
        let standing = self.standing.get(&self.number(name, scope, place)?)?;
        (scope != Scope::Served || !self.has_failed(standing, place)).then_some(standing)
    }

    /// What is known of the power of this unit; `None` for nothing.
    pub(super) fn state_of(&self, unit_tag: &str) -> Option<UnitState> {
        let state = |standing: &Standing| match (hold::of(&standing.name).power, standing.name.as_str()) {
            (Power::Live, "power on") => Some(UnitState::Energised),
            (Power::Live, _) => Some(UnitState::Running),
            (Power::Isolated, "locked out") => Some(UnitState::Isolated),
            _ => None,
        };
        self.standing.values().filter(|standing| standing.unit_tag == unit_tag).filter_map(state).max()
    }

    /// Whether it counts at this place.
    pub(super) fn stands(&self, name: &str, place: Place<'_>) -> bool {
        self.find(name, hold::of(name).scope, place).is_some()
    }

    /// The devices whose leads this hold point covers; `None` where it covers those of any: somebody confirmed it.
    pub(super) fn devices(&self, name: &str) -> Option<Vec<&str>> {
        let of_name = self.standing.values().filter(|standing| standing.name == name);
        of_name.map(|standing| standing.device.as_deref()).collect()
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
        Some(self.find(name, hold::of(name).scope, place)?.evidence.until.since(now).seconds())
    }

    /// Takes it as shown at this place, by the leads of `device` where it is about leads; `renewed` when it still counted until now.
    pub(super) fn show(&mut self, name: &str, place: Place<'_>, shown: Shown, renewed: bool) -> Evidence {
        let Shown { at, how, from } = shown;
        let known = hold::of(name);
        let device = from.clone().filter(|_| known.scope == Scope::Leads);
        let key = owned(key(name, known.scope, place, device.as_deref()));
        self.failed.retain(|failed| failed.name != name || !failed.is_at(place));
        let before = self.by_place.get(&key).copied().and_then(|number| self.take(number));
        let since = before.filter(|_| renewed).map_or(at, |s| s.since);
        if self.standing.len() >= STANDING_MAX
            && let Some((oldest, _)) = self.standing.first_key_value()
        {
            self.take(*oldest);
        }
        let covers = covers(known.scope, place, device.as_deref());
        let evidence = Evidence { at, how, from, covers, until: at + known.lasts };
        let standing = Standing {
            name: name.to_string(),
            unit_tag: place.unit_tag.to_string(),
            component: place.component.to_string(),
            slot: place.slot.clone(),
            device,
            scope: known.scope,
            undone_by_power: known.undone_by_power,
            since,
            evidence: evidence.clone(),
        };
        let number = self.shown;
        self.shown = number.saturating_add(1);
        self.lapses.insert((evidence.until, number));
        self.by_place.insert(key, number);
        self.standing.insert(number, standing);
        evidence
    }

    /// A check at this place did not pass: what it would have shown stands there no longer, nor for what the component serves, until it
    /// passes or somebody confirms it there. Gives what stood.
    pub(super) fn fail(&mut self, name: &str, place: Place<'_>, at: Instant) -> Option<Standing> {
        let scope = hold::of(name).scope;
        let gone =
            self.by_place.get(&key(name, scope, place, None)).copied().and_then(|number| self.take(number));
        if scope == Scope::Served {
            self.failed.retain(|failed| failed.name != name || !failed.is_at(place));
            if self.failed.len() >= STANDING_MAX {
                // Nobody knows any more what failed: nothing of the kind is proved.
                self.failed.remove(0);
                self.take_all(|s| s.scope == Scope::Served);
            }
            let Place { unit_tag, component, slot } = place;
            let (unit_tag, component) = (unit_tag.to_string(), component.to_string());
            self.failed.push(Failed { name: name.to_string(), unit_tag, component, slot: slot.clone(), at });
        }
        gone
    }

    /// Whether a part that serves this place has failed since, and nobody at this place has confirmed it all the same.
    fn has_failed(&self, standing: &Standing, place: Place<'_>) -> bool {
        let Evidence { at, how, .. } = &standing.evidence;
        self.failed.iter().any(|failed| {
            let serves =
                failed.unit_tag == place.unit_tag && place.is_served_by(&failed.component, &failed.slot);
            let here = standing.component == place.component;
            let confirmed = here && matches!(how, How::Confirmed(_)) && *at >= failed.at;
            failed.name == standing.name && serves && !confirmed
        })
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
        self.failed.retain(|failed| failed.unit_tag != unit_tag);
        self.take_all(|s| s.scope != Scope::Leads && s.unit_tag == unit_tag)
    }

    /// Removes one by name, wherever on this unit it stands.
    pub(super) fn end(&mut self, name: &str, unit_tag: &str) -> Vec<Standing> {
        self.take_all(|s| s.name == name && (s.unit_tag == unit_tag || s.scope == Scope::Leads))
    }

    /// Removes what is about the leads of this device, or of any.
    pub(super) fn lose_leads(&mut self, device: &str) -> Vec<Standing> {
        self.take_all(|s| s.scope == Scope::Leads && s.device.as_deref().is_none_or(|of| of == device))
    }

    /// Removes what rests on the isolation of this unit.
    pub(super) fn lose_isolation(&mut self, unit_tag: &str) -> Vec<Standing> {
        self.take_all(|s| s.unit_tag == unit_tag && hold::of(&s.name).power == Power::Isolated)
    }

    /// Removes what says that this unit runs.
    pub(super) fn lose_life(&mut self, unit_tag: &str) -> Vec<Standing> {
        self.take_all(|s| s.unit_tag == unit_tag && hold::of(&s.name).power == Power::Live)
    }

    /// Removes what rests on something that is back: at this component, or on the whole unit without one.
    pub(super) fn put_back(&mut self, name: &str, place: Place<'_>) -> Vec<Standing> {
        let here = |s: &Standing| {
            s.unit_tag == place.unit_tag && (place.component.is_empty() || s.component == place.component)
        };
        self.take_all(|s| s.name == name && here(s))
    }

    fn take_all(&mut self, which: impl Fn(&Standing) -> bool) -> Vec<Standing> {
        let numbers: Vec<u64> =
            self.standing.iter().filter(|(_, s)| which(s)).map(|(number, _)| *number).collect();
        numbers.into_iter().filter_map(|number| self.take(number)).collect()
    }

    /// Removes all of them; what failed is remembered.
    pub(super) fn forget_all(&mut self) -> Vec<Standing> {
        let Self { standing, failed, .. } = core::mem::take(self);
        self.failed = failed;
        standing.into_values().collect()
    }

    /// Removes one by name at this place.
    pub(super) fn withdraw(&mut self, name: &str, place: Place<'_>) -> Option<Standing> {
        let number = self.number(name, hold::of(name).scope, place)?;
        self.take(number)
    }

    fn take(&mut self, number: u64) -> Option<Standing> {
        let gone = self.standing.remove(&number)?;
        self.lapses.remove(&(gone.evidence.until, number));
        self.by_place.remove(&owned(gone.key()));
        Some(gone)
    }
}

fn owned((name, unit_tag, component): Key<'_>) -> Key<'static> {
    (name.into_owned().into(), unit_tag.into_owned().into(), component.into_owned().into())
}

#[cfg(test)]
mod tests;
