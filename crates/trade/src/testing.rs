//! What the tests of the formulas share. Holds no formula.

use crate::range::OutOfRange;

/// A result within a tolerance of what it should be.
pub(crate) fn close(got: Result<f64, OutOfRange>, want: f64, tolerance: f64) {
    let got = got.unwrap();
    assert!((got - want).abs() <= tolerance, "got {got}, want {want} +- {tolerance}");
}

/// A result that is refused, and what it is refused for: an argument, or a value on the way that no part can have.
#[track_caller]
pub(crate) fn refused<T: core::fmt::Debug>(got: Result<T, OutOfRange>, what: &str) {
    let error = got.unwrap_err();
    assert_eq!(error.what, what, "{error}");
}
