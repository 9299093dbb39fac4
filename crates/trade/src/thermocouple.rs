//! Thermocouples K and T: millivolts from temperature and back, cold junction included. Does not hold tolerances; rules do.

use crate::range::{Argument, OutOfRange};

pub(crate) const MILLIVOLTS: Argument =
    Argument { what: "thermocouple voltage", unit: "mV", least: -10.0, greatest: 60.0 };
/// Halvings of the range: to less than 10^-9 K.
const HALVINGS: usize = 45;

/// A type of thermocouple.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Couple {
    /// Nickel-chromium against nickel-aluminium, -200 to 1372 °C.
    K,
    /// Copper against copper-nickel, -200 to 400 °C.
    T,
}

/// Reference functions of ITS-90. Source: standard NIST Monograph 175, coefficients from memory; CI compares them with an independent
/// package over the whole range.
const K_BELOW: &[f64] = &[
    0.0,
    0.394_501_280_250e-1,
    0.236_223_735_980e-4,
    -0.328_589_067_840e-6,
    -0.499_048_287_770e-8,
    -0.675_090_591_730e-10,
    -0.574_103_274_280e-12,
    -0.310_888_728_940e-14,
    -0.104_516_093_650e-16,
    -0.198_892_668_780e-19,
    -0.163_226_974_860e-22,
];
const K_ABOVE: &[f64] = &[
    -0.176_004_136_860e-1,
    0.389_212_049_750e-1,
    0.185_587_700_320e-4,
    -0.994_575_928_740e-7,
    0.318_409_457_190e-9,
    -0.560_728_448_890e-12,
    0.560_750_590_590e-15,
    -0.320_207_200_030e-18,
    0.971_511_471_520e-22,
    -0.121_047_212_750e-25,
];
const T_BELOW: &[f64] = &[
    0.0,
    0.387_481_063_640e-1,
    0.441_944_343_470e-4,
    0.118_443_231_050e-6,
    0.200_329_735_540e-7,
    0.901_380_195_590e-9,
    0.226_511_565_930e-10,
    0.360_711_542_050e-12,
    0.384_939_398_830e-14,
    0.282_135_219_250e-16,
    0.142_515_947_790e-18,
    0.487_686_622_860e-21,
    0.107_955_392_700e-23,
    0.139_450_270_620e-26,
    0.797_951_539_270e-30,
];
const T_ABOVE: &[f64] = &[
    0.0,
    0.387_481_063_640e-1,
    0.332_922_278_800e-4,
    0.206_182_434_040e-6,
    -0.218_822_568_460e-8,
    0.109_968_809_280e-10,
    -0.308_157_587_720e-13,
    0.454_791_352_900e-16,
    -0.275_129_016_730e-19,
];

impl Couple {
    /// All.
    pub const ALL: [Self; 2] = [Self::K, Self::T];
    /// Their letters.
    pub const NAMES: &'static [&'static str] = &["K", "T"];

    pub(crate) const fn range(self) -> Argument {
        let greatest = match self {
            Self::K => 1372.0,
            Self::T => 400.0,
        };
        Argument { what: "junction temperature", unit: "°C", least: -200.0, greatest }
    }
}

/// Voltage in mV of a couple at `celsius` against 0 °C.
///
/// K -200 to 1372 °C, T -200 to 400 °C. Source: standard NIST Monograph 175 (ITS-90), see above.
///
/// # Errors
/// [`OutOfRange`] outside the range of the couple.
pub fn millivolts(couple: Couple, celsius: f64) -> Result<f64, OutOfRange> {
    Ok(reference(couple, couple.range().validate(celsius)?))
}

fn reference(couple: Couple, t: f64) -> f64 {
    let coefficients = match (couple, t < 0.0) {
        (Couple::K, true) => K_BELOW,
        (Couple::K, false) => K_ABOVE,
        (Couple::T, true) => T_BELOW,
        (Couple::T, false) => T_ABOVE,
    };
    let sum = coefficients.iter().rev().fold(0.0, |sum, c| sum * t + c);
    let hump = match couple {
        Couple::K if t >= 0.0 => 0.118_597_6 * libm::exp(-0.118_343_2e-3 * (t - 126.9686) * (t - 126.9686)),
        _ => 0.0,
    };
    sum + hump
}

/// Temperature in °C of the measuring junction from the voltage of the couple and the temperature of its cold junction.
///
/// `mv` -10 to 60 mV, `cold_c` in the range of the couple; the result is, too. To 10^-8 K: the reference function itself is solved, not its
/// approximate inverse. Source: standard NIST Monograph 175 (ITS-90).
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn temperature_c(couple: Couple, mv: f64, cold_c: f64) -> Result<f64, OutOfRange> {
    let range = couple.range();
    let total = MILLIVOLTS.validate(mv)? + millivolts(couple, cold_c)?;
    let (mut low, mut high) = (range.least, range.greatest);
    let ends = Argument {
        what: "voltage with its cold junction",
        unit: "mV",
        least: reference(couple, low),
        greatest: reference(couple, high),
    };
    let total = ends.validate(total)?;
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if reference(couple, middle) > total {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::close;

    #[test]
    fn the_published_table_is_met() {
        // NIST ITS-90 tables, as printed.
        for (celsius, k, t) in [(-100.0, -3.5536, -3.3786), (25.0, 1.0002, 0.9920), (100.0, 4.0962, 4.2785)] {
            close(millivolts(Couple::K, celsius), k, 5e-5);
            close(millivolts(Couple::T, celsius), t, 5e-5);
        }
        close(millivolts(Couple::K, 500.0), 20.6443, 5e-5);
        close(millivolts(Couple::K, 1000.0), 41.2756, 5e-5);
    }

    proptest::proptest! {
        #[test]
        fn there_and_back_over_a_cold_junction(k: bool, part in 0.0..1.0_f64, cold in -20.0..60.0_f64) {
            let couple = if k { Couple::K } else { Couple::T };
            let range = couple.range();
            let hot = range.least + part * (range.greatest - range.least);
            let mv = millivolts(couple, hot).unwrap() - millivolts(couple, cold).unwrap();
            let back = temperature_c(couple, mv, cold).unwrap();
            proptest::prop_assert!((back - hot).abs() < 1e-6, "{hot} came back as {back}");
        }

        #[test]
        fn nothing_broken_comes_out(k: bool, a in proptest::num::f64::ANY, b in proptest::num::f64::ANY) {
            let couple = if k { Couple::K } else { Couple::T };
            for result in [millivolts(couple, a), temperature_c(couple, a, b)] {
                proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
            }
        }
    }
}
