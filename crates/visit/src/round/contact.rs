//! What the leads are still on after a point has its value: one physical contact never gives the value of two points,
//! nor of two components. Knows the ways in which leads show that they came off; settles and judges nothing.

use alloc::string::String;

use quantity::{DeviceChannel, DisplayUnit, Duration, Instant, Kind, Reading, State};

use super::check::Check;
use super::settled::SettledPoint;
use judge::rule::Point;

/// Leads count as off when the meter has shown so for this long; shorter is contact bounce. Our own choice.
const OFF_FOR: Duration = Duration::from_millis(300);
/// Open leads on a capacitance range show up to this many counts (as in [`judge::settle::SettleSpec::capacitance`]).
const OPEN_COUNTS: f64 = 3.0;
/// Volts, amps and the like have no open reading; leads count as off when the value is this part of itself away.
/// Our own choice.
const AWAY_PART: f64 = 0.1;
/// ... and this many counts.
const AWAY_COUNTS: f64 = 20.0;

/// A contact that a point has its value from and that has not been seen to end.
#[derive(Clone, Debug)]
pub(super) struct Contact {
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
    /// The contact behind a point that has just settled; `None` for a typed value and for leads that read open.
    pub(super) fn of(check: &Check, settled: &SettledPoint) -> Option<Self> {
        let watch = settled.watch()?;
        if watch.open_since.is_some() {
            return None;
        }
        Some(Self {
            from: watch.from.clone(),
            unit_tag: check.plan.unit_tag.clone(),
            component: check.plan.component.clone(),
            rule: check.plan.rule.clone(),
            point: settled.reading.point.clone(),
            display: watch.display,
            value: settled.reading.quantity.value(),
            nothing: false,
            off_since: None,
        })
    }

    /// The same function of the same channel: a newer contact there replaces this one.
    pub(super) fn same_source(&self, other: &Self) -> bool {
        self.from == other.from && self.display.is_same_function(other.display)
    }

    fn concerns(&self, device: &str, reading: &Reading) -> bool {
        self.from.is(device, reading.channel) && self.display.is_same_function(reading.display_unit())
    }

    /// Whether a reading may not be taken for this point of this check, because it comes from this contact.
    pub(super) fn blocks(
        &self,
        check: &Check,
        point: &Point,
        bound: bool,
        device: &str,
        reading: &Reading,
    ) -> bool {
        if !self.concerns(device, reading) {
            return false;
        }
        if self.nothing {
            return true;
        }
        if self.same_part(check) {
            return self.rule == check.plan.rule && self.point != point.name;
        }
        // A probe that is bound to a point stays where it is; clamps on pipes stay from check to check.
        let leads = matches!(
            self.display.unit.kind(),
            Kind::Capacitance | Kind::Resistance | Kind::Voltage | Kind::Current
        );
        leads && !bound
    }

    /// Whether it is the contact of this point of this check.
    pub(super) fn is_of(&self, check: Option<&Check>, point: &str) -> bool {
        check
            .is_some_and(|check| self.same_part(check) && self.rule == check.plan.rule && self.point == point)
    }

    /// It gives no value to any point until the display moves.
    pub(super) fn touches_nothing(&mut self) {
        self.nothing = true;
    }

    fn same_part(&self, check: &Check) -> bool {
        self.unit_tag == check.plan.unit_tag && self.component == check.plan.component
    }

    /// Takes a reading; true once the leads have come off.
    pub(super) fn ended(&mut self, check: Option<&Check>, device: &str, reading: &Reading) -> bool {
        if !self.concerns(device, reading) || !reading.flags.is_live() {
            return false;
        }
        let strict = check.is_some_and(|check| self.same_part(check));
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
        let value = reading.unit.convert(shown.to_f64(), self.display.unit).ok()?;
        let step = reading.unit.convert_span(shown.resolution(), self.display.unit).ok()?;
        let open = looks_open(reading);
        if strict && matches!(self.display.unit.kind(), Kind::Capacitance | Kind::Resistance) {
            return Some(open);
        }
        let away = (value - self.value).abs() > (AWAY_PART * self.value.abs()).max(AWAY_COUNTS * step);
        Some(open || away)
    }
}

/// Whether a display is what open leads show in its function: overload, or next to nothing on a capacitance range.
pub(super) fn looks_open(reading: &Reading) -> bool {
    match reading.state {
        State::Overload(_) | State::NoValue => true,
        State::Value(shown) => {
            reading.unit.kind() == Kind::Capacitance
                && shown.to_f64().abs() <= OPEN_COUNTS * shown.resolution() * (1.0 + 1e-9)
        }
    }
}
