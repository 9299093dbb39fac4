//! The verdict as text for people: one line, or a short block. No colour codes; the caller may add them. Words of others
//! (names, advice, messages) stand in it as plain text: they cannot act on a terminal nor begin a line.

use std::fmt::Write;

use judge::rule::source_with_class;

use crate::verdict::{JudgementJson, VerdictJson};
use crate::{plain, plain_lines};

/// What stands under a line of the block, belonging to it.
const UNDER: &str = "            ";

/// One line: time, check, unit and component, rule, word, the deciding figure, advice or reason. The same verdict gives
/// the same bytes.
#[must_use]
pub fn line(verdict: &VerdictJson) -> String {
    let mut text = format!("{:>9.3} s  #{:<2} ", verdict.at_s, verdict.check);
    let what = [verdict.unit.as_str(), verdict.component.as_str()];
    let what: Vec<&str> = what.into_iter().filter(|part| !part.is_empty()).collect();
    if !what.is_empty() {
        let _ = write!(text, "{}  ", plain(&what.join(" / ")));
    }
    let _ = write!(text, "{}: {}", plain(&verdict.title), verdict.verdict.to_uppercase());
    if let Some(worst) = deciding(verdict) {
        let _ = write!(text, "  {}", figure(worst));
    }
    if let Some(said) = verdict.reason.as_deref().or(verdict.advice.as_deref()) {
        let _ = write!(text, "  -- {}", plain(&said.replace('\n', " ")));
    }
    text
}

/// A block: the word, why, each judgement with its limits and source, the readings, the hold points.
#[must_use]
pub fn block(verdict: &VerdictJson) -> String {
    let mut text = format!("{}: {}\n", plain(&verdict.title), verdict.verdict.to_uppercase());
    if let Some(reason) = &verdict.reason {
        let _ = writeln!(text, "  because   {}", plain_lines(reason, UNDER));
    }
    for judged in &verdict.judgements {
        let _ = writeln!(text, "  {:<9} {}: {}", judged.verdict, figure(judged), probability(judged));
        if let Some(advice) = &judged.advice {
            let _ = writeln!(text, "{UNDER}{}", plain_lines(advice, UNDER));
        }
        let source = source_with_class(&judged.source, &judged.source_class);
        let _ = writeln!(text, "{UNDER}limits: {}", plain(&source));
    }
    for reading in &verdict.readings {
        let _ = writeln!(
            text,
            "  reading   {}: {}{} (u = {} {}, {}, {} reading{})",
            plain(&reading.label),
            plain(&reading.shown),
            if reading.shown == "OL" { String::new() } else { format!(" {}", plain(&reading.unit)) },
            short(reading.standard_uncertainty),
            plain(&reading.unit),
            plain(&reading.device),
            reading.count,
            if reading.count == 1 { "" } else { "s" },
        );
    }
    for hold in &verdict.hold_points {
        let how = hold.how.as_deref().unwrap_or("NOT SHOWN");
        let _ = writeln!(text, "  {:<9} {}: {}", "hold", plain(&hold.name), plain(how));
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

fn deciding(verdict: &VerdictJson) -> Option<&JudgementJson> {
    let rank = |judged: &&JudgementJson| judge::limits::Word::parse(&judged.verdict);
    let worst = verdict.judgements.iter().map(|judged| rank(&judged)).max()?;
    verdict.judgements.iter().find(|judged| rank(judged) == worst)
}

fn figure(judged: &JudgementJson) -> String {
    let unit = plain(&judged.unit);
    let limits = match (judged.low, judged.high) {
        (Some(low), Some(high)) => format!("{} to {} {unit}", short(low), short(high)),
        (Some(low), None) => format!("at least {} {unit}", short(low)),
        (None, Some(high)) => format!("at most {} {unit}", short(high)),
        (None, None) => "no limits".to_owned(),
    };
    let u = judged.expanded_uncertainty;
    let plus_minus = if u > 0.0 { format!(" +-{}", short(u)) } else { String::new() };
    format!("{} {}{plus_minus} {unit} ({limits})", plain(&judged.name), short(judged.value))
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

/// Four significant digits, without an exponent for everyday sizes.
#[must_use]
pub fn short(value: f64) -> String {
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    format!("{rounded}")
}

fn hash(hash: &str) -> &str {
    hash.get(..12).unwrap_or(hash)
}

#[cfg(test)]
mod figures;
#[cfg(test)]
mod tests;
