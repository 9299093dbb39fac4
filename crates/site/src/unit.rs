//! The units of a site's file: what supplies each, its circuits, and the slots for its components. Turns a check of the file into one
//! that knows its machine. Does not know rules.

use std::format;
use std::string::String;
use std::vec::Vec;

use serde::Deserialize;
use visit::round::{Line, Plan, Slot, Supply};

/// Names that a message lists at most.
const LISTED_MAX: usize = 12;

/// A unit as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct WrittenUnit {
    tag: String,
    supply: Option<String>,
    #[serde(default)]
    separate_control: bool,
    #[serde(default)]
    capacitor_bus: bool,
    #[serde(default)]
    circuits: Vec<String>,
    #[serde(default)]
    slot: Vec<WrittenSlot>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenSlot {
    name: String,
    circuit: Option<String>,
    serves: Option<String>,
}

/// The units of a file, without contradictions.
#[derive(Debug, Default)]
pub(crate) struct Units(Vec<Unit>);

#[derive(Debug)]
struct Unit {
    tag: String,
    supply: Supply,
    slots: Vec<(String, Slot)>,
}

impl Units {
    /// # Errors
    /// A sentence that names the unit, the slot and what is wrong.
    pub(crate) fn of(written: Vec<WrittenUnit>) -> Result<Self, String> {
        let mut units = Self::default();
        for unit in written {
            let tag = unit.tag.clone();
            if tag.trim().is_empty() {
                return Err("a unit has no tag; write for example tag = \"RTU-07\"".into());
            }
            if units.find(&tag).is_some() {
                return Err(format!("unit {tag:?} stands twice; tags must differ"));
            }
            units.0.push(unit.read().map_err(|why| format!("unit {tag:?}: {why}"))?);
        }
        Ok(units)
    }

    fn find(&self, tag: &str) -> Option<&Unit> {
        self.0.iter().find(|unit| unit.tag == tag)
    }

    /// Adds to a check what is known of its unit; a check of a unit that the file does not describe stays as it is.
    ///
    /// # Errors
    /// That the unit has no slot of this name, with those that it has.
    pub(crate) fn complete(&self, plan: Plan) -> Result<Plan, String> {
        let Some(unit) = self.find(&plan.unit_tag) else { return Ok(plan) };
        let supply = unit.supply.clone();
        if unit.slots.is_empty() || plan.component.is_empty() {
            return Ok(Plan { supply, ..plan });
        }
        let Some((_, slot)) = unit.slots.iter().find(|(name, _)| *name == plan.component) else {
            let known = listed(unit.slots.iter().map(|(name, _)| name.as_str()));
            return Err(format!("unit {:?} has no slot {:?}; it has {known}", unit.tag, plan.component));
        };
        Ok(Plan { supply, slot: slot.clone(), ..plan })
    }
}

impl WrittenUnit {
    fn read(self) -> Result<Unit, String> {
        let line = self.supply.as_deref().map(Line::parse).transpose()?.unwrap_or_default();
        let supply =
            Supply { line, separate_control: self.separate_control, capacitor_bus: self.capacitor_bus };
        let twice = |names: &[&String]| {
            names
                .iter()
                .enumerate()
                .find(|(at, name)| names.iter().take(*at).any(|known| known == *name))
                .map(|(_, name)| (*name).clone())
        };
        if let Some(name) = twice(&self.circuits.iter().collect::<Vec<_>>()) {
            return Err(format!("circuit {name:?} stands twice"));
        }
        if let Some(name) = twice(&self.slot.iter().map(|slot| &slot.name).collect::<Vec<_>>()) {
            return Err(format!("slot {name:?} stands twice"));
        }
        for WrittenSlot { name, circuit, serves } in &self.slot {
            if let Some(circuit) = circuit
                && !self.circuits.contains(circuit)
            {
                let known = listed(self.circuits.iter().map(String::as_str));
                return Err(format!("slot {name:?}: no circuit {circuit:?}; the unit has {known}"));
            }
            if let Some(serves) = serves
                && (serves == name || !self.slot.iter().any(|slot| slot.name == *serves))
            {
                let known = listed(self.slot.iter().map(|slot| slot.name.as_str()));
                return Err(format!(
                    "slot {name:?} serves {serves:?}, which is no other slot of it; it has {known}"
                ));
            }
        }
        let slots = self.slot.into_iter();
        let slots =
            slots.map(|WrittenSlot { name, circuit, serves }| (name, Slot { circuit, serves })).collect();
        Ok(Unit { tag: self.tag, supply, slots })
    }
}

fn listed<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<&str> = names.collect();
    let more = names.len().saturating_sub(LISTED_MAX);
    match (names.len(), more) {
        (0, _) => "none".into(),
        (_, 0) => names.join(", "),
        _ => format!(
            "{} and {more} more",
            names.iter().take(LISTED_MAX).copied().collect::<Vec<_>>().join(", ")
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO_CIRCUITS: &str = "[[unit]]\ntag = \"RTU-07\"\nsupply = \"three phase\"\nseparate_control = true\n\
        circuits = [\"1\", \"2\"]\n\
        [[unit.slot]]\nname = \"compressor 1\"\ncircuit = \"1\"\n\
        [[unit.slot]]\nname = \"C7\"\ncircuit = \"1\"\nserves = \"compressor 1\"\n";

    #[derive(Deserialize)]
    struct File {
        unit: Vec<WrittenUnit>,
    }

    fn units(text: &str) -> Result<Units, String> {
        Units::of(toml::from_str::<File>(text).unwrap().unit)
    }

    fn at(unit: &str, component: &str) -> Plan {
        Plan { unit_tag: unit.into(), component: component.into(), ..Plan::default() }
    }

    #[test]
    fn a_check_knows_its_machine() {
        let units = units(TWO_CIRCUITS).unwrap();
        let plan = units.complete(at("RTU-07", "C7")).unwrap();
        assert_eq!(plan.supply.pairs().len(), 7);
        assert_eq!(
            (plan.slot.circuit.as_deref(), plan.slot.serves.as_deref()),
            (Some("1"), Some("compressor 1"))
        );
        let of_the_unit = units.complete(at("RTU-07", "")).unwrap();
        assert_eq!((of_the_unit.supply.line, of_the_unit.slot), (Line::ThreePhase, Slot::default()));
        let elsewhere = at("RTU-08", "C7");
        assert_eq!(units.complete(elsewhere.clone()).unwrap(), elsewhere);
    }

    #[test]
    fn a_contradiction_names_its_place() {
        let why = |text: &str| units(text).unwrap_err();
        assert_eq!(why("[[unit]]\ntag=\"\"\n"), "a unit has no tag; write for example tag = \"RTU-07\"");
        assert_eq!(
            why("[[unit]]\ntag=\"A\"\nsupply=\"240\"\n"),
            "unit \"A\": no supply \"240\"; write single phase or three phase"
        );
        assert_eq!(
            why("[[unit]]\ntag=\"A\"\n[[unit]]\ntag=\"A\"\n"),
            "unit \"A\" stands twice; tags must differ"
        );
        assert_eq!(
            why("[[unit]]\ntag=\"A\"\ncircuits=[\"1\",\"1\"]\n"),
            "unit \"A\": circuit \"1\" stands twice"
        );
        let slot = "[[unit]]\ntag=\"A\"\ncircuits=[\"1\"]\n[[unit.slot]]\nname=\"C\"\n";
        assert_eq!(
            why(&format!("{slot}circuit=\"2\"\n")),
            "unit \"A\": slot \"C\": no circuit \"2\"; the unit has 1"
        );
        assert_eq!(
            why(&format!("{slot}serves=\"C\"\n")),
            "unit \"A\": slot \"C\" serves \"C\", which is no other slot of it; it has C"
        );
        assert_eq!(why(&format!("{slot}[[unit.slot]]\nname=\"C\"\n")), "unit \"A\": slot \"C\" stands twice");
        assert_eq!(
            units(TWO_CIRCUITS).unwrap().complete(at("RTU-07", "C8")).unwrap_err(),
            "unit \"RTU-07\" has no slot \"C8\"; it has compressor 1, C7"
        );
    }
}
