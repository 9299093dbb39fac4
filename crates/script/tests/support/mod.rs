//! Shared by the tests of this crate: loading one rule text, filling inputs, the shipped rules from the folder.
#![allow(dead_code)] // each test binary uses its part
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing)] // test code outside #[test] functions

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use judge::evaluate::Input;
use judge::rule::{PlateDefault, Rule, RuleSet};
use script::{Diagnostic, Limits, LoadedRules, RuleSetLoader};

/// A short rule as a shop would write it.
pub(crate) const SKETCH: &str = r#"title("Run capacitor");
nameplate("capacitance", "uF");
nameplate("tolerance", "%", 6.0, "common practice: 6 % where the can prints none");
reads("capacitance", "uF");
hold_points(["locked out", "proved dead", "discharged", "one lead off", "leads proved"]);

fn judge(m, plate) {
    let band = plate.capacitance * plate.tolerance / 100.0;
    within("capacitance", m.capacitance, plate.capacitance - band, plate.capacitance + band)
        .low("weak: order the same uF, the same volts or higher")
        .high("reads high: wrong part, or check the leads")
}
"#;

/// Loads one rule named `test-rule`.
pub(crate) fn load(text: &str) -> Result<LoadedRules, Vec<Diagnostic>> {
    RuleSetLoader::new(Limits::default()).load([("test-rule.rhai", text)])
}

/// Loads one rule that is expected to be fine.
pub(crate) fn rule(text: &str) -> Arc<dyn Rule> {
    let loaded = load(text).unwrap_or_else(|errors| panic!("{}", shown(&errors)));
    Arc::clone(loaded.set.find("test-rule").unwrap())
}

/// A rule that judges one reading `x` and has the given function bodies.
pub(crate) fn with_header(functions: &str) -> String {
    format!("title(\"T\"); nameplate(\"p\", \"uF\"); reads(\"x\", \"uF\");\n{functions}")
}

/// All findings, a line each.
pub(crate) fn shown(errors: &[Diagnostic]) -> String {
    errors.iter().map(|error| format!("{error}\n")).collect()
}

/// The findings of a text that must be refused.
pub(crate) fn refused(text: &str) -> String {
    match load(text) {
        Err(errors) => shown(&errors),
        Ok(_) => panic!("loaded, but should not have:\n{text}"),
    }
}

pub(crate) fn exact(value: f64) -> Input {
    Input { value, standard_uncertainty: 0.0 }
}

/// Fills the nameplate from what was entered and the defaults, in the order of the header.
pub(crate) fn plate_values(rule: &dyn Rule, entered: &BTreeMap<String, f64>) -> Vec<f64> {
    let mut values: BTreeMap<String, f64> = BTreeMap::new();
    let mut row = Vec::new();
    for item in &rule.header().nameplate {
        let value = match (entered.get(&item.name), &item.default) {
            (Some(value), _) | (None, PlateDefault::Value(value, _)) => *value,
            (None, PlateDefault::SameAs(other, _)) => values[other],
            (None, PlateDefault::Required) => panic!("{}: {} is not entered", rule.id(), item.name),
        };
        values.insert(item.name.clone(), value);
        row.push(value);
    }
    row
}

/// The folder with the shipped rules.
pub(crate) fn rules_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../rules")
}

/// Every shipped file with this ending, by path.
pub(crate) fn shipped_files(ending: &str) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    for folder in std::fs::read_dir(rules_folder()).unwrap() {
        let folder = folder.unwrap().path();
        if !folder.is_dir() {
            continue;
        }
        for file in std::fs::read_dir(folder).unwrap() {
            let path = file.unwrap().path();
            if path.to_str().is_some_and(|text| text.ends_with(ending) && !text.ends_with(".d.rhai")) {
                let text = std::fs::read_to_string(&path).unwrap();
                found.push((path, text));
            }
        }
    }
    found.sort();
    found
}

/// The shipped rules, loaded as one.
pub(crate) fn shipped_rules() -> RuleSet {
    let files = shipped_files(".rhai");
    let pairs = files.iter().map(|(path, text)| (path.to_str().unwrap(), text.as_str()));
    match RuleSetLoader::new(Limits::default()).load(pairs) {
        Ok(loaded) => {
            assert!(loaded.warnings.is_empty(), "{}", shown(&loaded.warnings));
            loaded.set
        }
        Err(errors) => panic!("{}", shown(&errors)),
    }
}
