//! A unit as a display shows it: with AC or DC, if stated. Holds no value.

use core::fmt;

use crate::{Coupling, Unit};

/// A unit with AC or DC. Written `V ac`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DisplayUnit {
    /// The unit.
    pub unit: Unit,
    /// AC or DC, if stated.
    pub coupling: Option<Coupling>,
}

impl DisplayUnit {
    /// Whether both belong to the same function of a meter: the same kind, and both AC, both DC, or neither stated.
    #[must_use]
    pub fn is_same_function(self, other: Self) -> bool {
        self.unit.kind() == other.unit.kind() && self.coupling == other.coupling
    }
}

impl fmt::Display for DisplayUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.unit.fmt(f)?;
        self.coupling.map_or(Ok(()), |coupling| write!(f, " {coupling}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn is_written_with_its_coupling() {
        let volt = DisplayUnit { unit: Unit::VOLT, coupling: None };
        assert_eq!(volt.to_string(), "V");
        assert_eq!(DisplayUnit { coupling: Some(Coupling::Ac), ..volt }.to_string(), "V ac");
    }
}
