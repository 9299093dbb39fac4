//! The verdict as text for people: one line, or a short block. No colour codes; the caller may add them. Text from
//! outside (names, advice, messages) is made plain first: it can neither control a terminal nor start a line.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;
use core::fmt::Write;

use judge::rule::source_with_class;

use crate::verdict::{EvidenceJson, JudgementJson, ReadingJson, VerdictJson};
use crate::{early, plain, plain_lines};

pub use follow_up::{amendment, completed, follow_up};
pub(crate) use follow_up::{value, worked_out};
pub use second_look::second_look;

/// Begins every line about a danger.
pub const DANGER: &str = "DANGER";

/// Indents what belongs to the line above.
const UNDER: &str = "            ";

/// One line: time, check, unit and component, rule, word, the deciding figure, advice or reason. A danger begins with its word.
/// The same verdict gives the same bytes.
#[must_use]
pub fn line(verdict: &VerdictJson) -> String {
    let mut text = danger(verdict);
    text.push_str(&head(verdict.at_s, verdict.check, [&verdict.unit, &verdict.component]));
    let _ = write!(text, "{}{}: {}", plain(&verdict.title), left(verdict), verdict.verdict.to_uppercase());
    if let Some(worst) = deciding(verdict) {
        let _ = write!(text, "  {}", figure(verdict, worst));
    }
    if let Some(said) = verdict.reason.as_deref().or(verdict.advice.as_deref()) {
        let _ = write!(text, "  -- {}", plain(&said.replace('\n', " ")));
    }
    for look in &verdict.second_looks {
        let _ = write!(text, "; second look: {}", second_look(look));
    }
    text
}

/// A block: the word, the reason, each judgement with its limits and source, the readings, the hold points.
#[must_use]
pub fn block(verdict: &VerdictJson) -> String {
    let mut text = danger(verdict);
    let _ = writeln!(text, "{}{}: {}", plain(&verdict.title), left(verdict), verdict.verdict.to_uppercase());
    if let Some(reason) = &verdict.reason {
        let _ = writeln!(text, "  because   {}", plain_lines(reason, UNDER));
    }
    for judged in &verdict.judgements {
        let _ =
            writeln!(text, "  {:<9} {}: {}", judged.verdict, figure(verdict, judged), probability(judged));
        if let Some(advice) = &judged.advice {
            let _ = writeln!(text, "{UNDER}{}", plain_lines(advice, UNDER));
        }
        let source = source_with_class(&judged.source, &judged.source_class);
        let _ = writeln!(text, "{UNDER}limits: {}", plain(&source));
    }
    for reading in &verdict.readings {
        let _ = writeln!(text, "  reading   {}", read(reading));
    }
    for look in &verdict.second_looks {
        let _ = writeln!(text, "  second    {}", second_look(look));
    }
    for hold in &verdict.hold_points {
        let how = hold.how.as_deref().unwrap_or("NOT SHOWN");
        let told = |evidence: &&EvidenceJson| !matches!(evidence.scope.as_str(), "" | "leads");
        let covers = verdict.evidence.iter().find(|evidence| evidence.what == hold.name).filter(told);
        let covers = covers.map_or_else(String::new, |evidence| match &evidence.by {
            Some(by) => format!(" ({}; {})", plain(&evidence.scope), plain(by)),
            None => format!(" ({})", plain(&evidence.scope)),
        });
        let _ = writeln!(text, "  {:<9} {}: {}{covers}", "hold", plain(&hold.name), plain(how));
    }
    for note in &verdict.notes {
        let _ = writeln!(text, "  note      {}", plain_lines(note, UNDER));
    }
    let _ = writeln!(
        text,
        "  decided   {}; rule {} {}",
        plain(&verdict.decision_rule),
        plain(&verdict.rule),
        plain(hash(&verdict.rule_hash))
    );
    text
}

/// The same line, for a verdict that is not stored; a danger still comes first.
#[must_use]
pub fn unsaved(line: &str) -> String {
    match line.strip_prefix(DANGER) {
        Some(rest) => format!("{DANGER}  UNSAVED{rest}"),
        None => format!("UNSAVED  {line}"),
    }
}

/// What a title says of readings after work was done.
fn left(verdict: &VerdictJson) -> &'static str {
    if verdict.as_left { ", as left" } else { "" }
}

fn danger(verdict: &VerdictJson) -> String {
    if verdict.danger { format!("{DANGER}  ") } else { String::new() }
}

fn deciding(verdict: &VerdictJson) -> Option<&JudgementJson> {
    let rank = |judged: &&JudgementJson| judge::limits::Word::parse(&judged.verdict);
    let worst = verdict.judgements.iter().map(|judged| rank(&judged)).max()?;
    verdict.judgements.iter().find(|judged| rank(judged) == worst)
}

/// The start of a line: time, check, unit and component.
fn head(at_s: f64, check: u32, what: [&String; 2]) -> String {
    let mut text = format!("{at_s:>9.3} s  #{check:<2} ");
    let what: Vec<&str> = what.into_iter().map(String::as_str).filter(|part| !part.is_empty()).collect();
    if !what.is_empty() {
        let _ = write!(text, "{}  ", plain(&what.join(" / ")));
    }
    text
}

/// A reading of the block: its digits, or the interval if it was not at rest.
fn read(reading: &ReadingJson) -> String {
    let (label, unit) = (plain(&reading.label), plain(&reading.unit));
    let (device, count) = (plain(&reading.device), reading.count);
    let readings = if count == 1 { "reading" } else { "readings" };
    if let Some(early) = early::words(reading) {
        return format!("{label}: {early} ({device}, {count} {readings})");
    }
    let shown = plain(&reading.shown);
    let behind = if reading.shown == "OL" { String::new() } else { format!(" {unit}") };
    let u = short(reading.standard_uncertainty);
    let drifts = drifts(reading, "it").map_or_else(String::new, |drifts| format!(", {drifts}"));
    format!("{label}: {shown}{behind} (u = {u} {unit}, {device}, {count} {readings}){drifts}")
}

/// The subject of a judgement, with its limits. It has a value only if everything it rests on was at rest; otherwise
/// the interval of the early reading appears instead.
pub(crate) fn figure(verdict: &VerdictJson, judged: &JudgementJson) -> String {
    let (name, unit) = (plain(&judged.name), plain(&judged.unit));
    let limits = match (judged.low, judged.high) {
        (Some(low), Some(high)) => format!("{} to {} {unit}", short(low), short(high)),
        (Some(low), None) => format!("at least {} {unit}", short(low)),
        (None, Some(high)) => format!("at most {} {unit}", short(high)),
        (None, None) => "no limits".to_owned(),
    };
    if let Some(reading) = early::subject(verdict, judged) {
        return format!("{name} {} ({limits})", early::judged(reading, judged));
    }
    let rests_on: Vec<String> = early::early(verdict)
        .filter_map(|reading| Some(format!("{} {}", plain(&reading.label), early::words(reading)?)))
        .collect();
    if !rests_on.is_empty() {
        return format!("{name} ({limits}): {}", rests_on.join("; "));
    }
    let u = judged.expanded_uncertainty;
    let plus_minus = if u > 0.0 { format!(" +-{}", short(u)) } else { String::new() };
    let drifting: String = drifting(verdict, judged).map(|drifts| format!(", {drifts}")).collect();
    // What is a millionth of its uncertainty is nothing but rounding in the machine.
    let value = if judged.value.abs() < 1e-6 * u { 0.0 } else { judged.value };
    format!("{name} {}{plus_minus} {unit} ({limits}){drifting}", short(value))
}

/// What was drifting while it was read, of all that a judgement rests on.
fn drifting<'a>(verdict: &'a VerdictJson, judged: &'a JudgementJson) -> impl Iterator<Item = String> + 'a {
    let about = move |reading: &&ReadingJson| early::is_about(judged, reading);
    let one = verdict.readings.iter().find(about);
    let others = verdict.readings.iter().filter(move |_| one.is_none());
    let of_one = one.and_then(|reading| drifts(reading, "it"));
    of_one.into_iter().chain(others.filter_map(|reading| drifts(reading, &plain(&reading.label))))
}

/// `while it drifts -1.2 °F a minute (pull-down)`; `None` for a reading at rest.
pub(crate) fn drifts(reading: &ReadingJson, what: &str) -> Option<String> {
    let drift = reading.drift.as_ref()?;
    let rate = format!("{:.1e}", drift.per_minute).parse().unwrap_or(drift.per_minute);
    let (unit, name) = (plain(&reading.unit), plain(&drift.name));
    Some(format!("while {what} drifts {rate:+} {unit} a minute ({name})"))
}

fn probability(judged: &JudgementJson) -> String {
    let p = judged.probability_of_conformance;
    if p > 0.9999 {
        "conforms with more than 99.99 %".to_owned()
    } else if p < 0.0001 {
        "conforms with less than 0.01 %".to_owned()
    } else {
        format!("conforms with {} %", short(100.0 * p))
    }
}

/// Four significant digits, without an exponent for everyday magnitudes.
#[must_use]
pub fn short(value: f64) -> String {
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    format!("{rounded}")
}

fn hash(hash: &str) -> &str {
    hash.get(..12).unwrap_or(hash)
}

mod follow_up;
mod second_look;

#[cfg(test)]
mod figures;
#[cfg(test)]
mod tests;
