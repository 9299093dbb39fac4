//! Units of numbers in expressions: what may be added, compared and handed to a formula, and in which unit the result
//! is. Knows no syntax. A number is refused only where its unit is known to be wrong; what a product of unlike
//! quantities measures is left open.

use alloc::format;
use alloc::string::{String, ToString};

use quantity::{Coupling, Kind, Unit};

/// What a number measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Measure {
    /// A number as it is written: it takes the unit of what it stands beside, and has none in a product.
    Bare,
    /// This unit; of alternating or direct current, if that is known.
    Of(Unit, Option<Coupling>),
    /// So much times a percentage, not yet divided by 100.
    TimesPercent(Unit, Option<Coupling>),
    /// Not known: a product of unlike quantities, or declared as a plain number.
    Open,
}

/// Units in which two of a scale differ: the unit on the scale, the unit of its differences.
const DIFFERENCES: [(Unit, Unit); 6] = [
    (Unit::CELSIUS, Unit::KELVIN_DIFFERENCE),
    (Unit::FAHRENHEIT, Unit::FAHRENHEIT_DIFFERENCE),
    (Unit::PSIG, Unit::PSI),
    (Unit::PSIA, Unit::PSI),
    (Unit::KPAG, Unit::KILOPASCAL),
    (Unit::KPAA, Unit::KILOPASCAL),
];

/// The unit of differences on the scale of this unit; `None` if the unit is on no scale, or none of the table is.
pub(super) fn difference(unit: Unit) -> Option<Unit> {
    DIFFERENCES.iter().find(|(scale, _)| *scale == unit).map(|(_, difference)| *difference)
}

/// A scale has a zero of its own: two of its values differ, and do not add.
const fn is_scale(unit: Unit) -> bool {
    matches!(unit.kind(), Kind::Temperature | Kind::GaugePressure | Kind::AbsolutePressure)
}

impl Measure {
    /// What a declaration gives; a plain number ("1") may stand for a unit that the table does not have.
    pub(crate) fn declared(unit: Unit, coupling: Option<Coupling>) -> Self {
        if unit == Unit::ONE { Self::Open } else { Self::Of(unit, coupling) }
    }

    /// What a formula gives in a unit of its declaration.
    pub(crate) fn given(unit: &str) -> Self {
        Unit::parse(unit).map_or(Self::Open, |unit| Self::declared(unit, None))
    }

    /// In percent of whatever: the catalogue writes shares by volume and relative humidity as % too.
    pub(crate) fn is_percent(self) -> bool {
        matches!(self, Self::Of(unit, _) if [Unit::PERCENT_VOLUME, Unit::PERCENT_RH].contains(&unit))
    }

    fn shown(self) -> String {
        match self {
            Self::Bare => "a plain number".to_string(),
            Self::Of(unit, coupling) | Self::TimesPercent(unit, coupling) => match coupling {
                Some(Coupling::Ac) => format!("{unit} ac"),
                Some(Coupling::Dc) => format!("{unit} dc"),
                None if unit == Unit::ONE => "a share of one".to_string(),
                None => unit.to_string(),
            },
            Self::Open => "something unknown".to_string(),
        }
    }

    /// After either of two branches.
    pub(crate) fn or(self, other: Self) -> Self {
        match (self, other) {
            (a, b) if a == b => a,
            (Self::Bare, other) | (other, Self::Bare) => other,
            (Self::Of(a, _), Self::Of(b, _)) if a == b => Self::Of(a, None),
            _ => Self::Open,
        }
    }

    /// Both sides of a comparison, of `min` and the like; the unit of both.
    pub(crate) fn like(self, other: Self, place: &str) -> Result<Self, String> {
        match (self, other) {
            (Self::Open, _) | (_, Self::Open) => Ok(Self::Open),
            (Self::Bare, other) | (other, Self::Bare) => Ok(other),
            (Self::Of(a, x), Self::Of(b, y)) | (Self::TimesPercent(a, x), Self::TimesPercent(b, y))
                if a == b && (x.is_none() || y.is_none() || x == y) =>
            {
                let one = x.or(y);
                Ok(if matches!(self, Self::Of(..)) { Self::Of(a, one) } else { Self::TimesPercent(a, one) })
            }
            _ => Err(unlike(self, other, place)),
        }
    }

    /// `+`
    pub(crate) fn plus(self, other: Self) -> Result<Self, String> {
        match (self, other) {
            // A written number on a scale may be a point or a step.
            (Self::Of(unit, _), Self::Bare) | (Self::Bare, Self::Of(unit, _)) if is_scale(unit) => {
                Ok(Self::Open)
            }
            (Self::Of(a, _), Self::Of(b, _)) if is_scale(a) && a == b => Err(format!(
                "two values in {a} have no sum: {a} counts from a zero of its own; add a difference{}",
                difference(a).map(|unit| format!(", in {unit}")).unwrap_or_default()
            )),
            (Self::Of(a, _), Self::Of(b, _)) if difference(a) == Some(b) => Ok(self),
            (Self::Of(a, _), Self::Of(b, _)) if difference(b) == Some(a) => Ok(other),
            _ => self.like(other, "+"),
        }
    }

    /// `-`
    pub(crate) fn minus(self, other: Self) -> Result<Self, String> {
        match (self, other) {
            (Self::Of(unit, _), Self::Bare) | (Self::Bare, Self::Of(unit, _)) if is_scale(unit) => {
                Ok(Self::Open)
            }
            (Self::Of(a, _), Self::Of(b, _)) if is_scale(a) && a == b => {
                Ok(difference(a).map_or(Self::Open, |unit| Self::Of(unit, None)))
            }
            (Self::Of(a, _), Self::Of(b, _)) if difference(a) == Some(b) => Ok(self),
            _ => self.like(other, "-"),
        }
    }

    /// The sign before a number.
    pub(crate) fn negated(self) -> Self {
        match self {
            Self::Of(unit, _) if is_scale(unit) => Self::Open,
            other => other,
        }
    }

    /// `*`; with the number that is written on one side, if one is.
    pub(crate) fn times(self, other: Self, written: Option<f64>) -> Self {
        match (self, other) {
            (Self::Bare, Self::Bare) => Self::Bare,
            (Self::Of(unit, _), Self::Bare) | (Self::Bare, Self::Of(unit, _)) if is_scale(unit) => Self::Open,
            (Self::Of(unit, _), Self::Bare) | (Self::Bare, Self::Of(unit, _)) if unit == Unit::ONE => {
                if is(written, 100.0) { Self::Of(Unit::PERCENT, None) } else { Self::Of(Unit::ONE, None) }
            }
            (Self::TimesPercent(unit, coupling), Self::Bare)
            | (Self::Bare, Self::TimesPercent(unit, coupling)) => {
                if is(written, 0.01) {
                    Self::Of(unit, coupling)
                } else {
                    Self::TimesPercent(unit, coupling)
                }
            }
            (Self::Of(..), Self::Bare) => self,
            (Self::Bare, Self::Of(..)) => other,
            (Self::Of(unit, coupling), Self::Of(share, _))
            | (Self::Of(share, _), Self::Of(unit, coupling))
                if share.kind() == Kind::Ratio && unit.kind() != Kind::Ratio =>
            {
                if is_scale(unit) {
                    Self::Open
                } else if share == Unit::ONE {
                    Self::Of(unit, coupling)
                } else {
                    Self::TimesPercent(unit, coupling)
                }
            }
            _ => Self::Open,
        }
    }

    /// `/`; with the number that is written below, if one is.
    pub(crate) fn over(self, other: Self, written: Option<f64>) -> Self {
        match (self, other) {
            (Self::Bare, Self::Bare) => Self::Bare,
            (Self::Of(unit, _), Self::Bare) if is_scale(unit) => Self::Open,
            (Self::Of(unit, _), Self::Bare) if unit == Unit::PERCENT && is(written, 100.0) => {
                Self::Of(Unit::ONE, None)
            }
            (Self::TimesPercent(unit, coupling), Self::Bare) if is(written, 100.0) => {
                Self::Of(unit, coupling)
            }
            (Self::Of(..) | Self::TimesPercent(..), Self::Bare) => self,
            (Self::Of(a, _), Self::Of(b, _)) if a == b && !is_scale(a) => Self::Of(Unit::ONE, None),
            (Self::Of(unit, coupling), Self::Of(share, _)) if share == Unit::ONE && !is_scale(unit) => {
                Self::Of(unit, coupling)
            }
            _ => Self::Open,
        }
    }

    /// As a number in this unit: of a parameter, of a judgement. A plain number ("1") takes anything.
    pub(crate) fn fits(self, unit: Unit, place: &str) -> Result<(), String> {
        match self {
            Self::Of(mine, _) if unit == Unit::ONE && mine != Unit::PERCENT => Ok(()),
            _ => self.like(Self::Of(unit, None), place).map(|_| ()),
        }
    }
}

#[allow(clippy::float_cmp, reason = "a number as it is written")]
fn is(written: Option<f64>, number: f64) -> bool {
    written == Some(number)
}

/// Why two measures do not go together, and what to write.
fn unlike(a: Measure, b: Measure, place: &str) -> String {
    let (x, y) = (a.shown(), b.shown());
    let (one, other) = match (a, b) {
        (Measure::Of(one, _), Measure::Of(other, _)) => (one, other),
        (Measure::TimesPercent(unit, _), _) | (_, Measure::TimesPercent(unit, _)) => {
            return format!("{place}: {unit} times % is 100 times too much here; divide it by 100");
        }
        _ => return format!("{place} takes like quantities, not {x} and {y}"),
    };
    let pair = |first: Kind, second: Kind| {
        let kinds = (one.kind(), other.kind());
        kinds == (first, second) || kinds == (second, first)
    };
    if one == other {
        return format!(
            "{place}: {x} is not {y}; declare both as ac, both as dc, or leave it out where it does not matter"
        );
    }
    if one.kind() == Kind::Ratio && other.kind() == Kind::Ratio {
        return format!(
            "{place} takes one unit, not {x} and {y}: write the share of one times 100, or divide the % by 100"
        );
    }
    if one.kind() == other.kind() {
        return format!(
            "{place} takes one unit, not {x} and {y}, both {}: declare both in {other}",
            one.kind()
        );
    }
    if pair(Kind::Temperature, Kind::TemperatureDifference) {
        return format!(
            "{place} takes like quantities, not {x} ({}) and {y} ({}): take one temperature from the other first",
            one.kind(),
            other.kind()
        );
    }
    if pair(Kind::GaugePressure, Kind::AbsolutePressure) {
        return format!(
            "{place} takes like quantities, not {x} ({}) and {y} ({}): write absolute_psia(psig, altitude_ft) for the \
             gauge pressure",
            one.kind(),
            other.kind()
        );
    }
    format!("{place} takes like quantities, not {x} ({}) and {y} ({})", one.kind(), other.kind())
}
