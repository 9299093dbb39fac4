//! Belts, sheaves and fans: belt length and deflection, speeds, the fan laws. Does not judge; rules do.

use core::f64::consts::PI;

use crate::range::{Argument, OutOfRange};

pub(crate) const LENGTH: Argument = Argument { what: "length", unit: "in", least: 0.1, greatest: 1000.0 };
pub(crate) const SPEED: Argument = Argument { what: "speed", unit: "rpm", least: 1.0, greatest: 100_000.0 };
pub(crate) const RATIO: Argument =
    Argument { what: "ratio of speeds", unit: "", least: 0.01, greatest: 10.0 };

/// Length in inches of an open belt round two sheaves: 2 C + pi (D + d) / 2 + (D - d)^2 / (4 C).
///
/// `centres_in`, `large_in` and `small_in` (pitch diameters) 0.1 to 1000 in; the centres at least half the sum of the diameters apart.
/// Source: geometry, the usual approximation; short by less than 0.1 % where the centres are farther apart than the large sheave is wide.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn belt_length_in(centres_in: f64, large_in: f64, small_in: f64) -> Result<f64, OutOfRange> {
    let (large, small) = (LENGTH.validate(large_in)?, LENGTH.validate(small_in)?);
    let apart = Argument { what: "distance of the centres", least: (large + small) / 2.0, ..LENGTH };
    let centres = apart.validate(centres_in)?;
    Ok(2.0 * centres + PI * (large + small) / 2.0 + (large - small) * (large - small) / (4.0 * centres))
}

/// Deflection in inches at mid-span that a belt is set to: 1/64 in for each inch of span.
///
/// `span_in` 0.1 to 1000 in. Source: common practice.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn belt_deflection_in(span_in: f64) -> Result<f64, OutOfRange> {
    Ok(LENGTH.validate(span_in)? / 64.0)
}

/// Speed in rpm of the driven sheave: n d / D.
///
/// `driver_rpm` 1 to 100,000 rpm, pitch diameters 0.1 to 1000 in. Source: geometry, no slip of the belt.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn driven_rpm(driver_rpm: f64, driver_in: f64, driven_in: f64) -> Result<f64, OutOfRange> {
    Ok(SPEED.validate(driver_rpm)? * LENGTH.validate(driver_in)? / LENGTH.validate(driven_in)?)
}

/// What a fan on an unchanged system does at another speed, as parts of what it did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FanChange {
    /// Airflow: as the speed.
    pub flow: f64,
    /// Pressure: as its square.
    pub pressure: f64,
    /// Shaft power: as its cube.
    pub power: f64,
}

/// The fan laws.
///
/// `old_rpm` and `new_rpm` 1 to 100,000 rpm, their ratio 0.01 to 10. The system, the air's density and the fan stay the same.
/// Source: physics (similarity).
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn fan_laws(old_rpm: f64, new_rpm: f64) -> Result<FanChange, OutOfRange> {
    let ratio = RATIO.validate(SPEED.validate(new_rpm)? / SPEED.validate(old_rpm)?)?;
    Ok(FanChange { flow: ratio, pressure: ratio * ratio, power: ratio * ratio * ratio })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{close, refused};

    #[test]
    fn belt_and_sheaves_match_the_worked_example() {
        // MOT-12 of `tests/reference/calc.csv`, geometry
        close(belt_length_in(18.0, 9.0, 4.0), 56.767_574_471, 1e-5);
        close(driven_rpm(1750.0, 4.0, 9.0), 777.777_777_778, 1e-6);
        close(belt_deflection_in(18.0), 0.281_25, 1e-9);
        refused(belt_length_in(5.0, 9.0, 4.0), "distance of the centres"); // sheaves that overlap
    }

    #[test]
    fn the_approximation_is_near_the_exact_length() {
        // Exact open belt (geometry): 2 sqrt(C^2 - ((D - d) / 2)^2) + pi (D + d) / 2 + (D - d) asin((D - d) / 2 C)
        for (c, large, small) in [(18.0, 9.0, 4.0), (24.0, 12.0, 3.0), (10.0, 9.0, 4.0)] {
            let half = (large - small) / 2.0;
            let exact = 2.0 * libm::sqrt(c * c - half * half)
                + PI * (large + small) / 2.0
                + 2.0 * half * libm::asin(half / c);
            close(belt_length_in(c, large, small), exact, 1e-3 * exact);
        }
    }

    #[test]
    fn fan_laws_are_powers_of_the_speed() {
        // the cube of 1.1: 10 % more speed takes 33.1 % more power
        let more = fan_laws(1000.0, 1100.0).unwrap();
        assert!((more.power - 1.331).abs() < 1e-12 && (more.pressure - 1.21).abs() < 1e-12);
        let there_and_back = more.power * fan_laws(1100.0, 1000.0).unwrap().power;
        assert!((there_and_back - 1.0).abs() < 1e-12);
    }

    proptest::proptest! {
        #[test]
        fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY) {
            for result in [belt_length_in(a, b, c), belt_deflection_in(a), driven_rpm(a, b, c), fan_laws(a, b).map(|f| f.power)] {
                proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
            }
        }
    }
}
