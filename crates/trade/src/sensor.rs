//! Sensors: platinum resistance, 10 kohm thermistors and how to tell which type is misconfigured, current and voltage
//! loops. Holds no tolerances; rules do. Thermocouples are in `thermocouple.rs`.

use crate::range::{Argument, OutOfRange};

pub(crate) const RTD_NOMINAL: Argument =
    Argument { what: "resistance at 0 °C", unit: "ohm", least: 10.0, greatest: 10_000.0 };
pub(crate) const RTD_TEMPERATURE: Argument =
    Argument { what: "temperature", unit: "°C", least: -200.0, greatest: 850.0 };
pub(crate) const THERMISTOR: Argument =
    Argument { what: "thermistor resistance", unit: "ohm", least: 50.0, greatest: 1e6 };
pub(crate) const LOOP_MA: Argument =
    Argument { what: "loop current", unit: "mA", least: -1.0, greatest: 25.0 };
pub(crate) const LOOP_V: Argument = Argument { what: "loop voltage", unit: "V", least: -1.0, greatest: 15.0 };

/// Coefficients of platinum, alpha 0.003851. Source: standard IEC 60751, from memory; its table is met to the last digit.
const A: f64 = 3.9083e-3;
const B: f64 = -5.775e-7;
const C: f64 = -4.183e-12;

/// Resistance in ohm of a platinum sensor: R0 (1 + A t + B t^2), and C (t - 100) t^3 more below 0 °C.
///
/// `nominal_ohms` 10 to 10,000 ohm (100: Pt100, 1000: Pt1000), `celsius` -200 to 850 °C. Source: standard IEC 60751.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn platinum_ohm(nominal_ohms: f64, celsius: f64) -> Result<f64, OutOfRange> {
    Ok(RTD_NOMINAL.validate(nominal_ohms)? * platinum_ratio(RTD_TEMPERATURE.validate(celsius)?))
}

fn platinum_ratio(t: f64) -> f64 {
    let below = if t < 0.0 { C * (t - 100.0) * t * t * t } else { 0.0 };
    1.0 + A * t + B * t * t + below
}

/// Temperature in °C of a platinum sensor; the inverse of [`platinum_ohm`], to 10^-9 K.
///
/// `nominal_ohms` 10 to 10,000 ohm; `ohms` what it has from -200 to 850 °C (18.5 % to 390 % of it). Source: standard IEC 60751; above
/// 0 °C its quadratic solved, below by Newton's method.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn platinum_c(nominal_ohms: f64, ohms: f64) -> Result<f64, OutOfRange> {
    let nominal = RTD_NOMINAL.validate(nominal_ohms)?;
    let ends = [RTD_TEMPERATURE.least, RTD_TEMPERATURE.greatest].map(platinum_ratio);
    let [least, greatest] = ends.map(|ratio| ratio * nominal);
    let ratio = Argument { what: "resistance", unit: "ohm", least, greatest }.validate(ohms)? / nominal;
    if ratio >= 1.0 {
        return Ok((-A + libm::sqrt(A * A - 4.0 * B * (1.0 - ratio))) / (2.0 * B));
    }
    let mut t = (ratio - 1.0) / A;
    for _ in 0..8 {
        let slope = A + 2.0 * B * t + C * (4.0 * t - 300.0) * t * t;
        t -= (platinum_ratio(t) - ratio) / slope;
    }
    Ok(t)
}

/// A 10 kohm thermistor's curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Thermistor {
    /// Type II: 32,650 ohm at 0 °C. Source: a published table (looked up), coefficients of it.
    TypeII,
    /// Type III: 29,500 ohm at 0 °C. Source: from memory, within 0.01 K of the remembered table.
    TypeIII,
}

impl Thermistor {
    /// A, B and C of Steinhart and Hart's equation.
    const fn coefficients(self) -> [f64; 3] {
        match self {
            Self::TypeII => [1.129_24e-3, 2.341_08e-4, 0.877_55e-7],
            Self::TypeIII => [1.032e-3, 2.387e-4, 1.580e-7],
        }
    }
}

/// Temperature in °C of a thermistor: 1 / T = A + B ln R + C (ln R)^3, T in K.
///
/// `ohms` 50 to 10^6 ohm, about 200 down to -55 °C. Source: Steinhart and Hart's equation, coefficients of the type.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn thermistor_c(thermistor: Thermistor, ohms: f64) -> Result<f64, OutOfRange> {
    let [a, b, c] = thermistor.coefficients();
    let log = libm::log(THERMISTOR.validate(ohms)?);
    Ok(1.0 / (a + b * log + c * log * log * log) - 273.15)
}

/// Resistance in ohm of a thermistor; the inverse of [`thermistor_c`], by the closed solution of the cubic.
///
/// `celsius` -55 to 150 °C. Source: as [`thermistor_c`].
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn thermistor_ohm(thermistor: Thermistor, celsius: f64) -> Result<f64, OutOfRange> {
    let [a, b, c] = thermistor.coefficients();
    let range = Argument { what: "temperature", unit: "°C", least: -55.0, greatest: 150.0 };
    let x = (a - 1.0 / (range.validate(celsius)? + 273.15)) / c;
    let third = b / (3.0 * c);
    let y = libm::sqrt(third * third * third + x * x / 4.0);
    Ok(libm::exp(libm::cbrt(y - x / 2.0) - libm::cbrt(y + x / 2.0)))
}

/// What the controller shows in °C when a thermistor of one type is configured as the other.
///
/// `celsius` -55 to 150 °C, the true temperature. Both types agree at 25 °C, so the fault shows only away from it.
/// Source: as [`thermistor_c`].
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn shown_if_misconfigured_c(
    fitted: Thermistor,
    configured: Thermistor,
    celsius: f64,
) -> Result<f64, OutOfRange> {
    thermistor_c(configured, thermistor_ohm(fitted, celsius)?)
}

/// What a loop signal says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Loop {
    /// Percent of the span; a little below 0 and above 100 is still measuring.
    Percent(f64),
    /// Below the measuring band: broken wire, no supply, or a sensor that reports a fault.
    FaultLow,
    /// Above it: short, or a sensor that reports a fault.
    FaultHigh,
}

/// Percent of span of a 4-20 mA signal: 100 (I - 4) / 16; at most 3.6 mA or at least 21 mA is a fault.
///
/// `milliamps` -1 to 25 mA. Source: definition; fault bands: standard NAMUR NE 43, from memory.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn loop_4_20_ma(milliamps: f64) -> Result<Loop, OutOfRange> {
    let current = LOOP_MA.validate(milliamps)?;
    Ok(match current {
        _ if current <= 3.6 => Loop::FaultLow,
        _ if current >= 21.0 => Loop::FaultHigh,
        _ => Loop::Percent(100.0 * (current - 4.0) / 16.0),
    })
}

/// Percent of span of a 2-10 V signal: 100 (V - 2) / 8; the fault bands of the current loop across 500 ohm, at most 1.8 V and at
/// least 10.5 V.
///
/// `volts` -1 to 15 V. Source: definition; fault bands: our own choice, after NAMUR NE 43.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn loop_2_10_v(volts: f64) -> Result<Loop, OutOfRange> {
    let volts = LOOP_V.validate(volts)?;
    Ok(match volts {
        _ if volts <= 1.8 => Loop::FaultLow,
        _ if volts >= 10.5 => Loop::FaultHigh,
        _ => Loop::Percent(100.0 * (volts - 2.0) / 8.0),
    })
}

#[cfg(test)]
mod tests;
