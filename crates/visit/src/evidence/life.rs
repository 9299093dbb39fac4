//! Signs of life and of charge in a value that a check has, read by a meter or typed. Volts that merely pass by the leads are counted
//! in `volts`.

use quantity::{Coupling, Kind, Unit};

use crate::hold::proof::{LIVE_V_MIN, RESIDUAL_V_MAX};
use crate::verdict::PointReading;

/// A current of no more than this many counts is what a clamp round nothing, or a flame rod without a flame, shows too. From memory,
/// no source.
const IDLE_COUNTS: f64 = 3.0;

/// Whether the value says that its unit has power: volts ac as on a live conductor, or any current, a flame's too. Where the
/// meter does not say whether ac or dc, its volts count as ac.
pub(crate) fn is_shown_by(reading: &PointReading) -> bool {
    let display = reading.display;
    match display.unit.kind() {
        Kind::Voltage => display.coupling != Some(Coupling::Dc) && volts(reading) >= LIVE_V_MIN,
        Kind::Current => least(reading) > IDLE_COUNTS * reading.shown.resolution() * (1.0 + 1e-9),
        _ => false,
    }
}

/// Whether the value says that a part is charged.
pub(super) fn is_charged(reading: &PointReading) -> bool {
    let display = reading.display;
    display.unit.kind() == Kind::Voltage
        && display.coupling == Some(Coupling::Dc)
        && volts(reading) >= RESIDUAL_V_MAX
}

/// The volts that it is at least, without their sign.
fn volts(reading: &PointReading) -> f64 {
    reading.display.unit.convert(least(reading), Unit::VOLT).unwrap_or(0.0)
}

/// The least that the value may be, without its sign: of an early word the nearer end of its interval.
fn least(reading: &PointReading) -> f64 {
    let value = reading.quantity.value().abs();
    match (reading.settled, reading.at_least, reading.at_most) {
        (false, Some(low), Some(high)) if low <= 0.0 && high >= 0.0 => 0.0,
        (false, Some(low), Some(high)) => low.abs().min(high.abs()),
        _ => value,
    }
}
