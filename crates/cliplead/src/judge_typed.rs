//! `cliplead judge`: one verdict from the command line. Crate `bench` judges the typed values.

use std::collections::BTreeMap;

use anyhow::{Context as _, bail};
use bench::typed::{self, Confirm, TypedCheck};
use judge::limits::DecisionRule;
use record::{VerdictJson, text};
use visit::round::Settings;
use visit::verdict::Verdict;

use crate::cli::{Format, JudgeOptions};
use crate::output::{Exit, data, emphasise, talk};
use crate::rules;

/// Runs the command.
///
/// # Errors
/// When the rules, the rule's id or a value cannot be read.
pub(crate) fn run(options: &JudgeOptions) -> anyhow::Result<Exit> {
    let set = rules::load_or_say(options.rules.as_deref())?;
    rules::must_have(&set, &options.rule)?;
    let check = TypedCheck {
        unit: "",
        component: "",
        rule: &options.rule,
        plate: pairs(&options.plate, "--plate")?,
        readings: pairs(&options.reading, "--reading")?,
        accuracy: pairs(&options.accuracy, "--accuracy")?,
        confirm: confirmed(&options.confirm),
        sure: options.sure,
    };
    let decision = if options.simple { DecisionRule::Simple } else { DecisionRule::default() };
    let verdict = typed::judge(&set, &check, Settings { decision, ..Settings::default() })?;
    let json = VerdictJson::from(&verdict);
    match options.format {
        Format::Json => data(&json.line())?,
        Format::Text => {
            data(emphasise(&text::block(&json), verdict.word).trim_end())?;
            tell_open_hold_points(&verdict);
        }
    }
    Ok(Exit::of(verdict.word))
}

/// Shows what the mechanic must deal with: each open hold point, what to do, and its caution.
fn tell_open_hold_points(verdict: &Verdict) {
    for hold in verdict.hold_points.iter().filter(|hold| hold.evidence.is_none()) {
        let known = visit::hold::of(&hold.name);
        talk(&format!("{}: {}\n    CAUTION {}", record::plain(&hold.name), known.ask, known.caution));
    }
}

/// The names of `--confirm`, split at commas.
fn confirmed(given: &[String]) -> Confirm {
    let names = given
        .iter()
        .flat_map(|list| list.split(','))
        .map(|name| name.trim().to_owned())
        .filter(|n| !n.is_empty())
        .collect();
    Confirm::Named(names)
}

fn pairs(given: &[String], option: &str) -> anyhow::Result<BTreeMap<String, String>> {
    let mut pairs = BTreeMap::new();
    for text in given {
        let (name, value) = text
            .split_once('=')
            .with_context(|| format!("{option} {text:?}: write NAME=VALUE, for example capacitance=40uF"))?;
        if pairs.insert(name.trim().to_owned(), value.trim().to_owned()).is_some() {
            bail!("{option} {name} stands twice");
        }
    }
    Ok(pairs)
}
