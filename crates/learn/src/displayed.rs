//! What a person read off the display: "12.46 uF hold". Does not know bytes.

use std::fmt;
use std::string::{String, ToString as _};

use quantity::{Coupling, Decimal, Flags, Sign, State, Unit};

use wire::analysis::UnitSpec;

/// The text of the display.
#[derive(Clone, Debug, PartialEq)]
pub struct Displayed {
    pub(crate) text: String,
    pub(crate) state: State,
    pub(crate) unit: Option<UnitSpec>,
    pub(crate) flags: Flags,
}

/// Why a text cannot be on a display.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DisplayedError {
    /// It does not begin with a number, `OL`, `-OL` or dashes.
    Number(String),
    /// An unknown unit.
    Unit(String),
    /// A number needs its unit.
    UnitMissing,
}

impl fmt::Display for DisplayedError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(text) => write!(
                f,
                "{text:?} begins with no number; write what the display shows, all digits: \"12.46 uF\", \"OL\", \
                 \"---\", \"12.46 uF hold\""
            ),
            Self::Unit(text) => {
                write!(f, "{text:?} is no unit known here; write uF, ohm, V ac, A dc, psig, degF ...")
            }
            Self::UnitMissing => f.write_str("a number needs its unit, for example \"12.46 uF\""),
        }
    }
}

impl std::error::Error for DisplayedError {}

impl Displayed {
    /// Parses `12.46 uF`, `-3.1 V dc`, `OL`, `OL Mohm`, `---`, each optionally followed by `hold`, `low battery`,
    /// `relative`, `min`, `max`.
    ///
    /// # Errors
    /// [`DisplayedError`] if it is none of these.
    pub fn parse(text: &str) -> Result<Self, DisplayedError> {
        let mut words: Vec<&str> = text.split_whitespace().collect();
        let mut flags = Flags::default();
        while let Some(last) = words.last() {
            match last.to_ascii_lowercase().as_str() {
                "hold" => flags.hold = true,
                "battery" | "lowbat" | "low_battery" => flags.low_battery = true,
                "low" if flags.low_battery => {}
                "relative" | "rel" => flags.relative = true,
                "min" | "max" | "min/max" => flags.min_max = true,
                _ => break,
            }
            words.pop();
        }
        let Some((first, unit)) = words.split_first() else {
            return Err(DisplayedError::Number(text.into()));
        };
        let state = match *first {
            "OL" | "+OL" | "ol" => State::Overload(Sign::Positive),
            "-OL" | "-ol" => State::Overload(Sign::Negative),
            dashes if dashes.len() > 1 && dashes.bytes().all(|b| b == b'-') => State::NoValue,
            number => {
                Decimal::parse(number).map(State::Value).map_err(|_| DisplayedError::Number(text.into()))?
            }
        };
        let unit = unit.join(" ");
        let unit = if unit.is_empty() { None } else { Some(unit_word(&unit)?) };
        if matches!(state, State::Value(_)) && unit.is_none() {
            return Err(DisplayedError::UnitMissing);
        }
        Ok(Self { text: text.trim().to_string(), state, unit, flags })
    }

    /// The text as given.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    pub(crate) const fn number(&self) -> Option<Decimal> {
        match self.state {
            State::Value(number) => Some(number),
            State::Overload(_) | State::NoValue => None,
        }
    }

    /// True if a reading has the same content.
    pub(crate) fn is(&self, reading: &quantity::Reading) -> bool {
        let unit = self
            .unit
            .is_none_or(|u| u.unit == reading.display.unit && u.coupling == reading.display.coupling);
        unit && self.state == reading.state && self.flags == reading.flags
    }
}

fn unit_word(text: &str) -> Result<UnitSpec, DisplayedError> {
    if let Ok(unit) = Unit::parse(text) {
        return Ok(UnitSpec { unit, coupling: None });
    }
    let (head, coupling) = Coupling::strip_from(text);
    let unit = Unit::parse(head).map_err(|_| DisplayedError::Unit(text.into()))?;
    Ok(UnitSpec { unit, coupling })
}
