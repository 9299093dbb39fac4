//! One channel on the way to a point with a danger: it settles towards the limits, and overload that lasts counts too. Knows no
//! check.

use alloc::string::ToString;
use alloc::vec::Vec;

use quantity::{DeviceChannel, Duration, Instant, Reading};

use super::super::points::settled::SettledPoint;
use super::super::points::settling::{SettleEvent, SettlingPoint};
use super::over::{over, over_range};
use crate::hold::proof::SILENT_FOR;
use crate::verdict::PointReading;
use judge::rule::{AcceptedDrift, Beyond, Danger, Point, Source, SourceClass};
use judge::settle::Settled;

/// Overload for this long is no change of range. Our own choice.
const OVER_FOR: Duration = Duration::from_secs(2);
/// Any drift: a danger is what is there now, wherever it goes. In the point's unit a minute.
const ANY_DRIFT: f64 = 1e9;

/// One channel on the way to a point with a danger.
#[derive(Clone, Debug)]
pub(super) struct Watched {
    pub(super) point: usize,
    pub(super) from: DeviceChannel,
    settling: Option<SettlingPoint>,
    over_since: Option<Instant>,
    pub(super) last_at: Instant,
}

/// A value of a point, in its unit.
#[derive(Clone, Copy)]
pub(super) enum Value {
    /// A figure, with its standard uncertainty.
    At(f64, f64),
    /// Between these ends, with the middle that is stated.
    Between { low: f64, high: f64, value: f64, u: f64 },
    /// Beyond the range of the meter, on this side.
    Beyond(Beyond),
}

impl Value {
    pub(super) fn is_past(self, danger: &Danger) -> bool {
        match self {
            Self::At(value, _) => danger.is_past(value),
            Self::Between { low, high, .. } => danger.is_past(low) && danger.is_past(high),
            Self::Beyond(side) => danger.beyond == side,
        }
    }

    /// The value that stands in the judgement, with its standard uncertainty: beyond the range, no more than the limit is known.
    pub(super) const fn stated(self, danger: &Danger) -> (f64, f64) {
        match self {
            Self::At(value, u) | Self::Between { value, u, .. } => (value, u),
            Self::Beyond(_) => (danger.at, 0.0),
        }
    }
}

impl Watched {
    pub(super) fn new(point: usize, device: &str, reading: &Reading) -> Self {
        let last_at = reading.at + Duration::from_micros(-1);
        let from = DeviceChannel::new(device, reading.channel);
        Self { point, from, settling: None, over_since: None, last_at }
    }

    pub(super) fn has_contact(&self, now: Option<Instant>) -> bool {
        let fresh = |settling: &SettlingPoint| now.is_none_or(|now| settling.is_fresh(now));
        let settling = self.settling.as_ref().filter(|settling| settling.open_since.is_none());
        settling.is_some_and(fresh)
            || self.over_since.is_some() && now.is_none_or(|now| now.since(self.last_at) <= SILENT_FOR)
    }

    /// Takes a reading; a value once it has settled, or once overload has lasted. One that is not later than the last is ignored.
    pub(super) fn take(
        &mut self,
        point: &Point,
        dangers: &[&Danger],
        reading: &Reading,
        risk: f64,
    ) -> Option<(Value, PointReading)> {
        if reading.at <= self.last_at {
            return None;
        }
        let silent = reading.at.since(self.last_at) > SILENT_FOR;
        self.last_at = reading.at;
        if over_range(point, reading).is_some() {
            let since = *self.over_since.get_or_insert(reading.at);
            self.over_since = Some(if silent { reading.at } else { since });
        } else {
            self.over_since = None;
        }
        let settled = self.settle(point, dangers, reading, risk);
        if settled.is_some() {
            return settled;
        }
        let (side, since) = (over_range(point, reading)?, self.over_since?);
        let at = dangers.iter().find(|danger| danger.beyond == side)?.at;
        let lasted = reading.at.since(since) >= OVER_FOR;
        let shown = || over(point, at, reading.display, &self.from.device, reading.at);
        Some((Value::Beyond(side), lasted.then(shown)??))
    }

    fn settle(
        &mut self,
        point: &Point,
        dangers: &[&Danger],
        reading: &Reading,
        risk: f64,
    ) -> Option<(Value, PointReading)> {
        let _ = self.settling.take_if(|of| of.silent_at().is_some_and(|at| at <= reading.at));
        if !self.settling.as_ref().is_some_and(|settling| settling.continues(reading)) {
            let mut fresh = SettlingPoint::start(&self.from.device, reading, &drifting(point), risk)?;
            if let Some(before) = &self.settling {
                fresh.goes_on_from(before);
            }
            self.settling = Some(fresh);
        }
        let settling = self.settling.as_mut()?;
        let mut limits = || dangers.iter().map(|danger| danger.at).collect::<Vec<f64>>();
        let SettleEvent::Settled(settled) = settling.push(reading, point.display.unit, Some(&mut limits))
        else {
            return None;
        };
        let done = SettledPoint::of_settled(settling, &drifting(point), &settled, reading.at)?;
        Some((value_of(&settled, done.input.standard_uncertainty), done.reading))
    }
}

/// A figure counts as it is; of what is not at rest, both ends do.
fn value_of(settled: &Settled, u: f64) -> Value {
    let Settled { low, high, value, .. } = *settled;
    if settled.at_rest { Value::At(value, u) } else { Value::Between { low, high, value, u } }
}

/// The point with any drift accepted.
fn drifting(point: &Point) -> Point {
    let source = Source { text: "a danger does not wait for rest".into(), class: SourceClass::Physics };
    let drift = AcceptedDrift {
        name: point.drift.as_ref().map_or_else(|| "no rest awaited".to_string(), |drift| drift.name.clone()),
        per_minute: ANY_DRIFT,
        source,
    };
    Point { drift: Some(drift), ..point.clone() }
}
