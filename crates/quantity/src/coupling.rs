//! AC or DC, and how a unit's text expresses it. Does not decide for which quantities that makes sense; `kind` does.

use core::fmt;

/// AC or DC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Coupling {
    /// Alternating.
    Ac,
    /// Direct.
    Dc,
}

impl Coupling {
    /// Splits a trailing `ac`/`dc` (any case) off a unit text: `V ac` and `Vac` give (`V`, ac).
    #[must_use]
    pub fn strip_from(text: &str) -> (&str, Option<Self>) {
        let text = text.trim_end();
        let Some((head, tail)) = text.len().checked_sub(2).and_then(|at| text.split_at_checked(at)) else {
            return (text, None);
        };
        let coupling = if tail.eq_ignore_ascii_case("ac") {
            Self::Ac
        } else if tail.eq_ignore_ascii_case("dc") {
            Self::Dc
        } else {
            return (text, None);
        };
        (head.trim_end(), Some(coupling))
    }

    /// `ac` or `dc`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ac => "ac",
            Self::Dc => "dc",
        }
    }
}

impl fmt::Display for Coupling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ac_and_dc_split_off_a_unit() {
        assert_eq!(Coupling::strip_from("V ac"), ("V", Some(Coupling::Ac)));
        assert_eq!(Coupling::strip_from("VDC"), ("V", Some(Coupling::Dc)));
        assert_eq!(Coupling::strip_from("µ"), ("µ", None));
        assert_eq!(Coupling::strip_from("uF"), ("uF", None));
    }
}
