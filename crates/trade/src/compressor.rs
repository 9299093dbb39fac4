//! Hermetic compressors: terminals from three resistances and their faults, crankcase heater, the ten-coefficient
//! map, nameplate amps. Does not judge; rules do.

use crate::range::{Argument, OutOfRange};

pub(crate) const WINDING: Argument =
    Argument { what: "winding resistance", unit: "ohm", least: 0.01, greatest: 1000.0 };
pub(crate) const VOLTAGE: Argument = Argument { what: "voltage", unit: "V", least: 1.0, greatest: 1000.0 };
pub(crate) const POWER: Argument =
    Argument { what: "heater power", unit: "W", least: 1.0, greatest: 10_000.0 };
pub(crate) const CURRENT: Argument = Argument { what: "current", unit: "A", least: 0.01, greatest: 10_000.0 };
pub(crate) const MAP_TEMPERATURE: Argument =
    Argument { what: "temperature", unit: "of the map", least: -100.0, greatest: 250.0 };
pub(crate) const DIVISOR: Argument = Argument { what: "divisor", unit: "", least: 1.4, greatest: 1.56 };
pub(crate) const COEFFICIENT: Argument =
    Argument { what: "map coefficient", unit: "", least: -1e12, greatest: 1e12 };

/// One of the three terminals, numbered as the resistances were read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Terminal {
    /// The first.
    One,
    /// The second.
    Two,
    /// The third.
    Three,
}

/// The terminals of a single-phase compressor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terminals {
    /// Common.
    pub common: Terminal,
    /// Run.
    pub run: Terminal,
    /// Start.
    pub start: Terminal,
    /// Start to run less the sum of the two others, ohm: 0 but for the meter's doubt. Large: shorted turns or a wrong pair.
    pub sum_error_ohm: f64,
}

/// What three resistances of a single-phase compressor tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Windings {
    /// All three read.
    Found(Terminals),
    /// One pair reads, the two pairs of this terminal are open: it is common, and the internal overload is open. Let the
    /// shell cool, hours if need be, and read again before anything is condemned.
    OverloadOpen {
        /// The common terminal.
        common: Terminal,
    },
    /// Only this pair is joined through a winding; the winding to `apart` is open, if it is not the overload. The terminal that
    /// reads to nothing is named.
    WindingOpen {
        /// The terminal that reads to neither of the others.
        apart: Terminal,
    },
    /// Nothing reads: leads, or both windings, or the common lead.
    NothingReads,
}

/// Names the terminals of a single-phase compressor from the resistances of its three pairs: the largest is start to
/// run, so the terminal that is left is common; from common the larger is start.
///
/// `one_two`, `one_three` and `two_three` in ohm, 0.01 to 1000 ohm; `None` reads open. One open pair alone cannot be
/// (the two others join its ends), so it is an error: read again. `overload_inside` says whether the motor has an
/// overload inside the shell in its common lead: then two open pairs are reported as [`Windings::OverloadOpen`].
/// Source: physics (two windings joined at common).
///
/// # Errors
/// [`OutOfRange`] outside the range above, or with one open pair alone.
pub fn windings(
    one_two: Option<f64>,
    one_three: Option<f64>,
    two_three: Option<f64>,
    overload_inside: bool,
) -> Result<Windings, OutOfRange> {
    use Terminal::{One, Three, Two};
    let read = |ohms: Option<f64>| ohms.map(|ohms| WINDING.validate(ohms)).transpose();
    let apart = |terminal| match overload_inside {
        true => Windings::OverloadOpen { common: terminal },
        false => Windings::WindingOpen { apart: terminal },
    };
    match (read(one_two)?, read(one_three)?, read(two_three)?) {
        (Some(a), Some(b), Some(c)) => Ok(Windings::Found(terminals(a, b, c))),
        (None, None, None) => Ok(Windings::NothingReads),
        (Some(_), None, None) => Ok(apart(Three)),
        (None, Some(_), None) => Ok(apart(Two)),
        (None, None, Some(_)) => Ok(apart(One)),
        _ => Err(OutOfRange { what: "one open pair alone", value: f64::INFINITY, ..WINDING.error() }),
    }
}

fn terminals(one_two: f64, one_three: f64, two_three: f64) -> Terminals {
    use Terminal::{One, Three, Two};
    // For each terminal as common: the pair opposite it, and the two pairs from it with their other ends.
    let as_common = [
        (One, two_three, (one_two, Two), (one_three, Three)),
        (Two, one_three, (one_two, One), (two_three, Three)),
        (Three, one_two, (one_three, One), (two_three, Two)),
    ];
    let [mut found, others @ ..] = as_common;
    for other in others {
        if other.1 > found.1 {
            found = other;
        }
    }
    let (common, opposite, a, b) = found;
    let (start, run) = if a.0 > b.0 { (a, b) } else { (b, a) };
    Terminals { common, run: run.1, start: start.1, sum_error_ohm: opposite - (start.0 + run.0) }
}

/// Resistance in ohm, current in A of a crankcase heater at its rated voltage, and its power in W at another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heater {
    /// Resistance, ohm.
    pub ohms: f64,
    /// Current at the rated voltage, A.
    pub rated_amps: f64,
    /// Power at the voltage that is there, W.
    pub watts: f64,
}

/// A crankcase heater: R = V^2 / P, I = P / V, and its power at `volts`, which goes with the square.
///
/// `rated_volts` and `volts` 1 to 1000 V, `rated_watts` 1 to 10,000 W. Source: physics (constant resistance; a self-regulating
/// heater is none).
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn crankcase_heater(rated_volts: f64, rated_watts: f64, volts: f64) -> Result<Heater, OutOfRange> {
    let (rated, power) = (VOLTAGE.validate(rated_volts)?, POWER.validate(rated_watts)?);
    let ratio = VOLTAGE.validate(volts)? / rated;
    Ok(Heater { ohms: rated * rated / power, rated_amps: power / rated, watts: power * ratio * ratio })
}

/// Start to run less the sum of common to start and common to run, ohm: 0 but for the meter's doubt; more means shorted turns, a bad
/// contact or a wrong pair.
///
/// Each 0.01 to 1000 ohm. Source: physics (two windings joined at common).
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn sum_error_ohm(common_start: f64, common_run: f64, start_run: f64) -> Result<f64, OutOfRange> {
    Ok(WINDING.validate(start_run)? - WINDING.validate(common_start)? - WINDING.validate(common_run)?)
}

/// Rated load amps from the greatest continuous current of the plate: MCC / divisor, the divisor being 1.56 or 1.4.
///
/// `mcc_amps` 0.01 to 10,000 A, `divisor` 1.4 to 1.56. RLA sizes wires; it is no limit for a running compressor.
/// Source: common practice, from memory.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn rated_load_amps(mcc_amps: f64, divisor: f64) -> Result<f64, OutOfRange> {
    Ok(CURRENT.validate(mcc_amps)? / DIVISOR.validate(divisor)?)
}

/// A compressor maker's map: C1 + C2 S + C3 D + C4 S^2 + C5 S D + C6 D^2 + C7 S^3 + C8 D S^2 + C9 S D^2 + C10 D^3, with S the
/// evaporating and D the condensing dew temperature.
///
/// `coefficients` C1 to C10, -10^12 to 10^12; temperatures in the map's own unit, -100 to 250. The result has the map's unit
/// (W, A, lb/h). Good only inside the map's own envelope, which this does not know. Source: standard AHRI 540 (form), from memory.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn map_value(coefficients: [f64; 10], evaporating: f64, condensing: f64) -> Result<f64, OutOfRange> {
    let (s, d) = (MAP_TEMPERATURE.validate(evaporating)?, MAP_TEMPERATURE.validate(condensing)?);
    let powers = [1.0, s, d, s * s, s * d, d * d, s * s * s, d * s * s, s * d * d, d * d * d];
    let mut sum = 0.0;
    for (coefficient, power) in coefficients.into_iter().zip(powers) {
        sum += COEFFICIENT.validate(coefficient)? * power;
    }
    Ok(sum)
}

#[cfg(test)]
mod tests;
