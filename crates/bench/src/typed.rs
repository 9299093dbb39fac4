//! One verdict from typed values, through the same round as everything else. Does not read a command line.

use std::collections::BTreeMap;

use anyhow::{Context as _, bail};
use judge::rule::{Header, RuleSet};
use quantity::{Accuracy, Instant, parse_typed};
use visit::act::{Act, Display, reads_open};
use visit::round::{Event, Output, Round, Settings, Stamped};
use visit::verdict::Verdict;

use crate::suggest::did_you_mean;

/// A check with typed values, all at once.
pub struct TypedCheck<'a> {
    /// The unit's tag; may be empty.
    pub unit: &'a str,
    /// The component; may be empty.
    pub component: &'a str,
    /// Id of the rule.
    pub rule: &'a str,
    /// Nameplate values by name.
    pub plate: BTreeMap<String, String>,
    /// Readings by point.
    pub readings: BTreeMap<String, String>,
    /// The meter's accuracy by point.
    pub accuracy: BTreeMap<String, String>,
    /// Which hold points count as shown.
    pub confirm: Confirm,
    /// Answers yes to every question.
    pub sure: bool,
}

/// Stands for every hold point of the rule.
const ALL: &str = "all";

/// Which hold points count as shown.
pub enum Confirm {
    /// These; `all` among them means every one.
    Named(Vec<String>),
    /// All but these.
    AllBut(Vec<String>),
}

/// Judges typed values: arms the check, confirms, types, and returns the verdict.
///
/// # Errors
/// If a value cannot be parsed or the rule lacks a name.
pub fn judge(set: &RuleSet, check: &TypedCheck<'_>, settings: Settings) -> anyhow::Result<Verdict> {
    let rule = set.find(check.rule).with_context(|| format!("there is no rule {:?}", check.rule))?;
    let header = rule.header();
    validate_names(header, check)?;
    let plan = site::plan(check.unit, check.component, check.rule, &check.plate, &BTreeMap::new())
        .map_err(anyhow::Error::msg)?;
    let mut round = Round::new(set.clone(), settings);
    let mut said = round.step(Event::Arm(Box::new(plan)), Instant::ZERO);
    for name in confirmations(header, &check.confirm)? {
        said.extend(round.step(Event::from(Act::Confirm { hold_point: name }), Instant::ZERO));
    }
    for point in &header.points {
        // A danger ends the check before every value is typed.
        if verdict_in(&said).is_some() {
            break;
        }
        let Some(text) = check.readings.get(&point.name) else { continue };
        if reads_open(text) {
            let out = round.step(
                Event::from(Act::Type { point: point.name.clone(), value: Display::Open, accuracy: None }),
                Instant::ZERO,
            );
            if let Some(why) = refusal(&out) {
                bail!("{why}");
            }
            said.extend(out);
            continue;
        }
        let value = parse_typed(text).with_context(|| format!("reading {}", point.name))?;
        let accuracy = check.accuracy.get(&point.name).map(|text| Accuracy::parse(text)).transpose();
        let accuracy = accuracy.with_context(|| format!("accuracy of {}", point.name))?;
        let out = round.step(
            Event::from(Act::Type { point: point.name.clone(), value: value.into(), accuracy }),
            Instant::ZERO,
        );
        if let Some(why) = refusal(&out) {
            bail!("{why}");
        }
        said.extend(out);
    }
    // Each question can come once only, so this ends.
    while let Some(Stamped { output: Output::Asked { number, .. }, .. }) = said.last().filter(|_| check.sure)
    {
        let answer = Event::from(Act::Answer { question: Some(*number), yes: true });
        said.extend(round.step(answer, Instant::ZERO));
    }
    if verdict_in(&said).is_none() {
        said.extend(round.step(Event::from(Act::Finish), Instant::ZERO));
    }
    verdict_in(&said).context("the check ended without a word; please report this")
}

fn verdict_in(said: &[Stamped]) -> Option<Verdict> {
    said.iter().rev().find_map(|stamped| match &stamped.output {
        Output::Verdict(verdict) => Some((**verdict).clone()),
        _ => None,
    })
}

fn refusal(said: &[Stamped]) -> Option<&str> {
    said.iter().find_map(|stamped| match &stamped.output {
        Output::Refused { why } => Some(why.as_str()),
        _ => None,
    })
}

/// Names that the rule does not have are errors, never ignored.
fn validate_names(header: &Header, check: &TypedCheck<'_>) -> anyhow::Result<()> {
    let points: Vec<&str> = header.points.iter().map(|point| point.name.as_str()).collect();
    let plate: Vec<&str> = header.nameplate.iter().map(|item| item.name.as_str()).collect();
    for (what, given, known) in [
        ("reading", &check.readings, &points),
        ("accuracy for a reading", &check.accuracy, &points),
        ("nameplate value", &check.plate, &plate),
    ] {
        if let Some(name) = given.keys().find(|name| !known.contains(&name.as_str())) {
            let near = did_you_mean(name, known);
            let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
            bail!("rule {} knows no {what} {name:?}{near}; it has: {known}", check.rule);
        }
    }
    Ok(())
}

fn confirmations(header: &Header, confirm: &Confirm) -> anyhow::Result<Vec<String>> {
    let listed = &header.hold_points;
    let (Confirm::Named(names) | Confirm::AllBut(names)) = confirm;
    let same = |a: &str, b: &str| a.to_lowercase() == b.to_lowercase();
    let named = matches!(confirm, Confirm::Named(_));
    let is_all = |name: &String| named && same(name, ALL);
    let is_listed = |name: &String| listed.iter().any(|listed| same(listed, name));
    if let Some(name) = names.iter().find(|name| !is_all(name) && !is_listed(name)) {
        let near = did_you_mean(name, &listed.iter().map(String::as_str).collect::<Vec<_>>());
        let known = if listed.is_empty() { "none".to_owned() } else { listed.join(", ") };
        bail!("{name:?} is no hold point of this rule{near}; it has: {known}");
    }
    if names.iter().any(is_all) {
        return Ok(listed.clone());
    }
    let is_meant = |listed: &String| names.iter().any(|name| same(name, listed)) == named;
    Ok(listed.iter().filter(|name| is_meant(name)).cloned().collect())
}
