//! A unit with AC or DC, as profiles and scripts write it. Does not hold the table of units; crate `quantity` does.

use alloc::format;
use alloc::string::String;
use core::fmt;

use quantity::{Coupling, Kind, Unit};

/// A unit as a profile names it: `V ac`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnitSpec {
    /// The unit.
    pub unit: Unit,
    /// AC or DC, if stated.
    pub coupling: Option<Coupling>,
}

impl fmt::Display for UnitSpec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.unit)?;
        self.coupling.map_or(Ok(()), |coupling| write!(f, " {coupling}"))
    }
}

/// Parses one.
pub(crate) fn parse_unit(text: &str) -> Result<UnitSpec, String> {
    if let Ok(unit) = Unit::parse(text) {
        return Ok(UnitSpec { unit, coupling: None });
    }
    let (head, coupling) = Coupling::strip_from(text);
    let unit = Unit::parse(head).map_err(|error| {
        format!("{error}; write a unit as cliplead prints it, for example \"uF\" or \"V ac\"")
    })?;
    validate_coupling(unit.kind(), coupling)?;
    Ok(UnitSpec { unit, coupling })
}

/// Whether AC or DC, if stated, makes sense for this kind.
pub(crate) fn validate_coupling(kind: Kind, coupling: Option<Coupling>) -> Result<(), String> {
    match coupling {
        Some(coupling) if !kind.takes_coupling() => {
            Err(format!("{kind} is not {coupling}; leave {coupling} away"))
        }
        _ => Ok(()),
    }
}
