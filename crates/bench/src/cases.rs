//! Cases: the tests a shop writes next to a rule (`NAME.cases.toml`). Parses them with line numbers, runs each
//! through the round, and describes differences. Does not find files or compile rules.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use judge::limits::{DecisionRule, Word};
use judge::rule::RuleSet;
use record::VerdictJson;
use serde::Deserialize;
use toml::Spanned;
use visit::round::Settings;

use crate::typed::{self, Confirm, TypedCheck};

/// A file of cases.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CaseFile {
    #[serde(default)]
    case: Vec<Spanned<Case>>,
}

/// One case.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    /// What it shows.
    name: String,
    /// Nameplate values.
    #[serde(default)]
    plate: BTreeMap<String, String>,
    /// Readings.
    #[serde(default)]
    readings: BTreeMap<String, String>,
    /// The meter's accuracy.
    #[serde(default)]
    accuracy: BTreeMap<String, String>,
    /// Hold points that are not shown; all others are.
    #[serde(default)]
    open: Vec<String>,
    /// `guarded` (default) or `simple`.
    #[serde(default)]
    decision: Option<String>,
    /// Answer yes to every question.
    #[serde(default)]
    sure: bool,
    /// The expected word.
    expect: String,
    /// Text that the reason must contain.
    #[serde(default)]
    reason: Option<String>,
    /// Text that the advice must contain.
    #[serde(default)]
    advice: Option<String>,
    /// Whether it must end as a danger.
    #[serde(default)]
    danger: Option<bool>,
    /// Judgements by name, with the expected word of each.
    #[serde(default)]
    judgements: BTreeMap<String, String>,
}

/// The result of a file of cases.
#[derive(Debug, Default)]
pub struct Tally {
    /// Cases that passed.
    pub passed: usize,
    /// One text per failed case, with file and line.
    pub failures: Vec<String>,
    /// Words that have a case.
    pub words: Vec<Word>,
}

/// Runs every case of a file for the rule with this id.
///
/// # Errors
/// A text with file and line if the file cannot be parsed as cases.
pub fn run(path: &str, text: &str, rule: &str, set: &RuleSet) -> Result<Tally, String> {
    let file: CaseFile = toml::from_str(text).map_err(|error| {
        let line = error.span().map_or(1, |span| line_of(text, span.start));
        format!("{path}:{line}: {}", error.message())
    })?;
    if file.case.is_empty() {
        return Err(format!("{path}:1: no case here; a case begins with [[case]]"));
    }
    let mut tally = Tally::default();
    let mut names: BTreeMap<&str, usize> = BTreeMap::new();
    for spanned in &file.case {
        let line = line_of(text, spanned.span().start);
        let case = spanned.get_ref();
        if let Some(first) = names.insert(&case.name, line) {
            tally
                .failures
                .push(format!("{path}:{line}: case {:?} stands already at line {first}", case.name));
            continue;
        }
        match one(case, rule, set) {
            Ok(word) => {
                tally.passed += 1;
                tally.words.push(word);
            }
            Err(difference) => tally.failures.push(format!("{path}:{line}: {:?}\n{difference}", case.name)),
        }
    }
    Ok(tally)
}

/// The resulting word, or the difference.
fn one(case: &Case, rule: &str, set: &RuleSet) -> Result<Word, String> {
    let expected = Word::parse(&case.expect).ok_or_else(|| {
        let words: Vec<&str> = Word::ALL.iter().map(|word| word.text()).collect();
        format!("  expect = {:?} is none of: {}", case.expect, words.join(", "))
    })?;
    let decision = match case.decision.as_deref() {
        None | Some("guarded") => DecisionRule::default(),
        Some("simple") => DecisionRule::Simple,
        Some(other) => return Err(format!("  decision = {other:?}: write \"guarded\" or \"simple\"")),
    };
    let check = TypedCheck {
        unit: "case",
        component: &case.name,
        rule,
        plate: case.plate.clone(),
        readings: case.readings.clone(),
        accuracy: case.accuracy.clone(),
        confirm: Confirm::AllBut(case.open.clone()),
        sure: case.sure,
    };
    let settings = Settings { decision, ..Settings::default() };
    let verdict =
        typed::judge(set, &check, settings).map_err(|error| format!("  could not run: {error:#}"))?;
    let got = VerdictJson::from(&verdict);
    let difference = difference(case, expected, &got);
    if difference.is_empty() { Ok(expected) } else { Err(difference) }
}

fn difference(case: &Case, expected: Word, got: &VerdictJson) -> String {
    let mut text = String::new();
    if got.verdict != expected.text() {
        let why = got.reason.as_deref().or(got.advice.as_deref()).unwrap_or("no advice");
        let _ = writeln!(text, "  expected verdict: {expected}\n  got:              {} ({why})", got.verdict);
        for judged in &got.judgements {
            let _ = writeln!(
                text,
                "      {}: {} at {} {} ({} to {}), u {}",
                judged.name,
                judged.verdict,
                judged.value,
                judged.unit,
                judged.low.map_or_else(|| "-".to_owned(), |v| v.to_string()),
                judged.high.map_or_else(|| "-".to_owned(), |v| v.to_string()),
                judged.standard_uncertainty,
            );
        }
    }
    if let Some(danger) = case.danger.filter(|danger| *danger != got.danger) {
        let (expected, given) = if danger { ("a danger", "none") } else { ("no danger", "one") };
        let _ = writeln!(text, "  expected: {expected}\n  got:      {given}");
    }
    let mut part = |what: &str, wanted: &Option<String>, given: Option<&str>| {
        let Some(wanted) = wanted else { return };
        let given = given.unwrap_or("(none)");
        if !given.contains(wanted.as_str()) {
            let _ = writeln!(text, "  expected {what} with: {wanted}\n  got:                  {given}");
        }
    };
    part("reason", &case.reason, got.reason.as_deref());
    part("advice", &case.advice, got.advice.as_deref());
    for (name, word) in &case.judgements {
        let found =
            got.judgements.iter().find(|judged| judged.name == *name).map(|judged| judged.verdict.as_str());
        if found != Some(word.as_str()) {
            let found = found.unwrap_or("no such judgement");
            let _ = writeln!(text, "  expected {name}: {word}\n  got:      {found}");
        }
    }
    text.trim_end().to_owned()
}

fn line_of(text: &str, offset: usize) -> usize {
    text.as_bytes().iter().take(offset).filter(|byte| **byte == b'\n').count() + 1
}
