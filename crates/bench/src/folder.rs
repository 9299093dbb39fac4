//! Loads rules from a folder, or the built-in ones, as one set. Does not compile them (`script` does), open files or
//! read a clock: the caller passes both in.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use judge::rule::{RuleError, RuleSet};
use script::{Diagnostic, Limits, LoadedRules, RuleSetLoader, Severity};

use crate::published;

/// The files of one rule set as read.
#[derive(Debug, Default)]
pub struct Texts {
    /// Path (for messages) and text of every file that could be read.
    pub files: Vec<(String, String)>,
    /// Files that could not be read, which invalidate the set, and names that are almost those of rules.
    found: Vec<Diagnostic>,
    /// The folder; empty for the built-in rules.
    folder: String,
}

impl Texts {
    /// Files that were read earlier.
    #[must_use]
    pub fn of(files: Vec<(String, String)>) -> Self {
        Self { files, ..Self::default() }
    }

    /// Whether every file could be read.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.found.iter().all(|problem| problem.severity != Severity::Error)
    }
}

/// The ending of a rule's file.
const ENDING: &str = ".rhai";

/// A file that could not be read as text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnreadableFile {
    /// The line at fault, from 1; 0 if none is.
    pub line: usize,
    /// What is wrong, without the file's name.
    pub why: String,
}

/// The rules built into the program: path and text of each.
#[must_use]
pub fn built_in(rules: &[(&str, &str)]) -> Texts {
    Texts::of(rules.iter().map(|(path, text)| ((*path).to_owned(), (*text).to_owned())).collect())
}

/// The rules of a folder and its subfolders. `read` returns the text of a file; if it fails, that is a problem of the
/// set, which [`load_after`] reports with all others.
///
/// # Errors
/// If a folder cannot be read; the message names it.
pub fn texts(folder: &Path, read: impl Fn(&Path) -> Result<String, UnreadableFile>) -> anyhow::Result<Texts> {
    let mut texts = Texts { folder: folder.display().to_string(), ..Texts::default() };
    let listing = list(folder, ENDING)?;
    for path in listing.files {
        match read(&path) {
            Ok(text) => texts.files.push((path.to_string_lossy().into_owned(), text)),
            Err(UnreadableFile { line, why }) => texts.found.push(finding(Severity::Error, &path, line, why)),
        }
    }
    for (path, name) in listing.near {
        texts.found.push(finding(Severity::Warning, &path, 0, format!("is not read: rename it to {name}")));
    }
    Ok(texts)
}

fn finding(severity: Severity, file: &Path, line: usize, message: String) -> Diagnostic {
    let file = file.to_string_lossy().into_owned();
    Diagnostic { severity, found: RuleError { message, file, line, column: 0, source_line: String::new() } }
}

/// All files below a folder with this ending, sorted by path. Skips names that begin with a dot: editor locks, other
/// systems' side files, version-control folders.
///
/// # Errors
/// If a folder cannot be read.
pub fn files(folder: &Path, ending: &str) -> anyhow::Result<Vec<PathBuf>> {
    Ok(list(folder, ending)?.files)
}

/// Files below a folder that are not read only because of their name, with the name they should have.
///
/// # Errors
/// If a folder cannot be read.
pub fn near(folder: &Path, ending: &str) -> anyhow::Result<Vec<(PathBuf, String)>> {
    Ok(list(folder, ending)?.near)
}

/// The files below a folder.
#[derive(Default)]
struct Listing {
    files: Vec<PathBuf>,
    near: Vec<(PathBuf, String)>,
}

fn list(folder: &Path, ending: &str) -> anyhow::Result<Listing> {
    let mut found = Listing::default();
    collect(folder, ending, 0, &mut found)?;
    found.files.sort();
    found.near.sort();
    Ok(found)
}

/// Definitions for editors lie next to the rules and are not rules.
const DEFINITIONS: &str = ".d.rhai";
/// Subfolders deeper than this are not followed, so that circular links end.
const DEPTH_MAX: usize = 8;

fn collect(folder: &Path, ending: &str, depth: usize, found: &mut Listing) -> anyhow::Result<()> {
    if depth > DEPTH_MAX {
        bail!("{} lies deeper than {DEPTH_MAX} folders; is there a link in a circle?", folder.display());
    }
    let entries = std::fs::read_dir(folder)
        .with_context(|| format!("{} cannot be read; name a folder of rules", folder.display()))?;
    for entry in entries {
        let entry = entry.with_context(|| format!("{} cannot be read", folder.display()))?;
        let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
        if name.starts_with('.') || name.ends_with(DEFINITIONS) {
            continue;
        }
        if path.is_dir() {
            collect(&path, ending, depth + 1, found)?;
        } else if name.ends_with(ending) {
            found.files.push(path);
        } else if let Some(meant) = meant(&name, ending) {
            found.near.push((path, meant));
        }
    }
    Ok(())
}

/// The intended name, for one with capitals or with an ending that some editors append.
fn meant(name: &str, ending: &str) -> Option<String> {
    let lower = name.to_lowercase();
    let plain = lower.strip_suffix(".txt").unwrap_or(&lower);
    plain.ends_with(ending).then(|| plain.to_owned())
}

/// Compiles a set that replaces another (initially the empty one). Rules of the old set whose file is unchanged are
/// reused. One bad file invalidates the whole set. `built_in` are the rules built into the program: published limits
/// that differ from theirs cause a warning.
///
/// # Errors
/// All problems of all files.
pub fn load_after(
    texts: &Texts,
    before: &RuleSet,
    limits: Limits,
    built_in: &[(&str, &str)],
) -> Result<LoadedRules, Vec<Diagnostic>> {
    let mut found = texts.found.clone();
    let refused = found.iter().any(|problem| problem.severity == Severity::Error);
    if texts.files.is_empty() {
        if !refused {
            let message = "no rule files here; a rule is a file NAME.rhai".to_owned();
            found.insert(0, finding(Severity::Error, Path::new(&texts.folder), 0, message));
        }
        return Err(found);
    }
    let files = texts.files.iter().map(|(path, text)| (path.as_str(), text.as_str()));
    match RuleSetLoader::new(limits).load_after(files, before) {
        Ok(mut loaded) if !refused => {
            loaded.warnings.extend(published::changed(&loaded.set, &texts.files, built_in));
            loaded.warnings.extend(found);
            Ok(loaded)
        }
        Ok(loaded) => {
            found.extend(loaded.warnings);
            Err(found)
        }
        Err(problems) => {
            found.extend(problems);
            Err(found)
        }
    }
}
