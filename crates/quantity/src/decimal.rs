//! Decimal numbers as a display shows them: 44.70 keeps its last zero, and no binary rounding appears. Does no
//! arithmetic; computations use `f64` after conversion.

use alloc::string::{String, ToString};
use core::fmt;

/// A number as displayed: `mantissa` x 10^`exponent`. 44.70 is (4470, -2) and differs in resolution from 44.7.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Decimal {
    mantissa: i64,
    exponent: i8,
    /// Separate, because a display distinguishes -0.00 from 0.00.
    negative: bool,
}

/// Why a text is not a decimal number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DecimalError {
    /// Nothing there, or no digit in it.
    NoDigits,
    /// A character that does not belong to a number, with its position (0-based byte).
    Unexpected {
        /// The character.
        found: char,
        /// Byte offset in the text.
        at: usize,
    },
    /// More than 18 digits, or an exponent outside -24..=24.
    TooLong,
}

impl fmt::Display for DecimalError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoDigits => write!(f, "no digits"),
            Self::Unexpected { found, at } => {
                write!(f, "{found:?} at character {} does not belong to a number", at + 1)
            }
            Self::TooLong => write!(f, "more digits than a meter shows (at most 18, exponent within 24)"),
        }
    }
}

impl core::error::Error for DecimalError {}

const MAX_DIGITS: usize = 18;
const MAX_EXPONENT: i32 = 24;

impl Decimal {
    /// From a mantissa and a power of ten; `None` if the exponent is outside -24..=24 or the mantissa has more than
    /// 18 digits.
    #[must_use]
    pub fn new(mantissa: i64, exponent: i8) -> Option<Self> {
        let fits = i32::from(exponent).abs() <= MAX_EXPONENT && mantissa.unsigned_abs() < 10_u64.pow(18);
        fits.then_some(Self { mantissa, exponent, negative: mantissa < 0 })
    }

    /// Parses `[+-]digits[.digits][e[+-]digits]`. No spaces inside, no thousands separators.
    ///
    /// # Errors
    /// [`DecimalError`] says which character is wrong.
    pub fn parse(text: &str) -> Result<Self, DecimalError> {
        let mut digits = 0_usize;
        let mut mantissa: i64 = 0;
        let mut fraction_digits: i32 = 0;
        let (mut negative, mut seen_point, mut any) = (false, false, false);
        let mut exponent: i32 = 0;
        for (at, found) in text.char_indices() {
            match found {
                '+' | '-' if at == 0 => negative = found == '-',
                '.' if !seen_point => seen_point = true,
                '0'..='9' => {
                    any = true;
                    let digit = i64::from(u32::from(found) - u32::from('0'));
                    if mantissa != 0 || digit != 0 {
                        digits += 1;
                    }
                    if digits > MAX_DIGITS {
                        return Err(DecimalError::TooLong);
                    }
                    mantissa = mantissa * 10 + digit;
                    fraction_digits += i32::from(seen_point);
                }
                'e' | 'E' if any => {
                    exponent = parse_exponent(text, at + 1)?;
                    break;
                }
                _ => return Err(DecimalError::Unexpected { found, at }),
            }
        }
        if !any {
            return Err(DecimalError::NoDigits);
        }
        let exponent = exponent - fraction_digits;
        if exponent.abs() > MAX_EXPONENT {
            return Err(DecimalError::TooLong);
        }
        let exponent = i8::try_from(exponent).map_err(|_| DecimalError::TooLong)?;
        Ok(Self { mantissa: if negative { -mantissa } else { mantissa }, exponent, negative })
    }

    /// The nearest `f64`.
    #[must_use]
    pub fn to_f64(self) -> f64 {
        let value = scale_by_power_of_ten(self.mantissa as f64, i32::from(self.exponent));
        if self.negative && self.mantissa == 0 { -0.0 } else { value }
    }

    /// The size of the last displayed digit: 0.01 for 44.70.
    #[must_use]
    pub fn resolution(self) -> f64 {
        scale_by_power_of_ten(1.0, i32::from(self.exponent))
    }

    /// The power of ten of the last displayed digit: -2 for 44.70.
    #[must_use]
    pub fn exponent(self) -> i8 {
        self.exponent
    }

    /// All digits as an integer: 4470 for 44.70.
    #[must_use]
    pub fn mantissa(self) -> i64 {
        self.mantissa
    }

    /// The same number with zeros appended down to the place of `exponent`: 7.4 is 7.40 at -2. `None` if it already
    /// has that place, or would have too many digits.
    #[must_use]
    pub fn with_zeros(self, exponent: i8) -> Option<Self> {
        let zeros =
            u32::try_from(i32::from(self.exponent) - i32::from(exponent)).ok().filter(|zeros| *zeros > 0)?;
        let mantissa = self.mantissa.checked_mul(10_i64.checked_pow(zeros)?)?;
        Some(Self { negative: self.negative, ..Self::new(mantissa, exponent)? })
    }

    /// The numbers obtained by swapping two neighbouring, different digits, the most common typing error: 45 gives
    /// 54; 7.5 gives 5.7. The decimal point stays where it is.
    #[must_use]
    pub fn transpositions(self) -> alloc::vec::Vec<Self> {
        let digits: alloc::vec::Vec<u8> = self.mantissa.unsigned_abs().to_string().into_bytes();
        let mut found = alloc::vec::Vec::new();
        for i in 1..digits.len() {
            let mut swapped = digits.clone();
            swapped.swap(i - 1, i);
            // Nobody types a leading zero, and equal digits swap into themselves.
            if swapped == digits || swapped.first() == Some(&b'0') {
                continue;
            }
            let mantissa = swapped.iter().fold(0_i64, |sum, d| sum * 10 + i64::from(d - b'0'));
            let mantissa = if self.negative { -mantissa } else { mantissa };
            found.push(Self { mantissa, ..self });
        }
        found
    }

    /// The digits as displayed.
    #[must_use]
    pub fn to_text(self) -> String {
        self.to_string()
    }
}

/// `value` x 10^`power`, correctly rounded if both are exact doubles: multiplies or divides once by an exact power of
/// ten, since `2149 * 0.01` is not 21.49 but `2149 / 100` is.
pub(crate) fn scale_by_power_of_ten(value: f64, power: i32) -> f64 {
    let exact = |n: i32| -> f64 {
        let mut p = 1.0_f64;
        for _ in 0..n {
            p *= 10.0;
        }
        p
    };
    if power >= 0 { value * exact(power) } else { value / exact(-power) }
}

fn parse_exponent(text: &str, from: usize) -> Result<i32, DecimalError> {
    let mut value = 0_i32;
    let mut negative = false;
    let mut any = false;
    for (at, found) in text.char_indices().skip_while(|(at, _)| *at < from) {
        match found {
            '+' | '-' if at == from => negative = found == '-',
            '0'..='9' => {
                any = true;
                value = value * 10 + (u32::from(found) - u32::from('0')).cast_signed();
                if value > 99 {
                    return Err(DecimalError::TooLong);
                }
            }
            _ => return Err(DecimalError::Unexpected { found, at }),
        }
    }
    if any { Ok(if negative { -value } else { value }) } else { Err(DecimalError::NoDigits) }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = self.mantissa.unsigned_abs().to_string();
        let sign = if self.negative { "-" } else { "" };
        if self.exponent >= 0 {
            write!(f, "{sign}{digits}")?;
            if self.mantissa != 0 {
                (0..self.exponent).try_for_each(|_| write!(f, "0"))?;
            }
            return Ok(());
        }
        let places = usize::from(self.exponent.unsigned_abs());
        let padded = alloc::format!("{digits:0>width$}", width = places + 1);
        let (whole, fraction) = padded.split_at(padded.len() - places);
        write!(f, "{sign}{whole}.{fraction}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_the_last_zero() {
        let d = Decimal::parse("44.70").unwrap();
        assert_eq!(d.to_string(), "44.70");
        assert_eq!((d.mantissa(), d.exponent()), (4470, -2));
        assert_eq!(d.resolution(), 0.01);
        assert_eq!(d.to_f64(), 44.7);
    }

    #[test]
    fn scales_without_binary_noise() {
        // Multiplying by 0.01 gives 21.490000000000002.
        assert_eq!(Decimal::new(2149, -2).unwrap().to_f64(), 21.49);
    }

    #[test]
    fn reads_what_displays_and_people_write() {
        for (text, value, shown) in [
            ("0.00", 0.0, "0.00"),
            ("-0.02", -0.02, "-0.02"),
            ("+12", 12.0, "12"),
            (".5", 0.5, "0.5"),
            ("1e3", 1000.0, "1000"),
            ("4.47e-5", 4.47e-5, "0.0000447"),
            ("007.50", 7.5, "7.50"),
        ] {
            let d = Decimal::parse(text).unwrap();
            assert_eq!(d.to_f64(), value, "{text}");
            assert_eq!(d.to_string(), shown, "{text}");
        }
    }

    #[test]
    fn refuses_what_is_not_a_number() {
        let unexpected = |found, at| DecimalError::Unexpected { found, at };
        for (text, want) in [
            ("", DecimalError::NoDigits),
            ("-", DecimalError::NoDigits),
            (".", DecimalError::NoDigits),
            ("4,7", unexpected(',', 1)),
            ("4 7", unexpected(' ', 1)),
            ("nan", unexpected('n', 0)),
            ("inf", unexpected('i', 0)),
            ("1e", DecimalError::NoDigits),
            ("1e999", DecimalError::TooLong),
            ("--1", unexpected('-', 1)),
            ("1.2.3", unexpected('.', 3)),
            ("0x10", unexpected('x', 1)),
            ("1234567890123456789", DecimalError::TooLong),
        ] {
            assert_eq!(Decimal::parse(text), Err(want), "{text:?}");
        }
    }

    #[test]
    fn zeros_behind_a_number_are_digits() {
        let padded =
            |text: &str, exponent| Decimal::parse(text).unwrap().with_zeros(exponent).map(Decimal::to_text);
        assert_eq!(padded("7.4", -2).as_deref(), Some("7.40"));
        assert_eq!(padded("-0", -1).as_deref(), Some("-0.0"));
        assert_eq!(padded("7.40", -2), None);
        assert_eq!(padded("7.401", -2), None);
        assert_eq!(padded("123456789012345678", -1), None);
        assert_eq!(padded("1", -25), None);
    }

    #[test]
    fn transposes_neighbouring_digits() {
        let swaps = |t: &str| -> alloc::vec::Vec<String> {
            Decimal::parse(t).unwrap().transpositions().iter().map(ToString::to_string).collect()
        };
        assert_eq!(swaps("54"), ["45"]);
        assert_eq!(swaps("5.7"), ["7.5"]);
        assert_eq!(swaps("44"), [""; 0]);
        assert_eq!(swaps("108"), ["180"]);
        assert_eq!(swaps("39.4"), ["93.4", "34.9"]);
    }

    proptest::proptest! {
        #[test]
        fn print_then_parse_is_the_same_number(m in -999_999_999_i64..999_999_999, e in -12_i8..=0) {
            let d = Decimal::new(m, e).unwrap();
            proptest::prop_assert_eq!(Decimal::parse(&d.to_string()).unwrap(), d);
        }

        #[test]
        fn never_panics(text in ".{0,40}") {
            let _ = Decimal::parse(&text);
        }

        #[test]
        fn agrees_with_the_standard_library(m in -9_999_999_i64..9_999_999, e in -15_i8..15) {
            let d = Decimal::new(m, e).unwrap();
            let std_value: f64 = alloc::format!("{m}e{e}").parse().unwrap();
            proptest::prop_assert_eq!(d.to_f64(), std_value);
        }
    }
}
