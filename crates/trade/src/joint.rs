//! Contacts and joints: resistance and millivolts at load, scaling to rated current, comparison of poles, thermographic
//! classes. Does not say which class calls for what; rules do.

use crate::range::{Argument, OutOfRange};

pub(crate) const DROP: Argument = Argument { what: "voltage drop", unit: "mV", least: 0.0, greatest: 1e6 };
pub(crate) const CURRENT: Argument = Argument { what: "current", unit: "A", least: 1e-3, greatest: 10_000.0 };
pub(crate) const RESISTANCE: Argument =
    Argument { what: "resistance", unit: "ohm", least: 0.0, greatest: 1e9 };
pub(crate) const RISE: Argument =
    Argument { what: "temperature difference", unit: "K", least: 0.0, greatest: 1000.0 };
pub(crate) const EXPONENT: Argument = Argument { what: "exponent", unit: "", least: 1.0, greatest: 2.0 };

/// Resistance in ohm of a closed contact or joint from its voltage drop: R = mV / (1000 I).
///
/// `millivolts` 0 to 10^6 mV, `amps` 0.001 to 10,000 A. Source: physics.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn resistance_ohm(millivolts: f64, amps: f64) -> Result<f64, OutOfRange> {
    Ok(DROP.validate(millivolts)? / (1000.0 * CURRENT.validate(amps)?))
}

/// Heat in W that a contact or joint gives off: P = mV I / 1000.
///
/// Ranges as [`resistance_ohm`]. Source: physics.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn heat_w(millivolts: f64, amps: f64) -> Result<f64, OutOfRange> {
    Ok(DROP.validate(millivolts)? * CURRENT.validate(amps)? / 1000.0)
}

/// Voltage drop in mV that the same contact would show at its rated current: mV Irated / I.
///
/// `millivolts` 0 to 10^6 mV, `amps` and `rated_amps` 0.001 to 10,000 A. A light load hides much: what is scaled up many times
/// supports "bad", hardly "good". Source: physics (constant resistance).
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn millivolts_at_rated(millivolts: f64, amps: f64, rated_amps: f64) -> Result<f64, OutOfRange> {
    Ok(DROP.validate(millivolts)? * CURRENT.validate(rated_amps)? / CURRENT.validate(amps)?)
}

/// How many times the best of three poles the worst one has: greatest over least. For resistances, or drops at one current.
///
/// Each 0 to 10^9 of one unit, the least above 0. Source: definition; the comparison with the lowest like joint is that of
/// acceptance testing standards (looked up second-hand).
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn pole_ratio(first: f64, second: f64, third: f64) -> Result<f64, OutOfRange> {
    let poles = [RESISTANCE.validate(first)?, RESISTANCE.validate(second)?, RESISTANCE.validate(third)?];
    let least = poles.into_iter().fold(f64::INFINITY, libm::fmin);
    let least = Argument { what: "least of the three poles", least: 1e-12, ..RESISTANCE }.validate(least)?;
    Ok(poles.into_iter().fold(0.0, libm::fmax) / least)
}

/// Temperature difference in K at full load from that at part load: dT (Ifull / I)^n.
///
/// `kelvin` 0 to 1000 K, `amps` and `full_amps` 0.001 to 10,000 A, `exponent` 1 to 2: 2 is the upper bound (all heat goes with the
/// square of the current), 1.6 an empirical figure from memory. Source: physics for n = 2.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn rise_at_full_load_k(kelvin: f64, amps: f64, full_amps: f64, exponent: f64) -> Result<f64, OutOfRange> {
    let ratio = CURRENT.validate(full_amps)? / CURRENT.validate(amps)?;
    Ok(RISE.validate(kelvin)? * libm::pow(ratio, EXPONENT.validate(exponent)?))
}

/// What a warm spot is compared with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reference {
    /// A similar part under a similar load.
    SimilarPart,
    /// The air around it.
    Ambient,
}

/// The class of a warm spot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Below every class.
    None,
    /// Possible deficiency: to be looked into.
    Possible,
    /// Probable deficiency: to be mended as time permits.
    Probable,
    /// To be watched until it is mended.
    Monitor,
    /// Major discrepancy: to be mended at once.
    Major,
}

/// Thermographic class of a temperature difference: against a similar part above 15 K major, from 4 K probable, from 1 K possible;
/// against ambient above 40 K major, from 21 K to be monitored, from 11 K probable, from 1 K possible.
///
/// `kelvin` 0 to 1000 K. The table has gaps (3 to 4 K, 10 to 11 K, 20 to 21 K): a value in one belongs to the lower class, our own
/// choice. Source: standard, the table of suggested actions of NETA's maintenance specification (100.18), looked up second-hand.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn severity(kelvin: f64, reference: Reference) -> Result<Severity, OutOfRange> {
    let kelvin = RISE.validate(kelvin)?;
    let classes: &[(f64, bool, Severity)] = match reference {
        Reference::SimilarPart => &[
            (15.0, false, Severity::Major),
            (4.0, true, Severity::Probable),
            (1.0, true, Severity::Possible),
        ],
        Reference::Ambient => &[
            (40.0, false, Severity::Major),
            (21.0, true, Severity::Monitor),
            (11.0, true, Severity::Probable),
            (1.0, true, Severity::Possible),
        ],
    };
    let reached = |(from, with, _): &&(f64, bool, Severity)| kelvin > *from || (*with && kelvin >= *from);
    Ok(classes.iter().find(reached).map_or(Severity::None, |class| class.2))
}

#[cfg(test)]
mod tests;
