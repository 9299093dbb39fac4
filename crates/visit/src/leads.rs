//! What the leads are still on after a point has its value: one physical contact never gives the value of two points,
//! nor of two components. Knows the ways in which leads show that they came off; settles and judges nothing.

use alloc::string::String;
use alloc::vec::Vec;

use quantity::{DeviceChannel, DisplayUnit, Duration, Instant, Kind, Reading, State};

use crate::job::Job;
use judge::rule::Point;

/// Contacts kept; the oldest goes first.
const CONTACTS_MAX: usize = 32;

/// Leads count as off when the meter has shown so for this long; shorter is contact bounce. Our own choice.
const OFF_FOR: Duration = Duration::from_millis(300);
/// Open leads on a capacitance range show up to this many counts (as in [`judge::settle::SettleSpec::capacitance`]).
const OPEN_COUNTS: f64 = 3.0;
/// Volts, amps and the like have no open reading; leads count as off when the value is this part of itself away.
/// Our own choice.
const AWAY_PART: f64 = 0.1;
/// ... and this many counts.
const AWAY_COUNTS: f64 = 20.0;

/// The contacts that have not been seen to end; they outlive the check.
#[derive(Clone, Debug, Default)]
pub(crate) struct Leads(Vec<Contact>);

impl Leads {
    /// How many contacts are kept.
    #[cfg(test)]
    pub(crate) fn count(&self) -> usize {
        self.0.len()
    }

    /// Takes a reading: contacts whose leads have come off end.
    pub(crate) fn watch(&mut self, job: Option<&Job>, device: &str, reading: &Reading) {
        self.0.retain_mut(|contact| !contact.ended(job, device, reading));
    }

    /// A point has its value from this contact.
    pub(crate) fn remember(&mut self, contact: Contact) {
        self.0.retain(|known| !known.same_source(&contact));
        if self.0.len() >= CONTACTS_MAX {
            self.0.remove(0);
        }
        self.0.push(contact);
    }

    /// True while the leads are still on what another point, or another part, has its value from: this reading is not for
    /// this point.
    pub(crate) fn block(&self, job: &Job, point: &Point, device: &str, reading: &Reading) -> bool {
        self.0.iter().any(|contact| contact.blocks(job, point, device, reading))
    }

    /// The mechanic says that the leads are not on: what they show now is nobody's value, until the display moves.
    pub(crate) fn touch_nothing(&mut self, job: &Job, point: &str) {
        let of_point = |c: &&mut Contact| c.same_part(job) && c.rule == job.plan.rule && c.point == point;
        self.0.iter_mut().filter(of_point).for_each(|contact| contact.nothing = true);
    }
}

/// A contact that a point has its value from and that has not been seen to end.
#[derive(Clone, Debug)]
pub(crate) struct Contact {
    from: DeviceChannel,
    unit_tag: String,
    component: String,
    rule: String,
    point: String,
    display: DisplayUnit,
    value: f64,
    /// The mechanic has said that the leads touch nothing.
    nothing: bool,
    off_since: Option<Instant>,
}

impl Contact {
    /// The contact that gave a point of this check its value.
    pub(crate) fn new(job: &Job, point: &str, from: DeviceChannel, display: DisplayUnit, value: f64) -> Self {
        Self {
            from,
            unit_tag: job.plan.unit_tag.clone(),
            component: job.plan.component.clone(),
            rule: job.plan.rule.clone(),
            point: point.into(),
            display,
            value,
            nothing: false,
            off_since: None,
        }
    }

    /// The same function of the same channel: a newer contact there replaces this one.
    fn same_source(&self, other: &Self) -> bool {
        self.from == other.from && self.display.is_same_function(other.display)
    }

    fn concerns(&self, device: &str, reading: &Reading) -> bool {
        self.from.is(device, reading.channel) && self.display.is_same_function(reading.display)
    }

    /// Whether a reading may not be taken for this point of this check, because it comes from this contact.
    fn blocks(&self, job: &Job, point: &Point, device: &str, reading: &Reading) -> bool {
        if !self.concerns(device, reading) {
            return false;
        }
        if self.nothing {
            return true;
        }
        if self.same_part(job) {
            return self.rule == job.plan.rule && self.point != point.name;
        }
        // A probe that is bound to a point stays where it is; clamps on pipes stay from check to check.
        let leads = matches!(
            self.display.unit.kind(),
            Kind::Capacitance | Kind::Resistance | Kind::Voltage | Kind::Current
        );
        leads && job.binding(&point.name).is_none()
    }

    fn same_part(&self, job: &Job) -> bool {
        self.unit_tag == job.plan.unit_tag && self.component == job.plan.component
    }

    /// Takes a reading; true once the leads have come off.
    fn ended(&mut self, job: Option<&Job>, device: &str, reading: &Reading) -> bool {
        if !self.concerns(device, reading) || !reading.flags.is_live() {
            return false;
        }
        let strict = job.is_some_and(|job| self.same_part(job));
        let Some(off) = self.reads_off(reading, strict) else { return false };
        let long = self.off_since.is_some_and(|since| reading.at.since(since) >= OFF_FOR);
        if off {
            let _ = self.off_since.get_or_insert(reading.at);
        } else if !long {
            self.off_since = None;
        }
        long
    }

    /// Whether this reading alone looks like leads that are off; `None` when it says nothing.
    ///
    /// Within one part (`strict`) a capacitance or resistance must read open: a value that merely moves is a bad contact.
    fn reads_off(&self, reading: &Reading, strict: bool) -> Option<bool> {
        let shown = match reading.state {
            State::NoValue => return None,
            State::Overload(_) => return Some(true),
            State::Value(shown) => shown,
        };
        let value = reading.display.unit.convert(shown.to_f64(), self.display.unit).ok()?;
        let step = reading.display.unit.convert_span(shown.resolution(), self.display.unit).ok()?;
        let open = looks_open(reading);
        if strict && matches!(self.display.unit.kind(), Kind::Capacitance | Kind::Resistance) {
            return Some(open);
        }
        let away = (value - self.value).abs() > (AWAY_PART * self.value.abs()).max(AWAY_COUNTS * step);
        Some(open || away)
    }
}

/// Whether a display is what open leads show in its function: overload, or next to nothing on a capacitance range.
pub(crate) fn looks_open(reading: &Reading) -> bool {
    match reading.state {
        State::Overload(_) | State::NoValue => true,
        State::Value(shown) => {
            reading.display.unit.kind() == Kind::Capacitance
                && shown.to_f64().abs() <= OPEN_COUNTS * shown.resolution() * (1.0 + 1e-9)
        }
    }
}

#[cfg(test)]
mod tests;
