//! Tables of command lines with what must come of each. Reads and runs them; the tables stand in `it/tables`.
//!
//! ```text
//! # a comment; names the source of a figure
//! $ judge run-capacitor --plate capacitance=40uF --confirm 'locked out, discharged'
//! exit 3
//! out TEXT            stdout holds TEXT ("out nothing": is empty)
//! err TEXT            stderr holds TEXT ("err nothing": is empty)
//! no out TEXT         stdout does not hold TEXT; "no err" likewise
//! json /verdict = "pass"                     the value at this pointer in the first line of stdout
//! json /judgements/0/value ~ 42.6 1e-9       a number, with the largest difference allowed
//! keys /judgements/0 = name verdict ...      exactly these keys
//! lines N             stdout has so many lines
//! env NAME=VALUE      runs with this variable
//! ```
//! A row without `exit` is refused: every row says how it must end.

use std::fmt::Write as _;
use std::path::Path;

use serde_json::Value;

use crate::program::{Ended, Invocation};

struct Row {
    line: usize,
    command: String,
    env: Vec<(String, String)>,
    exit: Option<i32>,
    wants: Vec<(usize, String)>,
}

/// Runs every row of a table.
///
/// # Panics
/// With file, line and difference of every row that differs, or when the table is no table.
pub fn check_table(path: &Path) {
    let text = std::fs::read_to_string(path).expect("the table");
    let rows = rows(path, &text);
    assert!(!rows.is_empty(), "{}: no rows", path.display());
    let mut report = String::new();
    let mut failed = 0;
    for row in &rows {
        let differences = check(path, row);
        if !differences.is_empty() {
            failed += 1;
            let _ = write!(report, "\n{}:{}: $ {}\n{differences}", path.display(), row.line, row.command);
        }
    }
    assert!(report.is_empty(), "{failed} of {} rows differ{report}", rows.len());
}

fn rows(path: &Path, text: &str) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let (number, line) = (index + 1, line.trim_end());
        let place = || format!("{}:{number}", path.display());
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        if let Some(command) = line.strip_prefix('$') {
            let command = command.trim_start().to_owned();
            rows.push(Row { line: number, command, env: Vec::new(), exit: None, wants: Vec::new() });
            continue;
        }
        let row = rows.last_mut().unwrap_or_else(|| panic!("{}: stands before the first command", place()));
        if let Some(code) = line.strip_prefix("exit ") {
            row.exit = Some(code.parse().unwrap_or_else(|_| panic!("{}: no exit code", place())));
        } else if let Some(pair) = line.strip_prefix("env ") {
            let (name, value) = pair.split_once('=').unwrap_or_else(|| panic!("{}: NAME=VALUE", place()));
            row.env.push((name.to_owned(), value.to_owned()));
        } else {
            row.wants.push((number, line.to_owned()));
        }
    }
    if let Some(row) = rows.iter().find(|row| row.exit.is_none()) {
        panic!("{}:{}: the row does not say how it must end", path.display(), row.line);
    }
    rows
}

fn check(path: &Path, row: &Row) -> String {
    let mut invocation = Invocation::new(words(&row.command));
    for (name, value) in &row.env {
        invocation = invocation.env(name, value);
    }
    let ended = invocation.run();
    let mut differences = String::new();
    if ended.code != row.exit {
        let wanted = row.exit.unwrap_or_default();
        let _ = writeln!(differences, "    exit: expected {wanted}, got {:?}", ended.code);
    }
    for (line, want) in &row.wants {
        if let Some(difference) = difference(want, &ended) {
            let _ = writeln!(differences, "    {}:{line}: {want}\n        {difference}", path.display());
        }
    }
    if !differences.is_empty() {
        let _ = writeln!(differences, "    stdout: {}\n    stderr: {}", shown(&ended.out), shown(&ended.err));
    }
    differences
}

fn shown(text: &str) -> String {
    if text.is_empty() { "(nothing)".to_owned() } else { format!("\n{}", text.trim_end()) }
}

/// What is not as the line wants it.
fn difference(want: &str, ended: &Ended) -> Option<String> {
    let (verb, rest) = want.split_once(' ').unwrap_or((want, ""));
    match verb {
        "out" => holds(&ended.out, rest),
        "err" => holds(&ended.err, rest),
        "no" => match rest.split_once(' ') {
            Some(("out", text)) => ended.out.contains(text).then(|| "it is there".to_owned()),
            Some(("err", text)) => ended.err.contains(text).then(|| "it is there".to_owned()),
            _ => Some("write: no out TEXT, or: no err TEXT".to_owned()),
        },
        "lines" => {
            let count = ended.lines().len();
            (rest.parse() != Ok(count)).then(|| format!("got {count}"))
        }
        "json" | "keys" => match serde_json::from_str(ended.lines().first().unwrap_or(&"")) {
            Ok(value) if verb == "json" => json(&value, rest),
            Ok(value) => keys(&value, rest),
            Err(error) => Some(format!("the first line of stdout is no JSON: {error}")),
        },
        _ => Some("a table has no such line".to_owned()),
    }
}

fn holds(text: &str, part: &str) -> Option<String> {
    if part == "nothing" {
        return (!text.is_empty()).then(|| "there is something".to_owned());
    }
    (part.is_empty() || !text.contains(part)).then(|| "it is not there".to_owned())
}

fn json(value: &Value, want: &str) -> Option<String> {
    let parts: Vec<&str> = want.splitn(3, ' ').collect();
    let &[pointer, relation, wanted] = parts.as_slice() else {
        return Some("write: json POINTER = VALUE, or: json POINTER ~ NUMBER DIFFERENCE".to_owned());
    };
    let Some(got) = value.pointer(pointer) else { return Some("there is nothing at this place".to_owned()) };
    if relation == "=" {
        let wanted: Value = serde_json::from_str(wanted).expect("JSON in the table");
        return (*got != wanted).then(|| format!("got {got}"));
    }
    let (number, most) = wanted.split_once(' ').expect("a number and a difference");
    let (number, most): (f64, f64) = (number.parse().expect("a number"), most.parse().expect("a number"));
    let near = relation == "~" && got.as_f64().is_some_and(|got| (got - number).abs() <= most);
    (!near).then(|| format!("got {got}"))
}

fn keys(value: &Value, want: &str) -> Option<String> {
    let (pointer, wanted) = want.split_once(" = ").expect("keys POINTER = NAMES");
    let object = if pointer == "/" { Some(value) } else { value.pointer(pointer) };
    let Some(object) = object.and_then(Value::as_object) else { return Some("no object there".to_owned()) };
    let mut wanted: Vec<&str> = wanted.split_whitespace().collect();
    let mut got: Vec<&str> = object.keys().map(String::as_str).collect();
    wanted.sort_unstable();
    got.sort_unstable();
    let missing: Vec<&&str> = wanted.iter().filter(|key| !got.contains(key)).collect();
    let more: Vec<&&str> = got.iter().filter(|key| !wanted.contains(key)).collect();
    (wanted != got).then(|| format!("missing {missing:?}, not promised {more:?}"))
}

/// Splits as a shell would, with single quotes only.
fn words(command: &str) -> Vec<String> {
    let mut words = Vec::new();
    let (mut word, mut begun, mut quoted) = (String::new(), false, false);
    for c in command.chars() {
        match c {
            '\'' => {
                quoted = !quoted;
                begun = true;
            }
            ' ' if !quoted => {
                if begun {
                    words.push(std::mem::take(&mut word));
                }
                begun = false;
            }
            c => {
                word.push(c);
                begun = true;
            }
        }
    }
    assert!(!quoted, "a quote is open in: {command}");
    if begun {
        words.push(word);
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ended(out: &str) -> Ended {
        Ended { code: Some(0), out: out.to_owned(), err: String::new() }
    }

    #[test]
    fn words_split_as_in_a_shell() {
        assert_eq!(words("a 'b c'  d='e f' ''"), ["a", "b c", "d=e f", ""]);
    }

    #[test]
    fn a_wrong_answer_differs() {
        let got = ended("{\"a\": {\"b\": 1.5}}\n");
        for want in
            ["json /a/b = 1.5", "json /a/b ~ 1.4 0.2", "keys /a = b", "keys / = a", "lines 1", "err nothing"]
        {
            assert_eq!(difference(want, &got), None, "{want}");
        }
        for want in [
            "json /a/b = 2",
            "json /a/b ~ 1.4 0.05",
            "json /a/c = 1",
            "keys /a = b c",
            "keys /a = c",
            "lines 2",
            "out nothing",
            "err x",
            "no out 1.5",
            "out ",
            "outt x",
        ] {
            assert!(difference(want, &got).is_some(), "{want}");
        }
    }
}
