//! The range validation at the start of every formula. Holds no formula.

use alloc::format;
use alloc::string::String;
use core::fmt;

/// A value outside the valid range of a formula.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutOfRange {
    /// What the value is: "frequency".
    pub what: &'static str,
    /// The value as given; may be non-finite.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// Least accepted value.
    pub least: f64,
    /// Greatest accepted value.
    pub greatest: f64,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { what, value, unit, least, greatest } = self;
        let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
        write!(f, "{what} {value}{unit} is outside {least} to {greatest}{unit}; check unit and decimal point")
    }
}

impl core::error::Error for OutOfRange {}

/// Name, unit and range of one argument.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Argument {
    /// What it is: "frequency".
    pub what: &'static str,
    /// Its unit; empty for a bare number.
    pub unit: &'static str,
    /// Least accepted value.
    pub least: f64,
    /// Greatest accepted value.
    pub greatest: f64,
}

impl Argument {
    /// The value itself if it is in the range; NaN and infinities never are.
    pub(crate) fn validate(self, value: f64) -> Result<f64, OutOfRange> {
        if value >= self.least && value <= self.greatest {
            Ok(value)
        } else {
            Err(OutOfRange { value, ..self.error() })
        }
    }

    /// The error for this argument, without the value.
    pub(crate) const fn error(self) -> OutOfRange {
        let Self { what, unit, least, greatest } = self;
        OutOfRange { what, value: f64::NAN, unit, least, greatest }
    }
}
