//! The pairs of terminals that a proof must read: those of a supply that is described, those that a person names of one that
//! is not, those of a part. Knows their names and which are still to be read; does not read them.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use crate::model::{Line, Supply};

/// Pairs that a person may name of a supply that nobody described.
const NAMED_MAX: usize = 15;
/// Letters in the name of a conductor.
const CONDUCTOR_MAX: usize = 8;
/// How ground is written, whatever a person calls it.
const GROUND: &str = "G";
const GROUND_WORDS: [&str; 6] = ["G", "GND", "GROUND", "PE", "E", "EARTH"];
/// The terminals of a part whose rule names none.
const TWO_TERMINALS: [&str; 2] = ["1", "2"];
/// The case of a part.
const CASE: &str = "case";

/// A pair that was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct PairRead {
    /// Its name.
    pub(crate) pair: String,
    /// What the meter showed.
    pub(crate) shown: String,
}

/// What is to be read.
#[derive(Clone, Debug, Default)]
pub(crate) struct Pairs {
    listed: Vec<String>,
    /// Nobody described the supply: a person names the pairs of its line.
    named_freely: bool,
}

impl Pairs {
    /// Those of a supply.
    pub(crate) fn of_supply(supply: &Supply) -> Self {
        let named_freely = supply.line == Line::Unknown;
        let listed = if named_freely { supply.pairs_beside_the_line() } else { supply.pairs() };
        Self { listed, named_freely }
    }

    /// Those of a part with these terminals: each to each, and each to the case.
    pub(crate) fn of_terminals(terminals: &[String]) -> Self {
        let two = TWO_TERMINALS.map(ToString::to_string);
        let terminals = if terminals.len() < two.len() { &two } else { terminals };
        let mut listed = Vec::new();
        for (at, one) in terminals.iter().enumerate() {
            listed.extend(terminals.iter().skip(at.saturating_add(1)).map(|other| format!("{one}-{other}")));
        }
        listed.extend(terminals.iter().map(|one| format!("{one}-{CASE}")));
        Self { listed, named_freely: false }
    }

    /// The names of those that are known before anybody reads.
    pub(crate) fn listed(&self) -> &[String] {
        &self.listed
    }

    /// Whether a person names them.
    pub(crate) fn are_named_freely(&self) -> bool {
        self.named_freely
    }

    /// Whether one of them is read in V dc.
    pub(super) fn have_a_bus(&self) -> bool {
        self.listed.iter().any(|pair| is_bus(pair))
    }

    /// In words, for whoever asks what must be read.
    pub(crate) fn in_words(&self) -> String {
        let listed = self.listed.join(", ");
        match (self.named_freely, self.listed.is_empty()) {
            (false, _) => listed,
            (true, true) => "each two line conductors, and each line conductor to ground".to_string(),
            (true, false) => {
                format!("each two line conductors, each line conductor to ground, {listed}")
            }
        }
    }

    /// The pair that comes next; `None` once none is needed any more.
    pub(crate) fn next(&self, read: &[PairRead]) -> Option<String> {
        self.next_of_line(read).or_else(|| {
            let unread = |pair: &&String| !read.iter().any(|of| of.pair == **pair);
            self.listed.iter().find(unread).cloned()
        })
    }

    /// The next one of a line that nobody described: two conductors at least, and each to ground.
    fn next_of_line(&self, read: &[PairRead]) -> Option<String> {
        if !self.named_freely {
            return None;
        }
        let named: Vec<(&str, &str)> = read
            .iter()
            .filter(|of| !self.listed.contains(&of.pair))
            .filter_map(|of| of.pair.split_once('-'))
            .collect();
        if !named.iter().any(|(_, to)| *to != GROUND) {
            return Some("L1-L2".to_string());
        }
        let grounded = |conductor: &str| named.iter().any(|(of, to)| *of == conductor && *to == GROUND);
        let conductors = named.iter().flat_map(|(of, to)| [*of, *to]).filter(|of| *of != GROUND);
        let lacks = conductors.into_iter().find(|conductor| !grounded(conductor))?;
        Some(format!("{lacks}-{GROUND}"))
    }

    /// The pair that a person means.
    ///
    /// # Errors
    /// Which pairs there are, or how one is written.
    pub(super) fn find(&self, typed: &str, read: &[PairRead]) -> Result<String, String> {
        let typed = typed.trim();
        let ends = ends_of(typed);
        let means = |pair: &&String| {
            pair.eq_ignore_ascii_case(typed) || ends.as_ref().is_some_and(|ends| are_the_ends(ends, pair))
        };
        if let Some(known) = self.listed.iter().find(means) {
            return Ok(known.clone());
        }
        if !self.named_freely {
            return Err(format!("{typed:?} is none of the pairs to be read: {}", self.listed.join(", ")));
        }
        let named: Vec<&String> = read.iter().map(|of| &of.pair).collect();
        if let Some(known) = named.iter().copied().find(means) {
            return Ok(known.clone());
        }
        if named.len() >= NAMED_MAX {
            return Err(format!(
                "{NAMED_MAX} pairs are named already: describe the supply in the site's file"
            ));
        }
        let Some((one, other)) = ends.filter(|(one, other)| is_conductor(one) && is_conductor(other)) else {
            return Err(format!("{typed:?} names no pair: write two conductors, such as L1-L2 or L1-G"));
        };
        match (one == other, one == GROUND) {
            (true, _) => Err(format!("{typed:?} is one conductor twice: name two, such as L1-L2 or L1-G")),
            (false, true) => Ok(format!("{other}-{one}")),
            (false, false) => Ok(format!("{one}-{other}")),
        }
    }
}

/// Whether a pair is a capacitor bus, which holds V dc.
pub(super) fn is_bus(pair: &str) -> bool {
    pair.starts_with("bus")
}

/// The two ends of a pair as it is written: `L1-L2`, `l1 to ground`, `L1 L2`. In capitals, ground as G.
fn ends_of(pair: &str) -> Option<(String, String)> {
    let capitals = pair.to_uppercase();
    let (one, other) = capitals
        .split_once(" TO ")
        .or_else(|| capitals.split_once('-'))
        .or_else(|| capitals.split_once('/'))
        .or_else(|| capitals.split_once(char::is_whitespace))?;
    let end = |text: &str| {
        let text = text.trim();
        if GROUND_WORDS.contains(&text) { GROUND.to_string() } else { text.to_string() }
    };
    Some((end(one), end(other)))
}

fn are_the_ends((one, other): &(String, String), pair: &str) -> bool {
    ends_of(pair).is_some_and(|(a, b)| (a == *one && b == *other) || (a == *other && b == *one))
}

fn is_conductor(name: &str) -> bool {
    !name.is_empty() && name.len() <= CONDUCTOR_MAX && name.chars().all(|c| c.is_ascii_alphanumeric())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(pairs: &[&str]) -> Vec<PairRead> {
        pairs.iter().map(|pair| PairRead { pair: pair.to_string(), shown: "0.1 V ac".into() }).collect()
    }

    fn supply(line: Line) -> Pairs {
        Pairs::of_supply(&Supply { line, ..Supply::default() })
    }

    /// NFPA 70E-2024, 120.6(7) (120.5(7) in 2018 and 2021), as a training page quotes it: each phase conductor phase to phase and
    /// phase to ground. Of three terminals and the case every two: six.
    #[test]
    fn a_part_has_every_pair_of_its_terminals_and_each_to_the_case() {
        let three = ["C", "HERM", "FAN"].map(ToString::to_string);
        let listed = Pairs::of_terminals(&three).listed;
        assert_eq!(listed, ["C-HERM", "C-FAN", "HERM-FAN", "C-case", "HERM-case", "FAN-case"]);
        assert_eq!(Pairs::of_terminals(&[]).listed, ["1-2", "1-case", "2-case"]);
        assert_eq!(Pairs::of_terminals(&three[..1]).listed, ["1-2", "1-case", "2-case"]);
    }

    #[test]
    fn a_pair_is_found_however_it_is_written() {
        let pairs = supply(Line::ThreePhase);
        for typed in ["L3-L1", "l1 l3", "L1 to L3", " l3/l1 "] {
            assert_eq!(pairs.find(typed, &[]), Ok("L3-L1".into()), "{typed}");
        }
        for typed in ["L1-G", "ground to l1", "L1 gnd", "PE-L1"] {
            assert_eq!(pairs.find(typed, &[]), Ok("L1-G".into()), "{typed}");
        }
        assert_eq!(
            pairs.find("L4-G", &[]).unwrap_err(),
            "\"L4-G\" is none of the pairs to be read: L1-L2, L2-L3, L3-L1, L1-G, L2-G, L3-G"
        );
        let all = Supply { line: Line::SinglePhase, separate_control: true, capacitor_bus: true };
        let all = Pairs::of_supply(&all);
        assert_eq!(all.find("bus+ to bus-", &[]), Ok("bus+ to bus-".into()));
        assert_eq!(all.find("C-R", &[]), Ok("R-C".into()));
        assert!(all.have_a_bus() && !pairs.have_a_bus());
    }

    #[test]
    fn of_a_supply_that_nobody_described_two_conductors_and_each_to_ground_are_the_least() {
        let pairs = supply(Line::Unknown);
        for (done, next) in [
            (&[][..], Some("L1-L2")),
            (&["L1-G"], Some("L1-L2")),
            (&["L1-L2"], Some("L1-G")),
            (&["L1-L2", "L1-G"], Some("L2-G")),
            (&["L1-L2", "L1-G", "L2-G"], None),
            (&["L1-L2", "L1-G", "L2-G", "L2-L3"], Some("L3-G")),
            (&["A-N", "A-G"], Some("N-G")),
        ] {
            assert_eq!(pairs.next(&read(done)).as_deref(), next, "{done:?}");
        }
        for (typed, found) in [("l2 to l3", "L2-L3"), ("ground-l1", "L1-G"), ("a n", "A-N")] {
            assert_eq!(pairs.find(typed, &[]), Ok(found.into()), "{typed}");
        }
        assert_eq!(pairs.find("l2-l1", &read(&["L1-L2"])), Ok("L1-L2".into()), "the same pair");
        for (typed, why) in [
            ("L1", "names no pair"),
            ("", "names no pair"),
            ("L1-L1", "one conductor twice"),
            ("G-earth", "one conductor twice"),
            ("L1-L2-L3", "names no pair"),
            ("L1-a very long name", "names no pair"),
        ] {
            let said = pairs.find(typed, &[]).unwrap_err();
            assert!(said.contains(why), "{typed}: {said}");
        }
        let many: Vec<String> = (0..NAMED_MAX).map(|number| format!("L{number}-X")).collect();
        let many: Vec<&str> = many.iter().map(String::as_str).collect();
        assert!(pairs.find("L1-L2", &read(&many)).unwrap_err().contains("describe the supply"));
    }

    #[test]
    fn a_control_circuit_is_read_whatever_is_known_of_the_line() {
        let pairs = Pairs::of_supply(&Supply { separate_control: true, ..Supply::default() });
        assert_eq!(pairs.next(&read(&["L1-L2", "L1-G", "L2-G"])).as_deref(), Some("R-C"));
        assert_eq!(pairs.next(&read(&["L1-L2", "L1-G", "L2-G", "R-C"])), None);
        assert_eq!(pairs.in_words(), "each two line conductors, each line conductor to ground, R-C");
    }
}
