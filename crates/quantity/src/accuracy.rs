//! A meter's accuracy as its data sheet states it ("1.9 % of reading + 2 counts") and the standard uncertainty that
//! follows. Holds no instrument's figures; those are in device profiles.

use alloc::string::String;
use core::fmt;

use crate::decimal::Decimal;
use crate::unit::{Unit, UnitError};

/// Half-width of the interval that contains the true value: percent of reading + counts of the display + a fixed
/// term.
///
/// JCGM 100:2008, 4.3.7: if only the half-width `a` is known, the distribution is rectangular and the standard
/// uncertainty is `a / sqrt(3)`. The counts of a usual specification already include the resolution, so it is added
/// separately (`resolution / sqrt(12)`, F.2.2.1) only if no counts are stated.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Accuracy {
    /// Percent of the reading, half-width.
    pub percent_of_reading: f64,
    /// Counts of the last displayed digit, half-width.
    pub counts: f64,
    /// Size of one count, if the text gives it (`2 x 0.01uF`); otherwise the display's own resolution applies.
    pub count_size: Option<(f64, Unit)>,
    /// A fixed half-width (`3 psig`).
    pub fixed: Option<(f64, Unit)>,
}

/// Why an accuracy text was rejected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AccuracyError {
    /// A term between plus signs that cannot be parsed.
    Term {
        /// The term as given.
        term: String,
    },
    /// The unit of a term is unknown or does not fit the reading.
    Unit(UnitError),
    /// Two terms of the same kind.
    Twice {
        /// The second occurrence.
        term: String,
    },
    /// A negative figure.
    Negative,
    /// Counts of the display with decimals: most likely a percentage without its sign.
    FractionOfACount {
        /// The term as given.
        term: String,
    },
}

impl fmt::Display for AccuracyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Term { term } => write!(
                f,
                "accuracy term {term:?} is not understood; write percent of reading, counts and a fixed part, \
                 for example \"1.9% + 2 x 0.01uF\", \"1% + 3\" or \"0.5% + 3 psig\""
            ),
            Self::Unit(error) => error.fmt(f),
            Self::Twice { term } => write!(f, "accuracy term {term:?} stands a second time"),
            Self::Negative => f.write_str("an accuracy figure is negative"),
            Self::FractionOfACount { term } => write!(
                f,
                "accuracy term {term:?} has no % sign and is no whole number of counts; \
                 write \"{term}%\" for percent of reading, or whole counts of the display, for example \"2\""
            ),
        }
    }
}

impl core::error::Error for AccuracyError {}

impl From<UnitError> for AccuracyError {
    fn from(error: UnitError) -> Self {
        Self::Unit(error)
    }
}

impl Accuracy {
    /// Parses terms joined by `+`: `1.9%`, `2 x 0.01uF`, `2` (counts of the display), `3 psig` (fixed).
    ///
    /// Counts of the display are whole numbers without decimals, so that a percentage without its sign is rejected.
    /// If the size of a count is given, half a count is possible (`0.5 x 1s`).
    ///
    /// # Errors
    /// [`AccuracyError`] names the term.
    pub fn parse(text: &str) -> Result<Self, AccuracyError> {
        let mut accuracy = Self::default();
        let (mut any_percent, mut any_counts) = (false, false);
        for term in text.split('+').map(str::trim) {
            let not_understood = || AccuracyError::Term { term: term.into() };
            let number =
                |t: &str| Decimal::parse(t.trim()).map(Decimal::to_f64).map_err(|_| not_understood());
            let twice = |already: bool| {
                if already { Err(AccuracyError::Twice { term: term.into() }) } else { Ok(()) }
            };
            if let Some(percent) = term.strip_suffix('%') {
                twice(any_percent)?;
                any_percent = true;
                accuracy.percent_of_reading = number(percent)?;
            } else if let Some((counts, size)) = term.split_once(['x', '×']) {
                twice(any_counts)?;
                any_counts = true;
                accuracy.counts = number(counts)?;
                accuracy.count_size = Some(split_number_and_unit(size.trim()).ok_or_else(not_understood)??);
            } else if let Ok(counts) = Decimal::parse(term) {
                twice(any_counts)?;
                if term.contains(['.', 'e', 'E']) {
                    return Err(AccuracyError::FractionOfACount { term: term.into() });
                }
                any_counts = true;
                accuracy.counts = counts.to_f64();
            } else {
                twice(accuracy.fixed.is_some())?;
                accuracy.fixed = Some(split_number_and_unit(term).ok_or_else(not_understood)??);
            }
        }
        let figures = [accuracy.percent_of_reading, accuracy.counts];
        let sized = [accuracy.count_size, accuracy.fixed];
        if figures.iter().any(|n| *n < 0.0) || sized.iter().flatten().any(|(n, _)| *n < 0.0) {
            return Err(AccuracyError::Negative);
        }
        Ok(accuracy)
    }

    /// The half-width `a` at a reading `value` shown with `resolution`, all in `unit`.
    ///
    /// # Errors
    /// [`UnitError::Kinds`] when a term's unit does not fit `unit`.
    pub fn half_width(&self, value: f64, resolution: f64, unit: Unit) -> Result<f64, UnitError> {
        let span = |term: Option<(f64, Unit)>| term.map(|(size, of)| of.convert_span(size, unit)).transpose();
        let count = span(self.count_size)?.unwrap_or(resolution);
        Ok((value * self.percent_of_reading / 100.0).abs()
            + self.counts * count
            + span(self.fixed)?.unwrap_or(0.0))
    }

    /// The standard uncertainty (k = 1) at a reading, in `unit`.
    ///
    /// # Errors
    /// [`UnitError::Kinds`] when a term's unit does not fit `unit`.
    pub fn standard_uncertainty(&self, value: f64, resolution: f64, unit: Unit) -> Result<f64, UnitError> {
        let a = self.half_width(value, resolution, unit)?;
        let from_sheet = a / libm::sqrt(3.0);
        if self.counts > 0.0 {
            return Ok(from_sheet);
        }
        Ok(libm::hypot(from_sheet, Self::of_resolution(resolution)))
    }

    /// The standard uncertainty of rounding to the display alone: `resolution / sqrt(12)` (JCGM 100, F.2.2.1).
    #[must_use]
    pub fn of_resolution(resolution: f64) -> f64 {
        resolution / libm::sqrt(12.0)
    }
}

fn split_number_and_unit(text: &str) -> Option<Result<(f64, Unit), AccuracyError>> {
    let typed = crate::parse::parse_typed(text).ok()?;
    Some(Ok((typed.number.to_f64(), typed.unit?)))
}

impl fmt::Display for Accuracy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}%", self.percent_of_reading)?;
        match self.count_size {
            Some((size, unit)) => write!(f, " + {} x {size}{unit}", self.counts)?,
            None if self.counts > 0.0 => write!(f, " + {}", self.counts)?,
            None => {}
        }
        self.fixed.map_or(Ok(()), |(size, unit)| write!(f, " + {size} {unit}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    /// Computed outside this project with SciPy 1.17.1 (JCGM 100, 4.3.7): reading, sheet, resolution, u.
    #[test]
    fn agrees_with_figures_computed_outside() {
        for (value, sheet, resolution, unit, want) in [
            (42.6, "1.9% + 2", 0.1, Unit::MICROFARAD, 0.582_777),
            (4.81, "1.9% + 2", 0.01, Unit::MICROFARAD, 0.064_311),
            (371.0, "1.0% + 3", 0.1, Unit::VOLT, 2.315_175),
            (6.1, "2.0% + 5", 0.01, Unit::AMPERE, 0.099_304),
            (18.4, "2% + 5", 0.1, Unit::AMPERE, 0.501_14),
            (1.2, "1% + 5", 0.1, Unit::OHM, 0.295_603),
            (12.0, "0% + 11", 0.1, Unit::CELSIUS, 0.635_085),
            (2.4, "1% + 3", 0.1, Unit::MICROAMPERE, 0.187_061),
            (3.42, "1% + 2", 0.01, Unit::INCH_WATER, 0.031_292),
        ] {
            let u = Accuracy::parse(sheet).unwrap().standard_uncertainty(value, resolution, unit).unwrap();
            assert!((u - want).abs() < 1e-6, "{value} {unit} {sheet}: {u} not {want}");
        }
    }

    #[test]
    fn count_size_and_fixed_terms_carry_their_unit() {
        let a = Accuracy::parse("1.9% + 2 x 0.01uF").unwrap();
        assert_eq!(a.half_width(10.0, 0.5, Unit::MICROFARAD).unwrap(), 0.19 + 0.02);
        let b = Accuracy::parse("0.5% + 3 psig").unwrap();
        assert_eq!(b.half_width(100.0, 1.0, Unit::PSIG).unwrap(), 3.5);
        let other = b.half_width(100.0, 1.0, Unit::PSIA).unwrap_err();
        assert_eq!(other, UnitError::Kinds { from: Unit::PSIG, to: Unit::PSIA });
    }

    #[test]
    fn prints_back_what_it_read() {
        for text in ["1.9% + 2 x 0.01uF", "1% + 3", "0.5% + 3 psig", "2%"] {
            assert_eq!(Accuracy::parse(text).unwrap().to_string(), text);
        }
    }

    #[test]
    fn without_counts_the_display_still_counts() {
        let u = Accuracy::parse("0%").unwrap().standard_uncertainty(5.0, 0.1, Unit::VOLT).unwrap();
        assert!((u - 0.1 / 12.0_f64.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn refuses_nonsense() {
        for (text, want) in [
            ("", "Term"),
            ("abc", "Term"),
            ("1% + 1%", "Twice"),
            ("2 + 3", "Twice"),
            ("1% + -2", "Negative"),
            ("-1%", "Negative"),
            ("2 x 0.01 parsec", "Term"),
            ("1% + 2 x", "Term"),
        ] {
            let error = alloc::format!("{:?}", Accuracy::parse(text).unwrap_err());
            assert!(error.starts_with(want), "{text:?}: {error}");
        }
    }

    #[test]
    fn a_fraction_of_a_count_asks_for_the_percent_sign() {
        for (text, term) in
            [("1.9", "1.9"), ("2.0", "2.0"), ("1% + 2.5", "2.5"), ("1.9 + 2%", "1.9"), (".5", ".5")]
        {
            let error = Accuracy::parse(text).unwrap_err();
            assert_eq!(error, AccuracyError::FractionOfACount { term: term.into() }, "{text}");
            assert!(error.to_string().contains(&alloc::format!("write \"{term}%\"")), "{error}");
        }
        // Counts alone are a sheet that some meters have; half a count of a stated size is half a division.
        assert_eq!(Accuracy::parse("2").unwrap().counts, 2.0);
        assert_eq!(Accuracy::parse("0.5 x 1s").unwrap().counts, 0.5);
    }

    proptest::proptest! {
        #[test]
        fn never_panics(text in ".{0,40}") {
            let _ = Accuracy::parse(&text);
        }
    }
}
