//! `cargo xtask tidy`: the rules of the house that no compiler checks.
//! Does not change a file; each finding says where, what, why and what to do.

mod circles;
mod docs;
mod graph;
mod imports;
mod layout;
mod lines;
mod locks;
mod shown_by;
mod size;
mod systems;
mod tokens;
mod words;

use std::fmt;
use std::path::Path;

use anyhow::{Context as _, Result};

use crate::context::Context;
use crate::process::Run;
use crate::tidy::graph::Graph;
use crate::tidy::lines::Source;

/// Something that is not as the house wants it.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Finding {
    /// File relative to the root.
    pub(crate) file: String,
    /// Line from 1; 0 for the file as a whole.
    pub(crate) line: usize,
    /// What is wrong.
    pub(crate) what: String,
    /// Why that matters.
    pub(crate) why: &'static str,
    /// What to do about it.
    pub(crate) do_this: &'static str,
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let line = self.line.max(1);
        write!(f, "{}:{line}: {}; why: {}; do: {}", self.file, self.what, self.why, self.do_this)
    }
}

/// Checks the whole tree; `false` when something was found.
pub(crate) fn run(context: &Context) -> Result<bool> {
    let findings = check(context)?;
    for finding in &findings {
        println!("{finding}");
    }
    println!("tidy: {} findings", findings.len());
    Ok(findings.is_empty())
}

/// All findings, in the order of the files.
pub(crate) fn check(context: &Context) -> Result<Vec<Finding>> {
    let sources = read_tree(&context.root)?;
    let graph = Graph::from_metadata(&context.metadata, &context.root)?;
    let mut findings = Vec::new();
    graph.check(&mut findings);
    for source in &sources {
        size::check(source, &mut findings);
        words::check(source, &mut findings);
    }
    graph::check_core_openings(&graph, &sources, &mut findings);
    circles::check(&sources, &mut findings);
    layout::check(&sources, &mut findings);
    locks::check(&sources, &mut findings);
    docs::check(&graph, &sources, &mut findings);
    shown_by::check(&sources, &mut findings);
    systems::check(&sources, &mut findings);
    findings.sort_by(|a, b| (&a.file, a.line).cmp(&(&b.file, b.line)));
    Ok(findings)
}

/// Every text file that git tracks or would track.
fn read_tree(root: &Path) -> Result<Vec<Source>> {
    let args = ["ls-files", "--cached", "--others", "--exclude-standard", "-z"];
    let listed = Run::new("git", &args).in_dir(root).stdout().context("tidy reads the file list from git")?;
    let mut paths: Vec<&str> = listed.split('\0').filter(|path| !path.is_empty()).collect();
    paths.sort_unstable();
    paths.dedup();
    let mut sources = Vec::new();
    for path in paths {
        // A file removed but not yet committed is listed and gone; a binary file is listed without its text.
        let Ok(bytes) = std::fs::read(root.join(path)) else { continue };
        let text = String::from_utf8(bytes).unwrap_or_default();
        sources.push(Source { path: path.to_owned(), text });
    }
    Ok(sources)
}

#[cfg(test)]
pub(crate) mod fixtures {
    //! Small made-up files for the checks' own tests.
    use super::{Finding, Source};

    /// A file with this text.
    pub(crate) fn file(path: &str, text: &str) -> Source {
        Source { path: path.to_owned(), text: text.to_owned() }
    }

    /// Where findings were made, as `file:line what`.
    pub(crate) fn places(findings: &[Finding]) -> Vec<String> {
        findings.iter().map(|f| format!("{}:{} {}", f.file, f.line, f.what)).collect()
    }
}
