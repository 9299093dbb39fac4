//! What a rule declares of evidence: the unit's state, hold points, what it shows for others, what it puts back, the terminals of a part.

use alloc::format;
use alloc::string::ToString;
use alloc::vec::Vec;

use judge::rule::{Header, Shows, UnitState};
use rhai::{ImmutableString, Position};
use visit::hold;

use super::{Literal, Reader};
use crate::diagnostic::{Findings, did_you_mean};

/// Things that one rule puts back at most.
const PUTS_BACK_MAX: usize = 8;
/// The word with which `shows` takes a conditional pass too.
const CONDITIONAL_PASS: &str = "conditional pass";
/// Terminals of a part. Our own choice: with six there are 21 pairs to read.
const TERMINALS: core::ops::RangeInclusive<usize> = 2..=6;
/// Letters of a terminal's name.
const TERMINAL_LETTERS: usize = 8;

impl Reader<'_, '_> {
    /// Takes a declaration of evidence; false for any other.
    pub(super) fn of_evidence(&mut self, name: &str, forms: &[&Literal], position: Position) -> bool {
        use Literal::{Text, Texts};
        match (name, forms) {
            ("unit_state", [Text(word)]) => self.unit_state(word, position),
            ("shows", [Text(name)]) => self.shows(name, false, position),
            ("shows", [Text(name), Text(word)]) if word == CONDITIONAL_PASS => {
                self.shows(name, true, position)
            }
            ("puts_back", [Text(what)]) => self.puts_back(what, position),
            ("danger", [Text(name), Text(side), Text(limit), Text(advice)]) => {
                self.danger([name, side, limit, advice], &[], position);
            }
            ("danger", [Text(name), Text(side), Text(limit), Text(advice), Texts(ends)]) => {
                self.danger([name, side, limit, advice], ends, position);
            }
            ("hold_points", [Texts(names)]) => self.hold_points(names, position),
            ("terminals", [Texts(names)]) => self.terminals(names, position),
            _ => return false,
        }
        true
    }

    fn unit_state(&mut self, word: &str, position: Position) {
        if self.state_at.replace(position).is_some() {
            self.findings.error(position, "this is declared twice");
        }
        match UnitState::NAMED.iter().find(|(_, known)| *known == word) {
            Some((state, _)) => self.header.unit_state = *state,
            None => {
                let known: Vec<&str> = UnitState::NAMED.iter().map(|(_, word)| *word).collect();
                let text = format!("no state {word:?}; a unit is {}", known.join(", "));
                self.findings.error(position, text);
            }
        }
    }

    fn puts_back(&mut self, what: &str, position: Position) {
        if what.trim().is_empty() {
            self.findings.error(position, "this text is empty");
        } else if self.header.puts_back.iter().any(|known| known == what) {
            self.findings.error(position, "this is declared twice");
        } else if self.header.puts_back.len() >= PUTS_BACK_MAX {
            self.findings.error(position, format!("a rule puts back {PUTS_BACK_MAX} things at most"));
        }
        self.header.puts_back.push(what.to_string());
    }

    fn shows(&mut self, name: &str, by_conditional_pass: bool, position: Position) {
        if hold::known(name).is_none() {
            let hint = did_you_mean(name, hold::KNOWN.iter().map(|known| known.name));
            self.findings.error(position, format!("no hold point {name:?} is known{hint}"));
        } else if hold::of(name).keeps_order {
            self.findings.error(position, format!("{name:?} is shown at the unit, never by another check"));
        } else if self.header.shows.iter().any(|other| other.name == name) {
            self.findings.error(position, format!("{name:?} stands twice"));
        } else if by_conditional_pass && hold::of(name).by_clear_pass_only {
            self.findings
                .error(position, format!("{name:?} is never shown by a conditional pass: leave that out"));
        }
        self.header.shows.push(Shows { name: name.to_string(), by_conditional_pass });
    }

    fn hold_points(&mut self, names: &[(ImmutableString, Position)], position: Position) {
        if self.hold_points_at.replace(position).is_some() {
            self.findings.error(position, "hold points are declared twice: put them in one list");
        }
        for (name, position) in names {
            if self.header.hold_points.iter().any(|other| other == name.as_str()) {
                self.findings.error(*position, format!("hold point {name:?} stands twice"));
                continue;
            }
            if hold::known(name).is_none() {
                let hint = did_you_mean(name, hold::KNOWN.iter().map(|known| known.name));
                if !hint.is_empty() {
                    self.findings.error(*position, format!("no hold point {name:?} is known{hint}"));
                }
            }
            self.header.hold_points.push(name.to_string());
        }
    }

    fn terminals(&mut self, names: &[(ImmutableString, Position)], position: Position) {
        if self.terminals_at.replace(position).is_some() {
            self.findings.error(position, "terminals are declared twice: put them in one list");
        }
        if !TERMINALS.contains(&names.len()) {
            let (least, most) = (TERMINALS.start(), TERMINALS.end());
            self.findings.error(position, format!("a part has {least} to {most} terminals"));
        }
        for (name, position) in names {
            let fine = (1..=TERMINAL_LETTERS).contains(&name.len())
                && name.chars().all(|c| c.is_ascii_alphanumeric())
                && !name.eq_ignore_ascii_case("case");
            if !fine {
                let text = format!(
                    "{name:?}: a terminal has up to {TERMINAL_LETTERS} letters and digits; the case is a pair of each by itself"
                );
                self.findings.error(*position, text);
            } else if self.header.terminals.iter().any(|other| other.eq_ignore_ascii_case(name)) {
                self.findings.error(*position, format!("terminal {name:?} stands twice"));
            }
            self.header.terminals.push(name.to_string());
        }
    }
}

/// Puts the hold points that lead to the unit's state before the others, and refuses those of the opposite state.
pub(super) fn lead_to_the_state(header: &mut Header, position: Position, findings: &mut Findings<'_>) {
    let state = header.unit_state;
    let against = header.hold_points.iter().find(|name| hold::contradicts(state, name));
    if let Some(name) = against {
        let text = format!("{name:?} never stands while a unit is {}: one of the two is wrong", state.word());
        findings.error(position, text);
    }
    let first = hold::leading_to(state, &header.hold_points).into_iter().map(ToString::to_string);
    header.hold_points = first.chain(core::mem::take(&mut header.hold_points)).collect();
}
