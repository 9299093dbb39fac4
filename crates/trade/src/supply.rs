//! Supply and control power: deviation from the nameplate, unbalance of three lines, derating, single phasing, the
//! control transformer. Does not say how much is too much; rules do.
//!
//! Two measures of voltage unbalance share one name and differ by up to some 15 % of their value: that of NEMA MG 1
//! (greatest deviation from the mean) and the negative-sequence factor of IEC 61000-4-30. Each function says which
//! one it computes.

use crate::range::{Argument, OutOfRange};

pub(crate) const VOLTAGE: Argument = Argument { what: "voltage", unit: "V", least: 0.0, greatest: 10_000.0 };
pub(crate) const RATED_VOLTAGE: Argument = Argument { what: "rated voltage", least: 1.0, ..VOLTAGE };
pub(crate) const LINE: Argument =
    Argument { what: "line value", unit: "V or A", least: 0.0, greatest: 10_000.0 };
pub(crate) const LINE_VOLTAGE: Argument = Argument { what: "line voltage", least: 1e-3, ..VOLTAGE };
pub(crate) const CURRENT: Argument = Argument { what: "current", unit: "A", least: 0.0, greatest: 10_000.0 };
pub(crate) const RATED_POWER: Argument =
    Argument { what: "rated power", unit: "VA", least: 1.0, greatest: 1e6 };
pub(crate) const UNBALANCE: Argument =
    Argument { what: "voltage unbalance", unit: "%", least: 0.0, greatest: 5.0 };

/// Deviation of a voltage from the nameplate in %: 100 (V / Vn - 1). Below the plate it is negative.
///
/// `volts` 0 to 10,000 V, `rated_volts` 1 to 10,000 V. A plate that prints two voltages (208-230) is judged at its lower
/// one downwards and its upper one upwards. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn deviation_pct(volts: f64, rated_volts: f64) -> Result<f64, OutOfRange> {
    Ok(100.0 * (VOLTAGE.validate(volts)? / RATED_VOLTAGE.validate(rated_volts)? - 1.0))
}

/// Unbalance of three values in %, as NEMA MG 1 defines it for line voltages: 100 times the greatest deviation from the
/// mean, over the mean. For line currents and for three windings the same figure is used (common practice). It does not
/// depend on the order of the three.
///
/// Each 0 to 10,000, in one unit; all zero is an error, there being no mean to divide by.
/// Source: standard NEMA MG 1, 14.36 (definition, looked up second-hand: a published example gives 1.1 % for 462, 463, 455 V).
///
/// # Errors
/// [`OutOfRange`] outside the range above, or when the mean is zero.
pub fn unbalance_pct(first: f64, second: f64, third: f64) -> Result<f64, OutOfRange> {
    let [a, b, c] = [LINE.validate(first)?, LINE.validate(second)?, LINE.validate(third)?];
    let mean = (a + b + c) / 3.0;
    let mean = Argument { what: "mean of the three", least: 1e-6, ..LINE }.validate(mean)?;
    let greatest = [a, b, c].into_iter().map(|x| libm::fabs(x - mean)).fold(0.0, libm::fmax);
    Ok(100.0 * greatest / mean)
}

/// Negative-sequence voltage in % of the positive-sequence voltage, from three line-to-line voltages:
/// beta = (a^4 + b^4 + c^4) / (a^2 + b^2 + c^2)^2; 100 sqrt((1 - sqrt(3 - 6 beta)) / (1 + sqrt(3 - 6 beta))).
///
/// Each 0.001 to 10,000 V rms. Three line-to-line voltages are the sides of a triangle; where one is greater than the two
/// others together, no supply gives them and a reading is wrong: an error. Source: standard IEC 61000-4-30, formula from
/// memory, checked in the tests against an explicit construction of the phasors.
///
/// # Errors
/// [`OutOfRange`] outside the range above, or when the three do not close a triangle.
pub fn negative_sequence_pct(first_v: f64, second_v: f64, third_v: f64) -> Result<f64, OutOfRange> {
    let volts = [first_v, second_v, third_v].map(|v| LINE_VOLTAGE.validate(v));
    let [a, b, c] = [volts[0]?, volts[1]?, volts[2]?];
    let longest = libm::fmax(a, libm::fmax(b, c));
    let others = a + b + c - longest;
    // An equal sum is a triangle without area: one line is missing. Rounding of the sum is let through.
    Argument {
        what: "longest of the three line voltages",
        unit: "V",
        least: 0.0,
        greatest: others * (1.0 + 1e-12),
    }
    .validate(longest)?;
    // In parts of the longest, so that small voltages do not lose their fourth powers.
    let squares = [a, b, c].map(|v| (v / longest) * (v / longest));
    let sum: f64 = squares.iter().sum();
    let beta = squares.iter().map(|s| s * s).sum::<f64>() / (sum * sum);
    let root = libm::sqrt(libm::fmax(3.0 - 6.0 * beta, 0.0));
    Ok(100.0 * libm::sqrt(libm::fmax(1.0 - root, 0.0) / (1.0 + root)))
}

/// Points of the derating curve: unbalance in %, factor.
const DERATING: [(f64, f64); 11] = [
    (0.0, 1.0),
    (0.5, 1.0),
    (1.0, 1.0),
    (1.5, 0.97),
    (2.0, 0.95),
    (2.5, 0.93),
    (3.0, 0.89),
    (3.5, 0.85),
    (4.0, 0.82),
    (4.5, 0.78),
    (5.0, 0.76),
];

/// Part of its rated power that a three-phase motor may give at an unbalanced voltage, 1 down to 0.76; straight lines between
/// the points of the curve.
///
/// `unbalance_pct` 0 to 5 %, the NEMA figure ([`unbalance_pct`]). Above 5 % the motor is not to be run, so there is no factor.
/// Source: standard NEMA MG 1, 14.36, a curve: the points are readings of it, good to 0.02; the one at 1 % from memory.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn unbalance_derating(unbalance_pct: f64) -> Result<f64, OutOfRange> {
    let at = UNBALANCE.validate(unbalance_pct)?;
    let mut below = DERATING[0];
    for point in DERATING {
        if at <= point.0 {
            let span = point.0 - below.0;
            let part = if span > 0.0 { (at - below.0) / span } else { 0.0 };
            return Ok(below.1 + part * (point.1 - below.1));
        }
        below = point;
    }
    Ok(below.1)
}

/// Current in A of the lines that are left when one of three is lost and the motor goes on giving the same power:
/// sqrt(3) I.
///
/// `amps` 0 to 10,000 A before the loss. A running motor feeds the lost line back, so volts look almost right there; amps
/// tell. Source: rule of thumb (same power and power factor on one phase).
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn single_phasing_current_a(amps: f64) -> Result<f64, OutOfRange> {
    Ok(libm::sqrt(3.0) * CURRENT.validate(amps)?)
}

/// Load of a transformer in % of its rating: 100 V I / VA.
///
/// `volts` 0 to 10,000 V and `amps` 0 to 10,000 A of the secondary, loaded; `rated_va` 1 to 10^6 VA. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn transformer_load_pct(volts: f64, amps: f64, rated_va: f64) -> Result<f64, OutOfRange> {
    Ok(100.0 * VOLTAGE.validate(volts)? * CURRENT.validate(amps)? / RATED_POWER.validate(rated_va)?)
}

/// Secondary voltage in V of a transformer whose primary tap is not the line's voltage: Vs Vline / Vtap.
///
/// `rated_secondary_v`, `tap_v` and `line_v` 1 to 10,000 V. 24 V at the 240 V tap give 20.8 V on a 208 V line. Without load
/// and drop. Source: physics (ratio of turns).
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn secondary_on_tap_v(rated_secondary_v: f64, tap_v: f64, line_v: f64) -> Result<f64, OutOfRange> {
    let [secondary, tap, line] = [rated_secondary_v, tap_v, line_v].map(|v| RATED_VOLTAGE.validate(v));
    Ok(secondary? * line? / tap?)
}

/// The cause of unbalanced line currents, found by rolling the leads (see [`roll_the_leads`]).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnbalanceCause {
    /// The high current stayed with the line: the supply is unbalanced.
    Line,
    /// It moved with the motor's lead: the motor is.
    Motor,
    /// The pattern fits neither: both have a part, or a reading is wrong.
    Neither,
}

/// Supply or motor? All three motor leads are moved on by one line (the lead that was on line 1 goes to line 2, and so on), which keeps
/// the direction of rotation. The deviations of the currents from their mean are compared with those before: in the same
/// order they stay with the line, moved on by one they follow the motor.
///
/// `before` and `after` in A, by line 1 to 3, each 0 to 10,000 A and not all alike. The answer is that of the two patterns
/// whose deviations fit better, if it leaves less than a quarter of their square sum unexplained (our own choice).
/// Source: common practice.
///
/// # Errors
/// [`OutOfRange`] outside the range above, or without any unbalance to follow.
pub fn roll_the_leads(before: [f64; 3], after: [f64; 3]) -> Result<UnbalanceCause, OutOfRange> {
    let shape = |amps: [f64; 3]| -> Result<[f64; 3], OutOfRange> {
        let [a, b, c] = amps.map(|a| CURRENT.validate(a));
        let [a, b, c] = [a?, b?, c?];
        let mean = (a + b + c) / 3.0;
        let greatest =
            libm::fmax(libm::fabs(a - mean), libm::fmax(libm::fabs(b - mean), libm::fabs(c - mean)));
        Argument { what: "greatest deviation from the mean", unit: "A", least: 1e-3, greatest: 1e4 }
            .validate(greatest)?;
        let mean = libm::fmax(mean, 1e-9);
        Ok([a, b, c].map(|x| x / mean - 1.0))
    };
    let [a, b, c] = shape(before)?;
    let seen = shape(after)?;
    let left_over =
        |expected: [f64; 3]| -> f64 { expected.iter().zip(seen).map(|(e, s)| (e - s) * (e - s)).sum() };
    let size: f64 = [a, b, c].iter().chain(&seen).map(|x| x * x).sum();
    let (line, motor) = (left_over([a, b, c]), left_over([c, a, b]));
    Ok(match (line < motor, libm::fmin(line, motor) < size / 4.0) {
        (true, true) => UnbalanceCause::Line,
        (false, true) => UnbalanceCause::Motor,
        (_, false) => UnbalanceCause::Neither,
    })
}

#[cfg(test)]
mod tests;
