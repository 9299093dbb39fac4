//! Finite values and quantities: a value cannot be NaN or infinite, and its standard uncertainty stays with it. Does
//! not propagate uncertainty through formulas; `judge` does that by perturbation.

use core::fmt;

use crate::kind::Kind;
use crate::unit::{Unit, UnitError};

/// A finite number.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Value(f64);

/// The number was NaN or infinite and therefore not a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotFinite;

impl fmt::Display for NotFinite {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not a finite number")
    }
}

impl core::error::Error for NotFinite {}

impl Value {
    /// Wraps a finite number.
    ///
    /// # Errors
    /// [`NotFinite`] for NaN and the infinities.
    pub fn new(number: f64) -> Result<Self, NotFinite> {
        if number.is_finite() { Ok(Self(number)) } else { Err(NotFinite) }
    }

    /// The number.
    #[must_use]
    pub const fn number(self) -> f64 {
        self.0
    }
}

/// A value with unit and standard uncertainty (k = 1, same unit; zero when exactly known).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    value: Value,
    standard_uncertainty: Value,
    unit: Unit,
}

/// Why a quantity was rejected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UncertaintyError {
    /// Value or uncertainty is NaN or infinite.
    NotFinite,
    /// The standard uncertainty is negative.
    Negative,
    /// The value is physically impossible for its kind.
    OutOfBounds {
        /// The kind whose bounds are broken.
        kind: Kind,
    },
}

impl fmt::Display for UncertaintyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotFinite => f.write_str("value or uncertainty is not a finite number"),
            Self::Negative => f.write_str("standard uncertainty is negative"),
            Self::OutOfBounds { kind } => {
                let bounds = kind.bounds();
                let base = Unit::base_of(*kind).map_or("", |unit| unit.symbol());
                write!(f, "{kind} must lie between {} and {} {base}", bounds.min, bounds.max)
            }
        }
    }
}

impl core::error::Error for UncertaintyError {}

impl Quantity {
    /// A quantity known exactly (a nameplate value, a limit).
    ///
    /// # Errors
    /// When not finite or outside the kind's bounds.
    pub fn exact(value: f64, unit: Unit) -> Result<Self, UncertaintyError> {
        Self::new(value, 0.0, unit)
    }

    /// A quantity with standard uncertainty, both in `unit`.
    ///
    /// # Errors
    /// When either is not finite, the uncertainty is negative, or the value is outside the kind's bounds.
    pub fn new(value: f64, standard_uncertainty: f64, unit: Unit) -> Result<Self, UncertaintyError> {
        let value = Value::new(value).map_err(|_| UncertaintyError::NotFinite)?;
        let u = Value::new(standard_uncertainty).map_err(|_| UncertaintyError::NotFinite)?;
        if u.number() < 0.0 {
            return Err(UncertaintyError::Negative);
        }
        let kind = unit.kind();
        let bounds = kind.bounds();
        let row = unit.row();
        let base = crate::decimal::scale_by_power_of_ten(
            (value.number() + row.shift) * row.factor,
            i32::from(row.power),
        );
        if base < bounds.min || base > bounds.max {
            return Err(UncertaintyError::OutOfBounds { kind });
        }
        Ok(Self { value, standard_uncertainty: u, unit })
    }

    /// The number, in [`Quantity::unit`].
    #[must_use]
    pub const fn value(self) -> f64 {
        self.value.number()
    }

    /// The standard uncertainty (k = 1), in [`Quantity::unit`].
    #[must_use]
    pub const fn standard_uncertainty(self) -> f64 {
        self.standard_uncertainty.number()
    }

    /// The unit.
    #[must_use]
    pub const fn unit(self) -> Unit {
        self.unit
    }

    /// The same quantity in another unit of the same kind.
    ///
    /// # Errors
    /// [`UnitError::Kinds`] when the units measure different kinds.
    pub fn to_unit(self, unit: Unit) -> Result<Self, UnitError> {
        let value = self.unit.convert(self.value(), unit)?;
        let u = self.unit.convert_span(self.standard_uncertainty(), unit)?;
        Ok(Self { value: Value(value), standard_uncertainty: Value(u), unit })
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value(), self.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn nothing_but_finite_numbers_gets_in() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(Value::new(bad), Err(NotFinite));
            assert_eq!(Quantity::exact(bad, Unit::VOLT), Err(UncertaintyError::NotFinite));
            assert_eq!(Quantity::new(1.0, bad, Unit::VOLT), Err(UncertaintyError::NotFinite));
        }
        assert_eq!(Quantity::new(1.0, -0.1, Unit::VOLT), Err(UncertaintyError::Negative));
    }

    #[test]
    fn bounds_name_what_and_how_far() {
        let error = Quantity::exact(-300.0, Unit::CELSIUS).unwrap_err();
        assert_eq!(error.to_string(), "temperature must lie between -273.15 and 3000 °C");
        assert!(Quantity::exact(-459.6, Unit::FAHRENHEIT).is_ok());
    }

    #[test]
    fn uncertainty_scales_and_does_not_shift() {
        let q = Quantity::new(50.0, 1.8, Unit::FAHRENHEIT).unwrap().to_unit(Unit::CELSIUS).unwrap();
        assert!((q.value() - 10.0).abs() < 1e-12);
        assert!((q.standard_uncertainty() - 1.0).abs() < 1e-12);
    }
}
