//! Overload at a point with a danger: where it says that the value is too great, and the reading that is stored of it.

use alloc::format;
use alloc::string::ToString;

use quantity::{Decimal, DisplayUnit, Instant, Kind, Quantity, Reading, Sign, State};

use crate::verdict::PointReading;
use judge::rule::{Beyond, Point};

/// On which side this reading is beyond the meter's range, where that says something of the value.
pub(super) fn over_range(point: &Point, reading: &Reading) -> Option<Beyond> {
    let State::Overload(sign) = reading.state else { return None };
    let counts = reading.flags.is_live() && may_be_over(point, reading.display);
    counts.then_some(if sign == Sign::Negative { Beyond::Below } else { Beyond::Above })
}

/// Whether overload on this display is a value that is too great. It is not where open leads show it (ohms, capacitance), nor a
/// probe with a broken wire (temperature); nor where volts or amps are shown in a smaller unit than the rule's, whose range may
/// end far below any danger.
pub(super) fn may_be_over(point: &Point, display: DisplayUnit) -> bool {
    if point.open_counts_as.is_some() {
        return false;
    }
    match point.display.unit.kind() {
        Kind::Resistance | Kind::Capacitance | Kind::Temperature | Kind::TemperatureDifference => false,
        Kind::Voltage | Kind::Current => {
            display.unit.convert_span(1.0, point.display.unit).is_ok_and(|one| one > 0.999)
        }
        _ => true,
    }
}

/// The reading of a display beyond its range: no more is known than that it is past the limit.
pub(super) fn over(
    point: &Point,
    at: f64,
    display: DisplayUnit,
    device: &str,
    now: Instant,
) -> Option<PointReading> {
    let limit = point.display.unit.convert(at, display.unit).ok()?;
    Some(PointReading {
        point: point.name.clone(),
        label: point.label.clone(),
        device: device.to_string(),
        quantity: Quantity::exact(limit, display.unit).ok()?,
        shown: Decimal::parse(&format!("{limit}")).ok()?,
        open: true,
        display,
        accuracy_known: true,
        count: 1,
        settled: false,
        at_least: Some(limit),
        at_most: None,
        drift: None,
        at: now,
    })
}
