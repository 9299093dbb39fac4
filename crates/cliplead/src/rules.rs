//! The rules that a command uses: those of a folder, or the built-in ones. Crate `bench` knows rule folders.

use std::path::Path;

use anyhow::bail;
use bench::folder::{self, UnreadableFile};
pub(crate) use bench::folder::{Texts, files, near};
pub(crate) use bench::must_have;
use judge::rule::RuleSet;
use script::{Diagnostic, Limits, LoadedRules};

use crate::output::talk;
use crate::{files as disk, shipped, sys};

/// The shipped rules, or those of a folder and its sub-folders. A file that cannot be read is a problem of the set,
/// reported by [`load`] beside those of the others.
///
/// # Errors
/// When a folder cannot be read; the message names it.
pub(crate) fn texts(folder: Option<&Path>) -> anyhow::Result<Texts> {
    let read = |path: &Path| {
        disk::read_text(path, disk::RULE_BYTES_MAX)
            .map_err(|error| UnreadableFile { line: error.line(), why: error.why() })
    };
    folder.map_or_else(|| Ok(folder::built_in(shipped::RULES)), |folder| folder::texts(folder, read))
}

/// Compiles a set; a bad file refuses the whole set.
///
/// # Errors
/// All problems of all files.
pub(crate) fn load(texts: &Texts) -> Result<LoadedRules, Vec<Diagnostic>> {
    load_after(texts, &RuleSet::default())
}

/// Compiles a set that takes the place of another; rules of that one whose file is the same are taken over as they are.
///
/// # Errors
/// All problems of all files.
pub(crate) fn load_after(texts: &Texts, before: &RuleSet) -> Result<LoadedRules, Vec<Diagnostic>> {
    let limits = Limits { now_us: Some(sys::computed_us), ..Limits::default() };
    folder::load_after(texts, before, limits, shipped::RULES)
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
