//! A recording made of the cases beside the rules, so that every rule computes on the board, not only those that somebody
//! recorded. Whether the words are right is not asked here; `cliplead rules test` does.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, ensure};
use serde_json::{Map, Value, json};
use toml::Table;

/// How the files of cases end.
const ENDING: &str = ".cases.toml";
/// From case to case; our own choice.
const APART_US: i64 = 1_000_000;
/// A case that is sure says yes as often as this; a rule asks less often.
const ANSWERS: usize = 8;

/// Writes the recording and says how many cases it holds.
pub(super) fn write(root: &Path, recording: &Path) -> Result<usize> {
    let mut files = Vec::new();
    find(&root.join("rules"), &mut files)?;
    files.sort();
    let mut tape = Tape::default();
    for file in files {
        let read = |path: &Path| {
            std::fs::read_to_string(path).with_context(|| format!("{} cannot be read", path.display()))
        };
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        let rule = name.trim_end_matches(ENDING);
        let text = read(&file.with_file_name(format!("{rule}.rhai")))?;
        tape.rule(rule, &text, &read(&file)?).with_context(|| format!("{}", file.display()))?;
    }
    ensure!(tape.cases > 0, "no case stands beside the rules");
    std::fs::write(recording, tape.text())
        .with_context(|| format!("{} cannot be written", recording.display()))?;
    Ok(tape.cases)
}

fn find(folder: &Path, files: &mut Vec<PathBuf>) -> Result<()> {
    let listed = std::fs::read_dir(folder).with_context(|| format!("{} cannot be read", folder.display()))?;
    for entry in listed {
        let path = entry?.path();
        if path.is_dir() {
            find(&path, files)?;
        } else if path.to_string_lossy().ends_with(ENDING) {
            files.push(path);
        }
    }
    Ok(())
}

/// The recording so far.
#[derive(Default)]
struct Tape {
    events: Vec<Value>,
    cases: usize,
}

impl Tape {
    /// The cases of one rule.
    fn rule(&mut self, rule: &str, text: &str, cases: &str) -> Result<()> {
        let cases: Table = cases.parse().context("it is no TOML")?;
        let listed = cases.get("case").and_then(toml::Value::as_array).context("it holds no case")?;
        let hold_points = hold_points(text)?;
        for case in listed {
            self.case(rule, &hold_points, case.as_table().context("a case is a table")?);
        }
        Ok(())
    }

    /// One case on a unit of its own, so that nothing shown for another counts.
    fn case(&mut self, rule: &str, hold_points: &[String], case: &Table) {
        self.cases += 1;
        let component = case.get("name").and_then(toml::Value::as_str).unwrap_or_default();
        let unit = format!("case {}", self.cases);
        self.event(json!({"event": "arm", "unit": unit, "component": component, "rule": rule,
            "plate": texts(case, "plate")}));
        let open = case.get("open").and_then(toml::Value::as_array).map(Vec::as_slice).unwrap_or_default();
        for name in hold_points {
            let is_open = open.iter().any(|open| open.as_str() == Some(name));
            // Some hold for every unit; a case that wants one open takes it back.
            self.event(json!({"event": if is_open { "withdraw" } else { "confirm" }, "hold_point": name}));
        }
        let accuracy = texts(case, "accuracy");
        for (point, value) in texts(case, "readings") {
            let mut event = json!({"event": "typed", "point": point, "value": value});
            if let Some(accuracy) = accuracy.get(&point)
                && let Some(event) = event.as_object_mut()
            {
                event.insert("accuracy".to_owned(), accuracy.clone());
            }
            self.event(event);
        }
        if case.get("sure").and_then(toml::Value::as_bool) == Some(true) {
            for _ in 0..ANSWERS {
                self.event(json!({"event": "answer", "yes": true}));
            }
        }
        // A check that has its word already takes no notice.
        self.event(json!({"event": "finish"}));
        // A round has room for so many visits.
        self.event(json!({"event": "close", "why": "the case is judged"}));
    }

    fn event(&mut self, mut event: Value) {
        let t = i64::try_from(self.cases).unwrap_or(i64::MAX).saturating_mul(APART_US);
        if let Some(event) = event.as_object_mut() {
            event.insert("t".to_owned(), t.into());
        }
        self.events.push(event);
    }

    fn text(&self) -> String {
        let head = json!({"cliplead_recording": 2, "note": "made of the cases beside the rules"});
        std::iter::once(&head).chain(&self.events).map(|line| format!("{line}\n")).collect()
    }
}

/// A table of texts.
fn texts(case: &Table, key: &str) -> Map<String, Value> {
    let table = case.get(key).and_then(toml::Value::as_table);
    let text = |(name, value): (&String, &toml::Value)| Some((name.clone(), value.as_str()?.into()));
    table.into_iter().flatten().filter_map(text).collect()
}

/// What a rule's head lists, after those that lead to the unit's state; the list is written as in JSON.
fn hold_points(rule: &str) -> Result<Vec<String>> {
    let listed: Vec<String> = match rule.split_once("\nhold_points(") {
        None => Vec::new(),
        Some((_, rest)) => {
            let list = rest.split_once(')').map_or(rest, |(list, _)| list);
            serde_json::from_str(list).with_context(|| format!("hold_points({list}) cannot be read here"))?
        }
    };
    let runs = listed.iter().any(|name| name == "running steady" || name == "burner steady");
    let first: &[&str] = match rule.split_once("\nunit_state(\"").and_then(|(_, rest)| rest.split_once('"')) {
        Some(("energised", _)) => &["power on"],
        Some(("running", _)) if runs => &["power on"],
        Some(("running", _)) => &["power on", "running"],
        Some(("isolated", _)) if !listed.iter().any(|name| name == "locked out") => &["locked out"],
        _ => &[],
    };
    Ok(first.iter().map(|name| (*name).to_owned()).chain(listed).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULE: &str = "about(\"a\");\nhold_points([\"locked out\", \"leads proved\"]);\n";

    #[test]
    fn a_case_becomes_the_acts_of_a_person() {
        let cases = "[[case]]\nname = \"good\"\nplate = { rated = \"40uF\" }\nreadings = { c = \"40.2uF\" }\n\
                     accuracy = { c = \"1%\" }\nopen = [\"leads proved\"]\nexpect = \"pass\"\n";
        let mut tape = Tape::default();
        tape.rule("run-capacitor", RULE, cases).unwrap();
        let events = [
            json!({"t": 1_000_000, "event": "arm", "unit": "case 1", "component": "good", "rule": "run-capacitor",
                "plate": {"rated": "40uF"}}),
            json!({"t": 1_000_000, "event": "confirm", "hold_point": "locked out"}),
            json!({"t": 1_000_000, "event": "withdraw", "hold_point": "leads proved"}),
            json!({"t": 1_000_000, "event": "typed", "point": "c", "value": "40.2uF", "accuracy": "1%"}),
            json!({"t": 1_000_000, "event": "finish"}),
            json!({"t": 1_000_000, "event": "close", "why": "the case is judged"}),
        ];
        assert_eq!((tape.events.as_slice(), tape.cases), (&events[..], 1));
        assert!(tape.text().starts_with("{\"cliplead_recording\":2,"));
    }

    #[test]
    fn a_sure_case_answers_and_a_rule_may_hold_on_nothing() {
        let mut tape = Tape::default();
        tape.rule("x", "about(\"a\");\n", "[[case]]\nname = \"sure\"\nsure = true\n").unwrap();
        let answers = tape.events.iter().filter(|event| event["event"] == "answer").count();
        assert_eq!((answers, tape.events.len()), (ANSWERS, ANSWERS + 3));
        assert!(tape.rule("x", "\nhold_points([a]);", "[[case]]\nname = \"a\"\n").is_err());
        assert!(tape.rule("x", RULE, "").is_err());
    }
}
