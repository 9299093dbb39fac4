//! A point on its way: settles on one channel of a device, in the rule's unit. Does not decide which point a reading belongs
//! to, nor what becomes of the value.

use alloc::string::{String, ToString};

use quantity::{
    Accuracy, Decimal, DeviceChannel, DisplayUnit, Duration, Instant, Kind, Reading, State, Unit,
};

use super::why;
use crate::verdict::PointReading;
use judge::rule::Point;
use judge::settle::{Ask, OpenReads, Sample, SettleSpec, Settled, Settler, Settling};

/// Leads that read open for this long while a capacitance is awaited: the part may be open. Our own choice.
pub(crate) const OPEN_FOR: Duration = Duration::from_secs(8);
/// A reading younger than this is fresh, whatever the meter's rate.
const FRESH_FOR: Duration = Duration::from_secs(2);

/// A point on its way.
#[derive(Clone, Debug)]
pub(crate) struct SettlingPoint {
    pub(crate) from: DeviceChannel,
    pub(crate) display: DisplayUnit,
    pub(crate) accuracy: Option<Accuracy>,
    pub(crate) last_shown: Option<Decimal>,
    /// Since when the leads read open without a break.
    pub(crate) open_since: Option<Instant>,
    /// Since when there is contact without a settled value.
    pub(crate) contact_since: Option<Instant>,
    pub(crate) state: Settling,
    settler: Settler,
    resolution: f64,
    rule_unit: Unit,
    /// The digits that stand still in a way no live meter does; nothing counts until others come.
    frozen: Option<Decimal>,
    /// Time of the last reading, and the span between the last two.
    last_at: Option<Instant>,
    interval: Duration,
}

/// What a reading did to a point.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum SettleEvent {
    /// Nothing to report.
    Quiet,
    /// The leads came off in the middle.
    Lifted,
    /// The display stands still in a way no live meter does, or its hold was pressed in the middle.
    Frozen,
    /// Settled.
    Settled(Settled),
}

impl SettlingPoint {
    /// Starts on the first reading that fits; `None` for a reading without a number (its resolution is not known yet)
    /// or with impossible settings.
    pub(crate) fn start(device: &str, reading: &Reading, point: &Point, risk: f64) -> Option<Self> {
        let resolution = reading.display.unit.convert_span(reading.resolution()?, point.display.unit).ok()?;
        // A risk that makes no sense is a slip in the settings; the default holds then.
        let risk = if (1e-6..=0.2).contains(&risk) { risk } else { 1e-3 };
        let drift_accepted_per_s = point.drift.as_ref().map_or(0.0, |drift| drift.per_minute / 60.0);
        let spec =
            SettleSpec { risk, drift_accepted_per_s, ..spec_for(point.display.unit.kind(), resolution) };
        let spec = spec.timed(reading.timing);
        Some(Self {
            from: DeviceChannel::new(device, reading.channel),
            display: reading.display,
            accuracy: reading.accuracy,
            last_shown: None,
            open_since: None,
            contact_since: None,
            state: Settling::Empty,
            settler: Settler::new(spec).ok()?,
            resolution: reading.resolution()?,
            rule_unit: point.display.unit,
            frozen: None,
            last_at: None,
            interval: Duration::ZERO,
        })
    }

    /// Another range of the same channel: the patience with the contact goes on, and the pace that was seen still counts.
    pub(crate) fn goes_on_from(&mut self, before: &Self) {
        self.contact_since = before.contact_since;
        (self.last_at, self.interval) = (before.last_at, before.interval);
        self.settler.take_pace(&before.settler);
    }

    /// Whether there is something to say of it: a contact, or a display that is held.
    pub(crate) fn has_something(&self) -> bool {
        self.contact_since.is_some() || matches!(self.state, Settling::Held)
    }

    /// Whether this reading comes from the same channel of the same device.
    pub(crate) fn is_from(&self, device: &str, reading: &Reading) -> bool {
        self.from.is(device, reading.channel)
    }

    /// Whether this reading continues the same function and range of the meter. One without a number has no range, so
    /// it continues any of its kind.
    pub(crate) fn continues(&self, reading: &Reading) -> bool {
        let same_range = reading.resolution().is_none_or(|r| {
            self.display.unit == reading.display.unit && (r - self.resolution).abs() < 1e-9 * self.resolution
        });
        self.display.is_same_function(reading.display) && same_range
    }

    /// Whether this reading is of the same function in another range.
    pub(crate) fn changes_range(&self, reading: &Reading) -> bool {
        self.display.is_same_function(reading.display)
            && reading.resolution().is_some()
            && !self.continues(reading)
    }

    /// Whether the display has moved to where this reading's interval does not reach, and not settled there yet.
    pub(crate) fn has_left(&self, reading: &PointReading) -> bool {
        let Settling::Moving(moving) = self.state else { return false };
        let Ok(value) = self.rule_unit.convert(moving.estimate, reading.display.unit) else { return false };
        reading.at_least.is_some_and(|low| value < low) || reading.at_most.is_some_and(|high| value > high)
    }

    /// The accepted risk.
    pub(crate) const fn risk(&self) -> f64 {
        self.settler.spec().risk
    }

    /// Whether readings still come as fast as they did: the newest is no older than three spans between readings, two
    /// seconds at least.
    pub(crate) fn is_fresh(&self, now: Instant) -> bool {
        let three = Duration::from_micros(self.interval.micros().saturating_mul(3));
        self.last_at.is_some_and(|at| now.since(at) <= three.max(FRESH_FOR))
    }

    /// Waiting for more rest than the meter's own standard uncertainty gains nothing.
    fn set_settle_floor(&mut self, rule_unit: Unit) {
        let instrument = self.estimate().and_then(|value| self.instrument_uncertainty(value, rule_unit));
        self.settler.set_settle_floor(instrument.unwrap_or(0.0).max(self.settler.spec().resolution));
    }

    /// Takes a reading; `ask` gives the thresholds where they may decide, `None` keeps those in force.
    /// One that is not later than the last is ignored.
    pub(crate) fn push(&mut self, reading: &Reading, rule_unit: Unit, ask: Option<Ask<'_>>) -> SettleEvent {
        if self.last_at.is_some_and(|last| reading.at <= last) {
            return SettleEvent::Quiet;
        }
        self.last_shown = None;
        let sample = match reading.state {
            State::Value(shown) => {
                self.last_shown = Some(shown);
                match reading.display.unit.convert(shown.to_f64(), rule_unit) {
                    Ok(value) => Sample::value(value),
                    Err(_) => Sample::no_value(),
                }
            }
            State::Overload(_) => Sample::overload(),
            State::NoValue => Sample::no_value(),
        };
        let sample = if reading.flags.is_live() { sample } else { sample.held() };
        self.accuracy = reading.accuracy;
        if ask.is_some() {
            self.set_settle_floor(rule_unit);
        }
        if let Some(last) = self.last_at {
            self.interval = reading.at.since(last);
        }
        self.last_at = Some(reading.at);
        let (before, in_contact) = (self.state, self.contact_since.is_some());
        self.state = self.settle(reading, sample, ask);
        self.note_times(reading.at);
        match self.state {
            Settling::Settled(settled) => SettleEvent::Settled(settled),
            Settling::LiftedOff => SettleEvent::Lifted,
            Settling::Frozen { .. } if !matches!(before, Settling::Frozen { .. }) => SettleEvent::Frozen,
            Settling::Held if in_contact && !matches!(before, Settling::Held) => SettleEvent::Frozen,
            _ => SettleEvent::Quiet,
        }
    }

    /// Feeds the settler. Digits that it once called frozen stay so until they change; then everything begins anew, so
    /// that no repeated frame ever carries a value.
    fn settle(&mut self, reading: &Reading, sample: Sample, ask: Option<Ask<'_>>) -> Settling {
        if let Some(frozen) = self.frozen {
            if reading.flags.is_live() && reading.state == State::Value(frozen) {
                let _ = self.settler.push(reading.at, sample);
                return self.state;
            }
            self.frozen = None;
            self.settler.reset();
        }
        let state = self.settler.push_asking(reading.at, sample, ask);
        if matches!(state, Settling::Frozen { .. }) {
            self.frozen = self.last_shown;
        }
        state
    }

    fn note_times(&mut self, at: Instant) {
        match self.state {
            Settling::Empty | Settling::LiftedOff => {
                self.contact_since = None;
                let _ = self.open_since.get_or_insert(at);
            }
            Settling::Settled(_) => {
                self.contact_since = None;
                self.open_since = None;
            }
            // A held display says nothing of a contact, neither that one began nor that it ended.
            Settling::Held => self.open_since = None,
            Settling::Moving(_) | Settling::Frozen { .. } | Settling::BounceRejected => {
                let _ = self.contact_since.get_or_insert(at);
                self.open_since = None;
            }
        }
    }

    /// The value to compute thresholds at: the estimate so far, else the reading itself.
    pub(crate) fn estimate(&self) -> Option<f64> {
        match self.state {
            Settling::Moving(moving) => Some(moving.estimate),
            Settling::Settled(settled) => Some(settled.value),
            _ => None,
        }
        .filter(|value| value.is_finite())
    }

    /// The meter's own standard uncertainty at `value`, in the rule's unit.
    pub(crate) fn instrument_uncertainty(&self, value: f64, rule_unit: Unit) -> Option<f64> {
        let shown = rule_unit.convert(value, self.display.unit).ok()?;
        let u = match self.accuracy {
            Some(accuracy) => {
                accuracy.standard_uncertainty(shown, self.resolution, self.display.unit).ok()?
            }
            None => Accuracy::of_resolution(self.resolution),
        };
        self.display.unit.convert_span(u, rule_unit).ok().filter(|u| u.is_finite())
    }

    /// When waiting for rest has taken too long.
    pub(crate) fn gives_up_at(&self) -> Option<Instant> {
        #[allow(clippy::cast_possible_truncation)] // seconds of a spec, checked finite at its making
        let limit = Duration::from_micros((self.settler.spec().time_limit_s * 1.5e6) as i64);
        self.contact_since.map(|since| since + limit)
    }

    /// How long a conversion of the display is taken to be.
    pub(crate) fn conversion(&self) -> Duration {
        self.settler.conversion()
    }

    /// When the link counts as silent.
    pub(crate) fn silent_at(&self) -> Option<Instant> {
        self.settler.poll_at()
    }

    /// Open leads look like a number here (capacitance).
    pub(crate) fn open_looks_like_a_number(&self) -> bool {
        matches!(self.settler.spec().open, OpenReads::UpTo(_))
    }

    /// What it is waiting for, in words.
    pub(crate) fn why_not_settled(&self) -> String {
        let Settling::Moving(moving) = self.state else { return self.why_not_moving().to_string() };
        // In the unit that stands on the display.
        let rate =
            moving.rate_per_s.and_then(|rate| self.rule_unit.convert_span(rate, self.display.unit).ok());
        why::words(&moving, rate, self.display.unit)
    }

    fn why_not_moving(&self) -> &'static str {
        match self.state {
            Settling::Empty | Settling::LiftedOff => "no contact",
            Settling::Held => "the display is held, or shows a relative or stored value",
            Settling::Frozen { .. } => "the display stands still: hold, or a frozen link",
            Settling::BounceRejected => "contact bounces",
            Settling::Settled(_) | Settling::Moving(_) => "settled",
        }
    }
}

/// Whether the point wants this reading: same kind, and ac or dc as asked.
pub(crate) fn wants(point: &Point, reading: &Reading) -> bool {
    point.display.unit.kind() == reading.display.unit.kind()
        && (point.display.coupling.is_none() || point.display.coupling == reading.display.coupling)
}

fn spec_for(kind: Kind, resolution: f64) -> SettleSpec {
    match kind {
        Kind::Capacitance => SettleSpec::capacitance(resolution),
        Kind::Resistance => SettleSpec::resistance(resolution),
        Kind::Voltage => SettleSpec::voltage(resolution),
        Kind::Current => SettleSpec::current(resolution),
        Kind::Temperature | Kind::TemperatureDifference | Kind::RelativeHumidity => {
            SettleSpec::temperature(resolution)
        }
        Kind::GaugePressure | Kind::AbsolutePressure | Kind::PressureDifference => {
            SettleSpec::pressure(resolution)
        }
        _ => SettleSpec::new(resolution),
    }
}
