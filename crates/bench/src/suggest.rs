//! Suggests known names for unknown ones. Corrects nothing.

use anyhow::bail;
use judge::rule::RuleSet;

/// The rule with this id, or an error that suggests the nearest ones.
///
/// # Errors
/// If there is none.
pub fn must_have(set: &RuleSet, id: &str) -> anyhow::Result<()> {
    if set.find(id).is_some() {
        return Ok(());
    }
    let known: Vec<&str> = set.iter().map(|rule| rule.id()).collect();
    bail!("there is no rule {id:?}{}; there are: {}", did_you_mean(id, &known), known.join(", "))
}

/// "; did you mean ...?" if a known name is near, otherwise empty.
#[must_use]
pub fn did_you_mean(given: &str, known: &[&str]) -> String {
    let allowed = 1 + given.chars().count() / 4;
    let near = known.iter().map(|name| (quantity::edit_distance(given, name), name)).min();
    near.filter(|(distance, _)| *distance <= allowed)
        .map_or_else(String::new, |(_, name)| format!("; did you mean {name:?}?"))
}
