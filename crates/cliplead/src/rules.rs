//! Rules from a folder or from the binary, loaded as one set. Does not compile them; `script` does.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::Instant;

use anyhow::{Context as _, bail};
use judge::rule::RuleSet;
use script::{Diagnostic, Limits, Loaded, RuleSetLoader};

use crate::output::talk;
use crate::{published, shipped};

/// Files of one rule set: path for messages, text.
pub(crate) type Texts = Vec<(String, String)>;

/// The shipped rules, or those of a folder and its sub-folders.
///
/// # Errors
/// When the folder or a file cannot be read; the message names it.
pub(crate) fn texts(folder: Option<&Path>) -> anyhow::Result<Texts> {
    match folder {
        None => {
            Ok(shipped::RULES.iter().map(|(path, text)| ((*path).to_owned(), (*text).to_owned())).collect())
        }
        Some(folder) => files(folder, ".rhai")?
            .into_iter()
            .map(|path| {
                let text =
                    std::fs::read_to_string(&path).with_context(|| format!("rule {}", path.display()))?;
                Ok((path.to_string_lossy().into_owned(), text))
            })
            .collect(),
    }
}

/// All files below a folder whose name ends so, sorted by path.
///
/// # Errors
/// When a folder cannot be read.
pub(crate) fn files(folder: &Path, ending: &str) -> anyhow::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    collect(folder, ending, 0, &mut found)?;
    found.sort();
    Ok(found)
}

/// Definitions for editors stand beside rules and are none.
const DEFINITIONS: &str = ".d.rhai";
/// Sub-folders deeper than this are not followed, so that a link in a circle ends.
const DEPTH_MAX: usize = 8;

fn collect(folder: &Path, ending: &str, depth: usize, found: &mut Vec<PathBuf>) -> anyhow::Result<()> {
    if depth > DEPTH_MAX {
        bail!("{} lies deeper than {DEPTH_MAX} folders; is there a link in a circle?", folder.display());
    }
    let entries = std::fs::read_dir(folder)
        .with_context(|| format!("{} cannot be read; name a folder of rules", folder.display()))?;
    for entry in entries {
        let path = entry.with_context(|| format!("{} cannot be read", folder.display()))?.path();
        if path.is_dir() {
            collect(&path, ending, depth + 1, found)?;
        } else if path.to_string_lossy().ends_with(ending) && !path.to_string_lossy().ends_with(DEFINITIONS) {
            found.push(path);
        }
    }
    Ok(())
}

/// Compiles a set; a bad file refuses the whole set.
///
/// # Errors
/// All problems of all files.
pub(crate) fn load(texts: &Texts) -> Result<Loaded, Vec<Diagnostic>> {
    let limits = Limits { now_us: Some(monotone_us), ..Limits::default() };
    let mut loaded =
        RuleSetLoader::new(limits).load(texts.iter().map(|(path, text)| (path.as_str(), text.as_str())))?;
    loaded.warnings.extend(published::changed(&loaded.set, texts));
    Ok(loaded)
}

/// Loads a set for a command: problems go to stderr, an unusable set ends the command.
///
/// # Errors
/// When the set is refused; its problems have been told.
pub(crate) fn load_or_say(folder: Option<&Path>) -> anyhow::Result<RuleSet> {
    match load(&texts(folder)?) {
        Ok(loaded) => {
            for warning in &loaded.warnings {
                tracing::warn!("{warning}");
            }
            Ok(loaded.set)
        }
        Err(problems) => {
            for problem in &problems {
                talk(&record::plain_lines(&problem.to_string(), ""));
            }
            bail!(
                "the rules were refused: {} problem{}",
                problems.len(),
                if problems.len() == 1 { "" } else { "s" }
            )
        }
    }
}

/// The rule with this id, or a sentence with the nearest ones.
///
/// # Errors
/// When there is none.
pub(crate) fn must_have(set: &RuleSet, id: &str) -> anyhow::Result<()> {
    if set.find(id).is_some() {
        return Ok(());
    }
    let known: Vec<&str> = set.iter().map(|rule| rule.id()).collect();
    bail!("there is no rule {id:?}{}; there are: {}", did_you_mean(id, &known), known.join(", "))
}

/// "; did you mean ...?" when a known name is near, else nothing.
pub(crate) fn did_you_mean(given: &str, known: &[&str]) -> String {
    let allowed = 1 + given.chars().count() / 4;
    let near = known.iter().map(|name| (quantity::edit_distance(given, name), name)).min();
    near.filter(|(distance, _)| *distance <= allowed)
        .map_or_else(String::new, |(_, name)| format!("; did you mean {name:?}?"))
}

/// The clock lent to the rules' deadline.
fn monotone_us() -> i64 {
    static START: OnceLock<Instant> = OnceLock::new();
    i64::try_from(START.get_or_init(Instant::now).elapsed().as_micros()).unwrap_or(i64::MAX)
}
