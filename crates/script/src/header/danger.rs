//! The declaration of a danger: its reading and its limit, both declared above it, and the hold points that it ends. Validates
//! them; does not judge.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use judge::rule::{Beyond, Danger};
use rhai::{ImmutableString, Position};
use visit::hold;

use super::Reader;
use crate::diagnostic::{At, did_you_mean};

/// Most dangers of a rule, and most hold points that one ends. Our own choice.
const DANGERS_MAX: usize = 8;

impl Reader<'_, '_> {
    /// Takes a danger: the reading, the side, the limit and the advice, and what it ends.
    pub(super) fn danger(
        &mut self,
        [name, side, limit, advice]: [&str; 4],
        ends: &[(ImmutableString, Position)],
        position: Position,
    ) {
        if advice.trim().is_empty() {
            self.findings.error(position, "a danger says what to do; this text is empty");
        }
        let ends = self.ends(ends, position);
        let beyond = self.side(side, position);
        let point = self.header.points.iter().position(|point| point.name == name);
        if point.is_none() {
            let hint = did_you_mean(name, self.header.points.iter().map(|point| point.name.as_str()));
            self.findings.error(position, format!("no reading {name:?} is declared above{hint}"));
        }
        let found = self.header.limits.iter().position(|known| known.name == limit);
        if found.is_none() {
            let hint = did_you_mean(limit, self.header.limits.iter().map(|known| known.name.as_str()));
            self.findings.error(position, format!("no limit {limit:?} is declared above{hint}"));
        }
        let (Some(point), Some(beyond), Some(limit)) = (point, beyond, found) else { return };
        let Some(at) = self.in_unit_of(point, limit, position) else { return };
        if self.header.dangers.iter().any(|other| (other.point, other.beyond) == (point, beyond)) {
            return self
                .findings
                .error(position, format!("danger({name:?}, {side:?}, ...) is declared twice"));
        }
        if self.header.dangers.len() >= DANGERS_MAX {
            return self.findings.error(position, format!("too many: at most {DANGERS_MAX} dangers"));
        }
        let line = At::from(position).line;
        self.header.dangers.push(Danger { point, beyond, limit, at, advice: advice.into(), ends, line });
    }

    fn side(&mut self, side: &str, position: Position) -> Option<Beyond> {
        match side {
            "above" => Some(Beyond::Above),
            "below" => Some(Beyond::Below),
            _ => {
                let hint = did_you_mean(side, ["above", "below"]);
                let text = format!("{side:?}: a danger lies \"above\" its limit or \"below\" it{hint}");
                self.findings.error(position, text);
                None
            }
        }
    }

    /// The limit in the reading's unit.
    fn in_unit_of(&mut self, point: usize, limit: usize, position: Position) -> Option<f64> {
        let (point, limit) = (self.header.points.get(point)?, self.header.limits.get(limit)?);
        let at = limit.unit.convert(limit.value, point.display.unit);
        if at.is_err() {
            let text = format!(
                "limit {:?} is in {}, reading {:?} in {}: a danger compares like with like",
                limit.name, limit.unit, point.name, point.display.unit
            );
            self.findings.error(position, text);
        }
        at.ok()
    }

    /// Hold points that the engine knows, or that this rule has above.
    fn ends(&mut self, names: &[(ImmutableString, Position)], position: Position) -> Vec<String> {
        if names.len() > DANGERS_MAX {
            self.findings
                .error(position, format!("too many: a danger ends at most {DANGERS_MAX} hold points"));
        }
        let mut ends: Vec<String> = Vec::new();
        for (name, position) in names {
            let known = hold::KNOWN.iter().map(|known| known.name);
            let mut known = known.chain(self.header.hold_points.iter().map(String::as_str));
            if ends.iter().any(|other| other == name.as_str()) {
                self.findings.error(*position, format!("hold point {name:?} stands twice"));
            } else if known.any(|known| known == name.as_str()) {
                ends.push(name.to_string());
            } else {
                let hint = did_you_mean(name, hold::KNOWN.iter().map(|known| known.name));
                self.findings.error(*position, format!("no hold point {name:?} is known{hint}"));
            }
        }
        ends
    }
}
