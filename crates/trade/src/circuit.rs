//! The refrigerant circuit in the trade's units: gauge pressures in psig, °F, altitude. Superheat is measured from
//! the dew line, subcooling from the bubble line; ratios use absolute pressures. Does not judge; rules do.

use crate::psychro::standard_pressure_psia;
use crate::range::{Argument, OutOfRange};
use crate::refrigerant::{Refrigerant, Saturation, pressure_kpa, temperature_c};

/// kPa in a psi: definition (0.45359237 kg x 9.80665 m/s2 over a square inch).
const KPA_PER_PSI: f64 = 6.894_757_293_168;

pub(crate) const GAUGE: Argument =
    Argument { what: "gauge pressure", unit: "psig", least: -14.7, greatest: 700.0 };
pub(crate) const LINE: Argument =
    Argument { what: "line temperature", unit: "°F", least: -60.0, greatest: 300.0 };
pub(crate) const AIR: Argument =
    Argument { what: "air temperature", unit: "°F", least: -60.0, greatest: 150.0 };
pub(crate) const SATURATED: Argument =
    Argument { what: "saturation temperature", unit: "°F", least: -49.0, greatest: 149.0 };
pub(crate) const WET_BULB: Argument =
    Argument { what: "return wet bulb", unit: "°F", least: 50.0, greatest: 76.0 };
pub(crate) const OUTDOOR: Argument =
    Argument { what: "outdoor dry bulb", unit: "°F", least: 55.0, greatest: 115.0 };
pub(crate) const SUPERHEAT: Argument =
    Argument { what: "superheat", unit: "delta°F", least: 0.0, greatest: 80.0 };
pub(crate) const MASS: Argument =
    Argument { what: "refrigerant added", unit: "lb", least: 0.0, greatest: 10_000.0 };
pub(crate) const CHARGE: Argument =
    Argument { what: "full charge", unit: "lb", least: 0.1, greatest: 10_000.0 };
pub(crate) const DAYS: Argument =
    Argument { what: "days since the last addition", unit: "d", least: 1.0, greatest: 365.0 };
/// Least target superheat: below it no charge is added or taken.
const TARGET: Argument = Argument { what: "target superheat", unit: "delta°F", least: 5.0, greatest: 60.0 };

fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

fn fahrenheit(celsius: f64) -> f64 {
    celsius * 1.8 + 32.0
}

/// Absolute pressure in psia of a gauge pressure: gauge + the standard atmosphere at that altitude.
///
/// `psig` -14.7 to 700 psig, `altitude_ft` -1000 to 15,000 ft. Source: definition; ASHRAE Fundamentals chapter 1 for the atmosphere.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn absolute_psia(psig: f64, altitude_ft: f64) -> Result<f64, OutOfRange> {
    Ok(GAUGE.validate(psig)? + standard_pressure_psia(altitude_ft)?)
}

/// Saturation temperature in °F on one of the lines, at a gauge pressure.
///
/// `psig` what the refrigerant has from -49 to 149 °F, `altitude_ft` -1000 to 15,000 ft. Source: physics, see [`crate::refrigerant`].
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn saturation_f(
    refrigerant: Refrigerant,
    line: Saturation,
    psig: f64,
    altitude_ft: f64,
) -> Result<f64, OutOfRange> {
    let kpa = absolute_psia(psig, altitude_ft)? * KPA_PER_PSI;
    Ok(fahrenheit(temperature_c(refrigerant, line, kpa)?))
}

/// Gauge pressure in psig on one of the lines, at a saturation temperature.
///
/// `saturated_f` -49 to 149 °F, `altitude_ft` -1000 to 15,000 ft. Source: physics, see [`crate::refrigerant`].
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn saturation_psig(
    refrigerant: Refrigerant,
    line: Saturation,
    saturated_f: f64,
    altitude_ft: f64,
) -> Result<f64, OutOfRange> {
    let kpa = pressure_kpa(refrigerant, line, celsius(SATURATED.validate(saturated_f)?))?;
    Ok(kpa / KPA_PER_PSI - standard_pressure_psia(altitude_ft)?)
}

/// Superheat in °F: suction line less dew temperature at the suction pressure.
///
/// `suction_line_f` -60 to 300 °F, the rest as [`saturation_f`]. Negative: liquid in the line, or a probe that does not touch.
/// Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn superheat_f(
    refrigerant: Refrigerant,
    suction_psig: f64,
    suction_line_f: f64,
    altitude_ft: f64,
) -> Result<f64, OutOfRange> {
    Ok(LINE.validate(suction_line_f)?
        - saturation_f(refrigerant, Saturation::Dew, suction_psig, altitude_ft)?)
}

/// Subcooling in °F: bubble temperature at the liquid pressure less liquid line.
///
/// `liquid_line_f` -60 to 300 °F, the rest as [`saturation_f`]. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn subcooling_f(
    refrigerant: Refrigerant,
    liquid_psig: f64,
    liquid_line_f: f64,
    altitude_ft: f64,
) -> Result<f64, OutOfRange> {
    Ok(saturation_f(refrigerant, Saturation::Bubble, liquid_psig, altitude_ft)?
        - LINE.validate(liquid_line_f)?)
}

/// Target superheat in °F of a fixed orifice: (3 wet bulb - 80 - outdoor) / 2.
///
/// `return_wet_bulb_f` 50 to 76 °F, `outdoor_f` 55 to 115 °F; where it comes out below 5 °F no charge is judged, so that is an error. Against
/// a published chart (75 to 105 °F outdoors, 58 to 72 °F wet bulb) 0.55 °F high on average, 3 °F at worst. Source: common practice.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn target_superheat_f(return_wet_bulb_f: f64, outdoor_f: f64) -> Result<f64, OutOfRange> {
    TARGET.validate((3.0 * WET_BULB.validate(return_wet_bulb_f)? - 80.0 - OUTDOOR.validate(outdoor_f)?) / 2.0)
}

/// Condensing temperature over the outdoor air in °F: bubble temperature at the liquid pressure less outdoor dry bulb.
///
/// `outdoor_f` -60 to 150 °F, the rest as [`saturation_f`]. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn condensing_over_ambient_f(
    refrigerant: Refrigerant,
    liquid_psig: f64,
    outdoor_f: f64,
    altitude_ft: f64,
) -> Result<f64, OutOfRange> {
    Ok(saturation_f(refrigerant, Saturation::Bubble, liquid_psig, altitude_ft)? - AIR.validate(outdoor_f)?)
}

/// Return air over the evaporator's dew temperature in °F.
///
/// `return_f` -60 to 150 °F, the rest as [`saturation_f`]. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn evaporator_difference_f(
    refrigerant: Refrigerant,
    suction_psig: f64,
    return_f: f64,
    altitude_ft: f64,
) -> Result<f64, OutOfRange> {
    Ok(AIR.validate(return_f)? - saturation_f(refrigerant, Saturation::Dew, suction_psig, altitude_ft)?)
}

/// Compression ratio: discharge over suction, both absolute.
///
/// Gauge pressures -14.7 to 700 psig, the suction at least 1 psia; `altitude_ft` -1000 to 15,000 ft. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn compression_ratio(
    suction_psig: f64,
    discharge_psig: f64,
    altitude_ft: f64,
) -> Result<f64, OutOfRange> {
    let suction = Argument { what: "suction pressure", unit: "psia", least: 1.0, greatest: 800.0 };
    Ok(absolute_psia(discharge_psig, altitude_ft)?
        / suction.validate(absolute_psia(suction_psig, altitude_ft)?)?)
}

/// Discharge temperature in °F that a compressor of 70 % isentropic efficiency would have without losing heat: (suction, absolute) x
/// ratio^m, m of the refrigerant.
///
/// Evaporating (dew) and condensing (bubble) -49 to 149 °F, the second above the first; `superheat_f` 0 to 80 °F. A model, no limit: real
/// lines read lower. R-32 and R-454B run hotter by nature. Source: exponents from CoolProp 8.0.0 at 40/120 °F and 20 °F of superheat;
/// within 2.2 K of CoolProp at 30 to 45 °F evaporating, 115 to 130 °F condensing, and 40 °F of superheat.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn expected_discharge_f(
    refrigerant: Refrigerant,
    evaporating_f: f64,
    condensing_f: f64,
    superheat_f: f64,
) -> Result<f64, OutOfRange> {
    let evaporating = SATURATED.validate(evaporating_f)?;
    let hotter = Argument { what: "condensing temperature", least: evaporating, ..SATURATED };
    let suction = pressure_kpa(refrigerant, Saturation::Dew, celsius(evaporating))?;
    let discharge = pressure_kpa(refrigerant, Saturation::Bubble, celsius(hotter.validate(condensing_f)?))?;
    let kelvin = celsius(evaporating + SUPERHEAT.validate(superheat_f)?) + 273.15;
    let hot = kelvin * libm::pow(discharge / suction, refrigerant.discharge_exponent());
    Ok(fahrenheit(hot - 273.15))
}

/// Leak rate in % of the full charge a year, by one addition annualised: 100 added / charge x 365 / days.
///
/// `added_lb` 0 to 10,000 lb, `charge_lb` 0.1 to 10,000 lb, `days` 1 to 365 since the last addition. Each circuit
/// counts separately. Which units a law covers is for the site's compliance officer. Source: standard 40 CFR 82.152
/// (annualising method), looked up second-hand.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn annual_leak_pct(added_lb: f64, charge_lb: f64, days: f64) -> Result<f64, OutOfRange> {
    Ok(100.0 * MASS.validate(added_lb)? / CHARGE.validate(charge_lb)? * 365.0 / DAYS.validate(days)?)
}

/// Leak rate in % of the full charge a year, as the additions of the last 365 days together: 100 added / charge.
///
/// Ranges as [`annual_leak_pct`]. Source: standard 40 CFR 82.152 (rolling average), from memory.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn rolling_leak_pct(added_in_365_days_lb: f64, charge_lb: f64) -> Result<f64, OutOfRange> {
    Ok(100.0 * MASS.validate(added_in_365_days_lb)? / CHARGE.validate(charge_lb)?)
}

#[cfg(test)]
mod tests;
