//! A reading: one value reported by a meter. States that are not numbers (overload, no value) contain no number to
//! misuse. Does not judge, and does not know the device's name or link; callers keep those.

use core::fmt;

use crate::accuracy::Accuracy;
use crate::decimal::Decimal;
use crate::display_unit::DisplayUnit;
use crate::time::Instant;
use crate::unit::UnitError;
use crate::value::{Quantity, UncertaintyError};

/// The direction of an overload.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sign {
    /// Above the range, or not stated.
    Positive,
    /// Below the range.
    Negative,
}

/// What the meter showed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// A number, with the digits as displayed.
    Value(Decimal),
    /// Above the range, or an open lead. Never a number.
    Overload(Sign),
    /// The meter showed no value (dashes, blank, "not known").
    NoValue,
}

impl State {
    /// An overload with the sign of a number.
    #[must_use]
    pub const fn overload(is_negative: bool) -> Self {
        Self::Overload(if is_negative { Sign::Negative } else { Sign::Positive })
    }
}

/// What the meter reported besides the value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools)] // each is one annunciator of a display
pub struct Flags {
    /// The display is held: the number is not live.
    pub hold: bool,
    /// The battery is low: the number is uncertain.
    pub low_battery: bool,
    /// Relative to a stored reference, not the quantity itself.
    pub relative: bool,
    /// A stored minimum, maximum or average, not live.
    pub min_max: bool,
}

impl Flags {
    /// True if the number is what the leads measure now.
    #[must_use]
    pub const fn is_live(self) -> bool {
        !self.hold && !self.min_max && !self.relative
    }
}

/// How fast the meter follows the measured value, as far as its profile states it. Seconds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Timing {
    /// One conversion of the display: equal digits within it are one measurement.
    pub conversion_s: Option<f64>,
    /// Time in which a probe covers nine tenths of a change.
    pub response_s: Option<f64>,
}

/// One value reported by a meter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When its last byte arrived.
    pub at: Instant,
    /// Running number within this source, assigned by the program.
    pub seq: u64,
    /// Channel of the device: 0 for its only or main display.
    pub channel: u8,
    /// The unit as displayed (uF for 44.70 uF), which implies the kind, with AC or DC if the meter reports it.
    pub display: DisplayUnit,
    /// The value or the state.
    pub state: State,
    /// Annunciators.
    pub flags: Flags,
    /// The meter's accuracy in this range, if its profile states one.
    pub accuracy: Option<Accuracy>,
    /// How fast the meter follows, if its profile states it.
    pub timing: Timing,
}

impl Reading {
    /// The value as a quantity with its standard uncertainty, in the displayed unit; `None` if the meter showed no
    /// number. Without a stated accuracy, only the display's rounding counts.
    ///
    /// # Errors
    /// [`UncertaintyError`] if the number is outside the kind's bounds, or the accuracy's unit does not fit (reported
    /// as not finite, which it then is).
    pub fn quantity(&self) -> Option<Result<Quantity, UncertaintyError>> {
        let State::Value(shown) = self.state else { return None };
        let (value, resolution) = (shown.to_f64(), shown.resolution());
        let u: Result<f64, UnitError> = self.accuracy.map_or_else(
            || Ok(Accuracy::of_resolution(resolution)),
            |accuracy| accuracy.standard_uncertainty(value, resolution, self.display.unit),
        );
        Some(Quantity::new(value, u.unwrap_or(f64::NAN), self.display.unit))
    }

    /// The displayed resolution in the displayed unit, if a number is shown.
    #[must_use]
    pub fn resolution(&self) -> Option<f64> {
        match self.state {
            State::Value(shown) => Some(shown.resolution()),
            State::Overload(_) | State::NoValue => None,
        }
    }
}

impl fmt::Display for Reading {
    /// As a display would show it: `44.70 uF`, `OL ohm`, `--- V ac`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.state {
            State::Value(shown) => write!(f, "{shown}")?,
            State::Overload(Sign::Positive) => f.write_str("OL")?,
            State::Overload(Sign::Negative) => f.write_str("-OL")?,
            State::NoValue => f.write_str("---")?,
        }
        write!(f, " {}", self.display)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Unit;
    use alloc::string::ToString;

    fn reading(state: State) -> Reading {
        Reading {
            at: Instant::ZERO,
            seq: 0,
            channel: 0,
            display: DisplayUnit { unit: Unit::MICROFARAD, coupling: None },
            state,
            flags: Flags::default(),
            accuracy: None,
            timing: Timing::default(),
        }
    }

    #[test]
    fn shows_as_displayed() {
        let shown = Decimal::parse("44.70").unwrap();
        assert_eq!(reading(State::Value(shown)).to_string(), "44.70 uF");
        assert_eq!(reading(State::Overload(Sign::Positive)).to_string(), "OL uF");
    }

    #[test]
    fn overload_is_no_number() {
        assert!(reading(State::Overload(Sign::Positive)).quantity().is_none());
        assert!(reading(State::NoValue).quantity().is_none());
    }

    #[test]
    fn held_and_relative_readings_are_not_live() {
        assert!(Flags::default().is_live());
        assert!(!Flags { hold: true, ..Flags::default() }.is_live());
        assert!(!Flags { relative: true, ..Flags::default() }.is_live());
        assert!(Flags { low_battery: true, ..Flags::default() }.is_live());
    }
}
