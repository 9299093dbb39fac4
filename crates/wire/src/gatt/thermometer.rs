//! Temperature Measurement (0x2A1C of the Health Thermometer service, which many probes use): flags, a FLOAT, and what
//! the flags announce. Does not turn the device's time stamp into an instant.
//!
//! Source: GATT Specification Supplement, Temperature Measurement, Temperature Type, Date Time.

use quantity::Unit;

use super::raw::{Raw, Wire, validate_length};
use super::sig::finish;
use super::{GattError, Got, Measured};

/// Date and time of the device's own wall clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Year, 1582 to 9999; 0 not known.
    pub year: u16,
    /// Month, 1 to 12; 0 not known.
    pub month: u8,
    /// Day, 1 to 31; 0 not known.
    pub day: u8,
    /// Hours, 0 to 23.
    pub hours: u8,
    /// Minutes, 0 to 59.
    pub minutes: u8,
    /// Seconds, 0 to 59.
    pub seconds: u8,
}

/// One temperature measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thermometer {
    /// The temperature, in degC or degF as the flags say.
    pub temperature: Measured,
    /// When the device took it.
    pub stamp: Option<Stamp>,
    /// Where on a body it was taken, by the SIG's code; not used here.
    pub site: Option<u8>,
}

const FAHRENHEIT: u8 = 1;
const STAMPED: u8 = 1 << 1;
const SITED: u8 = 1 << 2;

/// Decodes a Temperature Measurement. Ignores reserved flag bits.
///
/// # Errors
/// [`GattError::Length`] unless the length matches the flags; [`GattError::Prohibited`] for an impossible time stamp;
/// [`GattError::Impossible`].
pub fn thermometer(bytes: &[u8]) -> Got<Thermometer> {
    let flags = *bytes.first().ok_or(GattError::Length { want: 5, found: 0 })?;
    let has = |flag: u8| flags & flag != 0;
    let stamp_bytes = if has(STAMPED) { 7 } else { 0 };
    validate_length(bytes, 5 + stamp_bytes + usize::from(has(SITED)))?;
    let unit = if has(FAHRENHEIT) { Unit::FAHRENHEIT } else { Unit::CELSIUS };
    let state = match Wire::Float.read(bytes.get(1..5).unwrap_or_default())? {
        Raw::Digits(digits) => quantity::State::Value(digits),
        Raw::State(state) => state,
        Raw::Whole(_) => return Err(GattError::Prohibited),
    };
    let stamp = if has(STAMPED) { Some(stamp(bytes.get(5..12).unwrap_or_default())?) } else { None };
    let site = bytes.last().copied().filter(|_| has(SITED));
    Ok(Thermometer { temperature: finish(state, unit, 0, None, None)?, stamp, site })
}

fn stamp(bytes: &[u8]) -> Got<Stamp> {
    let [low, high, month, day, hours, minutes, seconds] = *bytes else { return Err(GattError::Prohibited) };
    let year = u16::from_le_bytes([low, high]);
    let can_be = (year == 0 || (1582..=9999).contains(&year))
        && month <= 12
        && day <= 31
        && hours <= 23
        && minutes <= 59
        && seconds <= 59;
    if can_be { Ok(Stamp { year, month, day, hours, minutes, seconds }) } else { Err(GattError::Prohibited) }
}
