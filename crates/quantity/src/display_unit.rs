//! A unit as a display shows it: with ac or dc where that is said. Does not hold a value.

use core::fmt;

use crate::{Coupling, Unit};

/// A unit with ac or dc. Written `V ac`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DisplayUnit {
    /// The unit.
    pub unit: Unit,
    /// ac or dc, where it is said.
    pub coupling: Option<Coupling>,
}

impl DisplayUnit {
    /// Whether both are of one function of a meter: the same kind, and both ac, both dc, or neither said.
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
