//! Whether the readings of a proof are at rest, and how long a condition has stood on them. Does not know what they prove.

use quantity::{Instant, Kind, Reading, State, Unit};

use super::DEAD_FOR;
use judge::settle::{Sample, SettleSpec, Settled, Settler, Settling};

/// The settling of one channel.
#[derive(Clone, Debug, Default)]
pub(super) struct Rest {
    /// With the unit and the displayed step that it was made for.
    settler: Option<(Unit, f64, Settler)>,
    stands_since: Option<Instant>,
}

impl Rest {
    /// No reading from before counts.
    pub(super) fn begin_anew(&mut self) {
        *self = Self::default();
    }

    /// Takes a reading (the settler is made anew when the unit or the displayed step changes); the settled value is in `unit`.
    pub(super) fn settled(&mut self, reading: &Reading, unit: Unit, thresholds: &[f64]) -> Option<Settled> {
        let sample = match (reading.state, reading.resolution()) {
            (State::Value(shown), _) => {
                Sample::value(reading.display.unit.convert(shown.to_f64(), unit).ok()?)
            }
            (State::Overload(_), _) => Sample::overload(),
            (State::NoValue, _) => Sample::no_value(),
        };
        let step = reading.resolution();
        let fits = |of: Unit, at: f64| {
            step.is_none_or(|step| of == reading.display.unit && (step - at).abs() < 1e-9 * at)
        };
        if !self.settler.as_ref().is_some_and(|(of, at, _)| fits(*of, *at)) {
            let resolution = reading.display.unit.convert_span(step?, unit).ok()?;
            let spec = if unit.kind() == Kind::Resistance {
                SettleSpec::resistance(resolution)
            } else {
                SettleSpec::voltage(resolution)
            };
            let settler = Settler::new(spec.timed(reading.timing)).ok()?;
            self.settler = Some((reading.display.unit, step?, settler));
        }
        let (_, _, settler) = self.settler.as_mut()?;
        settler.set_thresholds(thresholds);
        match settler.push(reading.at, sample) {
            Settling::Settled(settled) => Some(settled),
            _ => None,
        }
    }

    /// Whether the condition has held without a break for [`DEAD_FOR`].
    pub(super) fn stands(&mut self, now_true: bool, at: Instant) -> bool {
        if !now_true {
            self.stands_since = None;
            return false;
        }
        let since = *self.stands_since.get_or_insert(at);
        at.since(since) >= DEAD_FOR
    }
}

/// The least and the most that a settled value may be without its sign. A proof rests on all of the interval, so that it never
/// counts a value that is not at rest.
pub(super) fn reach(settled: &Settled) -> (f64, f64) {
    let (low, high) = (settled.low.abs(), settled.high.abs());
    let least = if settled.low <= 0.0 && settled.high >= 0.0 { 0.0 } else { low.min(high) };
    (least, low.max(high))
}
