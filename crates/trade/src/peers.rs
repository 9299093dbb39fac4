//! Peers: how far one of several similar parts deviates from the rest, by median and median absolute deviation, which
//! a single odd part cannot hide behind. Only for the same model, stage and load, on one day. Does not say what is
//! too far; rules do.

use alloc::vec::Vec;

use crate::range::{Argument, OutOfRange};
use crate::trend::median;

const VALUE: Argument = Argument { what: "value of a peer", unit: "", least: -1e12, greatest: 1e12 };
const OTHERS: Argument =
    Argument { what: "number of others", unit: "", least: PEERS_MIN as f64 - 1.0, greatest: 255.0 };
pub(crate) const FLOOR: Argument =
    Argument { what: "least deviation that counts", unit: "", least: 1e-12, greatest: 1e12 };
/// Fewest peers. Our own choice: with fewer a median deviation means nothing.
pub const PEERS_MIN: usize = 5;

/// Modified z score of each: 0.6745 (x - median) / MAD; beyond 3.5 it stands out. The MAD is at least `floor`, the meter's own standard
/// uncertainty, so that parts read alike to the last digit accuse nobody. `None`: fewer than [`PEERS_MIN`].
///
/// `values` -10^12 to 10^12, `floor` 10^-12 to 10^12. Source: Iglewicz and Hoaglin, from memory.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn modified_z(values: &[f64], floor: f64) -> Result<Option<Vec<f64>>, OutOfRange> {
    let floor = FLOOR.validate(floor)?;
    let mut sorted: Vec<f64> = values.iter().map(|v| VALUE.validate(*v)).collect::<Result<_, _>>()?;
    if sorted.len() < PEERS_MIN {
        return Ok(None);
    }
    let Some(middle) = median(&mut sorted) else { return Ok(None) };
    let mut off: Vec<f64> = values.iter().map(|v| libm::fabs(v - middle)).collect();
    let Some(deviation) = median(&mut off) else { return Ok(None) };
    let deviation = libm::fmax(deviation, floor);
    Ok(Some(values.iter().map(|v| 0.6745 * (v - middle) / deviation).collect()))
}

/// [`modified_z`] of one value among its others.
///
/// `others` 4 to 255 values. Source: as [`modified_z`].
///
/// # Errors
/// [`OutOfRange`] outside the ranges of [`modified_z`], or for too few others.
pub fn score(value: f64, others: &[f64], floor: f64) -> Result<f64, OutOfRange> {
    OTHERS.validate(others.len() as f64)?;
    let all: Vec<f64> = core::iter::once(value).chain(others.iter().copied()).collect();
    let scores = modified_z(&all, floor)?;
    scores.and_then(|scores| scores.first().copied()).ok_or(OTHERS.error())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::refused;

    #[test]
    fn one_of_nine_fans_stands_out() {
        // UNC-05 of `tests/reference/check_values.csv`: median 1.61, MAD 0.02, z of 1.94 A is 11.12925 (Iglewicz and Hoaglin, from memory).
        let amps = [1.62, 1.58, 1.65, 1.60, 1.61, 1.94, 1.59, 1.63, 1.57];
        let z = modified_z(&amps, 1e-3).unwrap().unwrap();
        assert!((z[5] - 11.129_25).abs() < 1e-6 && (z[0] - 0.337_25).abs() < 1e-6, "{z:?}");
        assert!(z.iter().enumerate().all(|(i, z)| i == 5 || z.abs() < 3.5));
    }

    #[test]
    fn parts_alike_accuse_nobody_and_few_are_no_peers() {
        let z = modified_z(&[2.0, 2.0, 2.0, 2.0, 2.01], 0.02).unwrap().unwrap();
        assert!(z[4] < 3.5);
        assert_eq!(modified_z(&[1.0, 1.0, 1.0, 9.0], 0.1), Ok(None));
        refused(modified_z(&[1.0, f64::NAN, 1.0, 9.0, 1.0], 0.1), "value of a peer");
    }
}
