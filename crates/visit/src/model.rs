//! The machine behind a check: what supplies its unit, and where its component stands in it. Plain data, from the site's file or a
//! recording; nothing here decides.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

/// What supplies a unit, as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Supply {
    /// Its line conductors.
    pub line: Line,
    /// Its control circuit has a source of its own, so that it may be live while the line is dead.
    pub separate_control: bool,
    /// A drive or a commutated motor keeps a charge on its capacitor bus.
    pub capacitor_bus: bool,
}

/// The line conductors of a unit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Line {
    /// Nobody said.
    #[default]
    Unknown,
    /// Two conductors and ground.
    SinglePhase,
    /// Three conductors and ground.
    ThreePhase,
}

/// Where a component stands in its unit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Slot {
    /// The refrigerant circuit; `None` where the unit has one only, or the component belongs to none.
    pub circuit: Option<String>,
    /// The component that it serves: the compressor of a run capacitor or a contactor.
    pub serves: Option<String>,
}

impl Line {
    const NAMED: [(Self, &'static str); 2] =
        [(Self::SinglePhase, "single phase"), (Self::ThreePhase, "three phase")];

    /// The word in files and recordings; `None` where nobody said.
    #[must_use]
    pub fn word(self) -> Option<&'static str> {
        Self::NAMED.iter().find(|(line, _)| *line == self).map(|(_, word)| *word)
    }

    /// Reads that word.
    ///
    /// # Errors
    /// That there is no such supply, with those that there are.
    pub fn parse(word: &str) -> Result<Self, String> {
        let found = Self::NAMED.iter().find(|(_, known)| known.eq_ignore_ascii_case(word.trim()));
        found.map(|(line, _)| *line).ok_or_else(|| {
            let known: Vec<&str> = Self::NAMED.iter().map(|(_, word)| *word).collect();
            format!("no supply {word:?}; write {}", known.join(" or "))
        })
    }
}

impl Supply {
    /// The pairs of terminals at which the unit must read dead, in order: each line conductor to each and to ground (G), then the
    /// control circuit and the bus where they can be live by themselves. Empty where nobody said what supplies it.
    #[must_use]
    pub fn pairs(&self) -> Vec<String> {
        let line: &[&str] = match self.line {
            Line::Unknown => return Vec::new(),
            Line::SinglePhase => &["L1-L2", "L1-G", "L2-G"],
            Line::ThreePhase => &["L1-L2", "L2-L3", "L3-L1", "L1-G", "L2-G", "L3-G"],
        };
        line.iter().map(ToString::to_string).chain(self.pairs_beside_the_line()).collect()
    }

    /// Those of them that do not belong to the line, whatever is known of that.
    pub(crate) fn pairs_beside_the_line(&self) -> Vec<String> {
        let control = self.separate_control.then_some("R-C");
        let bus = self.capacitor_bus.then_some("bus+ to bus-");
        control.into_iter().chain(bus).map(ToString::to_string).collect()
    }
}

impl Slot {
    /// Whether a component here serves that other one: said so, or else by its name ("compressor 1 contactor" serves
    /// "compressor 1").
    #[must_use]
    pub fn serves(&self, component: &str, other: &str) -> bool {
        match &self.serves {
            Some(serves) => serves.eq_ignore_ascii_case(other),
            None => {
                let rest = component.get(..other.len()).filter(|start| start.eq_ignore_ascii_case(other));
                !other.is_empty()
                    && rest.is_some()
                    && component.get(other.len()..).is_some_and(|rest| rest.starts_with(' '))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_supply_has_every_pair_of_its_conductors() {
        let pairs = |line| Supply { line, ..Supply::default() }.pairs();
        // NFPA 70E-2024, 120.6(7), from memory: each phase conductor, phase to phase and phase to ground.
        assert_eq!(pairs(Line::SinglePhase), ["L1-L2", "L1-G", "L2-G"]);
        assert_eq!(pairs(Line::ThreePhase), ["L1-L2", "L2-L3", "L3-L1", "L1-G", "L2-G", "L3-G"]);
        assert_eq!(pairs(Line::Unknown), Vec::<String>::new());
        let all = Supply { line: Line::SinglePhase, separate_control: true, capacitor_bus: true };
        assert_eq!(all.pairs()[3..], ["R-C", "bus+ to bus-"]);
    }

    #[test]
    fn a_line_is_read_by_its_word() {
        for line in [Line::SinglePhase, Line::ThreePhase] {
            assert_eq!(Line::parse(line.word().unwrap()), Ok(line));
        }
        assert_eq!(Line::parse("dc").unwrap_err(), "no supply \"dc\"; write single phase or three phase");
    }

    #[test]
    fn a_capacitor_serves_the_compressor_that_it_is_named_after_or_the_one_that_is_said() {
        let by_name = Slot::default();
        assert!(by_name.serves("Compressor 1 run capacitor", "compressor 1"));
        for other in ["compressor 10", "compressor 2", "", "compressor 1 run capacitor"] {
            assert!(!by_name.serves("compressor 1 run capacitor", other), "{other}");
        }
        assert!(!by_name.serves("compressor 10 run capacitor", "compressor 1"));
        let said = Slot { serves: Some("compressor 2".into()), ..Slot::default() };
        assert!(said.serves("C7", "Compressor 2") && !said.serves("compressor 1 contactor", "compressor 1"));
    }
}
