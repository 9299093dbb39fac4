//! Published limits that a shop has changed, and dangers that it has left out: reported, never refused. Compares a rule set with the
//! built-in one.
//! Limits from common practice are the shop's to tune and are not reported.

use judge::rule::{Beyond, Danger, Header, NamedLimit, RuleError, RuleSet, SourceClass};
use script::{Diagnostic, RuleSetLoader, Severity};

/// A warning for each changed limit. `built_in`: path and text of the rules built into the program.
#[must_use]
pub fn changed(set: &RuleSet, texts: &[(String, String)], built_in: &[(&str, &str)]) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    let built_in = built_in_but_for(texts, built_in);
    for rule in set.iter() {
        let Some(original) = built_in.find(rule.id()) else { continue };
        let file = texts.iter().find(|(path, _)| stem(path) == rule.id());
        for published in original.header().limits.iter().filter(|limit| is_published(limit)) {
            let here = rule.header().limits.iter().find(|limit| limit.name == published.name);
            let Some(message) = difference(published, here) else { continue };
            let line = here.map_or(1, |limit| limit.line);
            found.push(warning(rule.id(), file, line, message));
        }
        for gone in dangers_gone(original.header(), rule.header()) {
            found.push(warning(rule.id(), file, 1, gone));
        }
    }
    found
}

fn warning(id: &str, file: Option<&(String, String)>, line: usize, message: String) -> Diagnostic {
    let source_line = file.and_then(|(_, text)| text.lines().nth(line.saturating_sub(1)));
    Diagnostic {
        severity: Severity::Warning,
        found: RuleError {
            message,
            file: file.map_or_else(|| id.to_owned(), |(path, _)| path.clone()),
            line,
            column: 1,
            source_line: source_line.unwrap_or_default().to_owned(),
        },
    }
}

/// Dangers of the built-in rule that this one does not name.
fn dangers_gone<'a>(built_in: &'a Header, here: &'a Header) -> impl Iterator<Item = String> + 'a {
    let of = |header: &'a Header, danger: &Danger| header.points.get(danger.point).map(|point| &point.name);
    let is_gone = move |danger: &&Danger| {
        let same = |other: &Danger| other.beyond == danger.beyond && of(here, other) == of(built_in, danger);
        !here.dangers.iter().any(same)
    };
    built_in.dangers.iter().filter(is_gone).map(move |danger| {
        let side = if danger.beyond == Beyond::Above { "above" } else { "below" };
        let name = of(built_in, danger).map_or("", String::as_str);
        format!(
            "the built-in danger({name:?}, {side:?}, ...) is gone: a reading past {} waits for hold points",
            danger.at
        )
    })
}

/// Standards, and published figures quoted from memory.
fn is_published(limit: &NamedLimit) -> bool {
    matches!(limit.source.class, SourceClass::Standard | SourceClass::Memory)
}

fn difference(published: &NamedLimit, here: Option<&NamedLimit>) -> Option<String> {
    let shown = format!("{} {} ({})", published.value, published.unit, published.source);
    let Some(here) = here else {
        return Some(format!("the published limit {:?} is gone; it was {shown}", published.name));
    };
    let same_unit = here.unit.convert(here.value, published.unit).ok();
    let same = same_unit.is_some_and(|value| (value - published.value).abs() <= 1e-9 * published.value.abs());
    let own = SourceClass::OwnRecords;
    let hint = if here.source.class == own {
        String::new()
    } else {
        format!("; if this is your own, begin its source with \"{}:\"", own.text())
    };
    (!same).then(|| {
        format!(
            "limit {:?} is {} {} here, the published figure is {shown}{hint}",
            published.name, here.value, here.unit
        )
    })
}

fn stem(path: &str) -> &str {
    let name = path.rsplit(['/', '\\']).next().unwrap_or(path);
    name.strip_suffix(".rhai").unwrap_or(name)
}

/// The built-in rules that these texts change; none if they are the built-in ones. An empty set if they do not load,
/// which `rules check` would have reported.
fn built_in_but_for(texts: &[(String, String)], built_in: &[(&str, &str)]) -> RuleSet {
    let is_changed = |(path, original): &&(&str, &str)| {
        texts.iter().any(|(own, text)| stem(own) == stem(path) && text != original)
    };
    let changed: Vec<(&str, &str)> = built_in.iter().filter(is_changed).copied().collect();
    if changed.is_empty() {
        return RuleSet::default();
    }
    RuleSetLoader::default().load(changed).map_or_else(|_| RuleSet::default(), |loaded| loaded.set)
}
