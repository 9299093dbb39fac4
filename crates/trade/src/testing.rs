//! What the tests of the formulas share. Holds no formula.

use crate::range::OutOfRange;

/// A result within a tolerance of what it should be.
pub(crate) fn close(got: Result<f64, OutOfRange>, want: f64, tolerance: f64) {
    let got = got.unwrap();
    assert!((got - want).abs() <= tolerance, "got {got}, want {want} +- {tolerance}");
}
