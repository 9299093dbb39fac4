//! Parses a number with a unit as people type it: `39.4uF`, `240 V`, `-5 %`, `370 V ac`. Does not know which unit is
//! expected; the caller validates the kind.

use alloc::string::String;
use core::fmt;

use crate::coupling::Coupling;
use crate::decimal::{Decimal, DecimalError};
use crate::unit::{Unit, UnitError};

/// A typed number: its digits, and its unit and AC or DC if given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Typed {
    /// The digits as typed.
    pub number: Decimal,
    /// The unit, if given.
    pub unit: Option<Unit>,
    /// AC or DC, if given.
    pub coupling: Option<Coupling>,
}

/// Why a typed value was rejected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ParseError {
    /// The number is wrong.
    Number {
        /// The whole text.
        text: String,
        /// What is wrong with its number.
        cause: DecimalError,
    },
    /// The unit is wrong.
    Unit(UnitError),
    /// AC or DC next to a unit of neither voltage nor current.
    Coupling {
        /// The unit.
        unit: Unit,
        /// The coupling after it.
        coupling: Coupling,
    },
}

impl fmt::Display for ParseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number { text, cause } => {
                write!(f, "{text:?} does not begin with a number ({cause}); write for example 39.4uF")
            }
            Self::Unit(error) => error.fmt(f),
            Self::Coupling { unit, coupling } => {
                write!(
                    f,
                    "{coupling} does not go with {unit}: only voltage and current are ac or dc; leave {coupling} out"
                )
            }
        }
    }
}

impl core::error::Error for ParseError {}

/// Splits and parses a typed value.
///
/// # Errors
/// [`ParseError`] says whether the number or the unit is at fault, with a hint for the unit.
pub fn parse_typed(text: &str) -> Result<Typed, ParseError> {
    let text = text.trim();
    let end = number_end(text);
    let (digits, rest) = text.split_at_checked(end).unwrap_or((text, ""));
    let number = Decimal::parse(digits).map_err(|cause| ParseError::Number { text: text.into(), cause })?;
    let (rest, coupling) = Coupling::strip_from(rest.trim());
    let unit = if rest.is_empty() { None } else { Some(Unit::parse(rest).map_err(ParseError::Unit)?) };
    match (unit, coupling) {
        (Some(unit), Some(coupling)) if !unit.kind().has_coupling() => {
            Err(ParseError::Coupling { unit, coupling })
        }
        _ => Ok(Typed { number, unit, coupling }),
    }
}

/// Where the leading number ends: digits, sign, point, and an exponent only if digits follow it.
fn number_end(text: &str) -> usize {
    let bytes = text.as_bytes();
    let is_digit = |i: usize| bytes.get(i).is_some_and(u8::is_ascii_digit);
    let mut end = 0;
    while let Some(byte) = bytes.get(end) {
        match byte {
            b'0'..=b'9' | b'.' => end += 1,
            b'+' | b'-' if end == 0 => end += 1,
            b'e' | b'E' if is_digit(end + 1) => end += 1,
            b'e' | b'E' if matches!(bytes.get(end + 1), Some(b'+' | b'-')) && is_digit(end + 2) => end += 2,
            _ => break,
        }
    }
    end
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn reads_what_people_type() {
        for (text, digits, unit, coupling) in [
            ("39.4uF", "39.4", Some(Unit::MICROFARAD), None),
            ("39.40 µF", "39.40", Some(Unit::MICROFARAD), None),
            (" 240 V ac ", "240", Some(Unit::VOLT), Some(Coupling::Ac)),
            ("24.6Vdc", "24.6", Some(Unit::VOLT), Some(Coupling::Dc)),
            ("-0.5 in. w.c.", "-0.5", Some(Unit::INCH_WATER), None),
            ("6%", "6", Some(Unit::PERCENT), None),
            ("12", "12", None, None),
            ("5e-6F", "0.000005", Some(Unit::F), None),
        ] {
            let typed = parse_typed(text).unwrap();
            assert_eq!(
                (typed.number.to_string().as_str(), typed.unit, typed.coupling),
                (digits, unit, coupling)
            );
        }
    }

    #[test]
    fn says_what_is_wrong() {
        assert!(parse_typed("uF").unwrap_err().to_string().contains("does not begin with a number"));
        assert!(parse_typed("39.4uf").unwrap_err().to_string().contains("did you mean \"uF\""));
        let comma = UnitError::Unknown { text: ",4uF".into(), did_you_mean: None };
        assert_eq!(parse_typed("39,4uF"), Err(ParseError::Unit(comma)));
        for text in ["39.4 uF ac", "4 ohm dc", "60Hz ac", "72°Fdc", "1.2 VA ac"] {
            let error = parse_typed(text).unwrap_err().to_string();
            assert!(error.contains("only voltage and current are ac or dc"), "{text}: {error}");
        }
        assert!(parse_typed("NaN").unwrap_err().to_string().contains("does not begin with a number"));
    }

    proptest::proptest! {
        #[test]
        fn never_panics(text in ".{0,40}") {
            let _ = parse_typed(&text);
        }
    }
}
