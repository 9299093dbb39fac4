//! `cliplead rules list|check|test`: needs no device and no network.

use std::path::{Path, PathBuf};

use anyhow::bail;
use bench::cases::{self, Tally};
use judge::limits::Word;
use judge::rule::{PlateDefault, Rule, RuleSet};
use record::{plain, plain_lines};

use crate::cli::{Format, RulesCommand, RulesFolder, RulesOptions};
use crate::output::{Exit, data, talk};
use crate::{files, rules};

/// Runs the command.
///
/// # Errors
/// When a folder cannot be read.
pub(crate) fn run(options: &RulesOptions) -> anyhow::Result<Exit> {
    match &options.command {
        RulesCommand::List(folder) => list(folder),
        RulesCommand::Check(folder) => check(folder),
        RulesCommand::Test(folder) => test(folder),
    }
}

fn list(folder: &RulesFolder) -> anyhow::Result<Exit> {
    let set = rules::load_or_say(folder.dir.as_deref())?;
    for rule in set.iter() {
        let header = rule.header();
        match folder.format {
            Format::Json => data(&as_json(&**rule))?,
            Format::Text => {
                data(&format!("{:<24} {}  {}", rule.id(), plain(&header.title), plain(&header.about)))?;
                data(&format!("{:24}   nameplate  {}", "", plain(&or_none(plate_words(&**rule)))))?;
                let reads: Vec<String> =
                    header.points.iter().map(|p| format!("{} ({})", p.name, unit(p))).collect();
                data(&format!("{:24}   reads      {}", "", plain(&or_none(reads))))?;
                data(&format!("{:24}   hold       {}", "", plain(&or_none(header.hold_points.clone()))))?;
            }
        }
    }
    Ok(Exit::Fine)
}

fn unit(point: &judge::rule::Point) -> String {
    point.display.to_string()
}

fn plate_words(rule: &dyn Rule) -> Vec<String> {
    let item = |item: &judge::rule::PlateItem| {
        let unit = item.wants();
        match &item.default {
            PlateDefault::Required => format!("{} ({unit})", item.name),
            PlateDefault::Value(value, _) => {
                let default = item.word(*value).map_or_else(|| value.to_string(), str::to_owned);
                format!("{} ({unit}, else {default})", item.name)
            }
            PlateDefault::SameAs(other, _) => format!("{} ({unit}, else as {other})", item.name),
        }
    };
    rule.header().nameplate.iter().map(item).collect()
}

fn or_none(words: Vec<String>) -> String {
    if words.is_empty() { "none".to_owned() } else { words.join(", ") }
}

fn as_json(rule: &dyn Rule) -> String {
    #[derive(serde::Serialize)]
    struct RuleJson<'a> {
        rule: &'a str,
        rule_hash: &'a str,
        title: &'a str,
        about: &'a str,
        nameplate: Vec<String>,
        reads: Vec<String>,
        hold_points: &'a [String],
        cautions: &'a [String],
    }
    let header = rule.header();
    let json = RuleJson {
        rule: rule.id(),
        rule_hash: rule.hash(),
        title: &header.title,
        about: &header.about,
        nameplate: header.nameplate.iter().map(|item| item.name.clone()).collect(),
        reads: header.points.iter().map(|point| point.name.clone()).collect(),
        hold_points: &header.hold_points,
        cautions: &header.cautions,
    };
    record::to_line(&json)
}

fn check(folder: &RulesFolder) -> anyhow::Result<Exit> {
    let texts = rules::texts(folder.dir.as_deref())?;
    let (problems, count) = match rules::load(&texts) {
        Ok(loaded) => (loaded.warnings, Some((loaded.set.iter().count(), loaded.set.hash().to_owned()))),
        Err(problems) => (problems, None),
    };
    for problem in &problems {
        match folder.format {
            Format::Text => data(&plain_lines(&problem.to_string(), ""))?,
            Format::Json => {
                let found = &problem.found;
                data(&record::to_line(&ProblemJson {
                    severity: match problem.severity {
                        script::Severity::Error => "error",
                        script::Severity::Warning => "warning",
                    },
                    file: &found.file,
                    line: found.line,
                    column: found.column,
                    message: &found.message,
                }))?;
            }
        }
    }
    match count {
        Some((count, hash)) => {
            talk(&format!("{count} rules in order, set {}", hash.get(..12).unwrap_or(&hash)));
            Ok(Exit::Fine)
        }
        None => {
            talk("the set is refused; nothing of it comes into force");
            Ok(Exit::Found)
        }
    }
}

#[derive(serde::Serialize)]
struct ProblemJson<'a> {
    severity: &'a str,
    file: &'a str,
    line: usize,
    column: usize,
    message: &'a str,
}

fn test(folder: &RulesFolder) -> anyhow::Result<Exit> {
    let dir = folder.dir.clone().unwrap_or_else(|| PathBuf::from("rules"));
    let set = rules::load_or_say(Some(&dir))?;
    let mut total = Tally::default();
    let mut seen: Vec<String> = Vec::new();
    for (path, meant) in rules::near(&dir, ".cases.toml")? {
        talk(&format!("{} is not read: rename it to {meant}", path.display()));
    }
    for path in rules::files(&dir, ".cases.toml")? {
        let name = path.to_string_lossy().into_owned();
        let id = stem(&path);
        if set.find(&id).is_none() {
            total.failures.push(format!("{name}:1: there is no rule {id:?} for these cases"));
            continue;
        }
        seen.push(id.clone());
        let text = match files::read_text(&path, files::SETTINGS_BYTES_MAX) {
            Ok(text) => text,
            Err(error) => {
                total.failures.push(format!("{name}:{}: {}", error.line().max(1), error.why()));
                continue;
            }
        };
        match cases::run(&name, &text, &id, &set) {
            Ok(tally) => {
                total.failures.extend(missing_words(&name, &tally));
                total.passed += tally.passed;
                total.failures.extend(tally.failures);
            }
            Err(failure) => total.failures.push(failure),
        }
    }
    total.failures.extend(without_cases(&set, &seen));
    for failure in &total.failures {
        data(&plain_lines(failure, ""))?;
    }
    if total.passed == 0 && total.failures.is_empty() {
        bail!("no cases in {}; write NAME.cases.toml beside NAME.rhai", dir.display());
    }
    data(&format!("{} passed, {} failed", total.passed, total.failures.len()))?;
    Ok(if total.failures.is_empty() { Exit::Fine } else { Exit::Found })
}

/// `run-capacitor.cases.toml` holds the cases of `run-capacitor`.
fn stem(path: &Path) -> String {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    name.trim_end_matches(".cases.toml").to_owned()
}

/// Every rule needs a case that passes, one that does not, and one without a verdict.
fn missing_words(path: &str, tally: &Tally) -> Vec<String> {
    let has = |words: &[Word]| tally.words.iter().any(|word| words.contains(word));
    let mut missing = Vec::new();
    if !has(&[Word::Pass]) {
        missing.push("pass");
    }
    if !has(&[Word::Fail]) {
        missing.push("fail");
    }
    if !has(&[Word::NoVerdict]) {
        missing.push("no verdict");
    }
    if missing.is_empty() || !tally.failures.is_empty() {
        return Vec::new();
    }
    vec![format!("{path}:1: no case expects: {}", missing.join(", "))]
}

fn without_cases(set: &RuleSet, seen: &[String]) -> Vec<String> {
    set.iter()
        .filter(|rule| !seen.iter().any(|id| id == rule.id()))
        .map(|rule| format!("rule {:?} has no cases; write {}.cases.toml beside it", rule.id(), rule.id()))
        .collect()
}
