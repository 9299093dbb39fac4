//! Tables of promises: in a Markdown table with a column "shown by" every name in backticks is a test of the tree, or a file.
//! Does not run the tests.

use std::collections::BTreeSet;

use crate::tidy::Finding;
use crate::tidy::lines::Source;

const COLUMN: &str = "shown by";

/// Checks every Markdown file.
pub(crate) fn check(sources: &[Source], findings: &mut Vec<Finding>) {
    let known = Known::of(sources);
    for source in sources.iter().filter(|source| source.has_extension("md")) {
        let mut column = None;
        for (line, text) in source.lines() {
            if !text.trim_start().starts_with('|') {
                column = None;
                continue;
            }
            let cells: Vec<&str> = text.trim().trim_matches('|').split('|').map(str::trim).collect();
            let Some(at) = column else {
                // A table without such a column has none in any row.
                column = Some(cells.iter().position(|cell| *cell == COLUMN).unwrap_or(usize::MAX));
                continue;
            };
            let names = cells.get(at).copied().unwrap_or_default().split('`').skip(1).step_by(2);
            for name in names.filter(|name| !known.has(name)) {
                findings.push(Finding {
                    file: source.path.clone(),
                    line,
                    what: format!("`{name}` is to show it, but there is no such test or file"),
                    why: "a promise without its test is only a wish",
                    do_this: "name the test that shows it, or write it",
                });
            }
        }
    }
}

/// Names of functions, and paths.
struct Known<'s>(BTreeSet<&'s str>);

impl<'s> Known<'s> {
    fn of(sources: &'s [Source]) -> Self {
        let rust = sources.iter().filter(|source| source.has_extension("rs"));
        let python = sources.iter().filter(|source| source.has_extension("py"));
        let functions = |source: &'s Source, word: &'static str| {
            source.lines().filter_map(move |(_, text)| {
                let (_, rest) = text.split_once(word)?;
                rest.split(['(', '<']).next()
            })
        };
        let mut names: BTreeSet<&str> = sources.iter().map(|source| source.path.as_str()).collect();
        names.extend(rust.flat_map(|source| functions(source, "fn ")));
        names.extend(python.flat_map(|source| functions(source, "def ")));
        Self(names)
    }

    fn has(&self, name: &str) -> bool {
        self.0.contains(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::{file, places};

    #[test]
    fn a_name_without_a_test_is_found() {
        let table = "| fault | shown by |\n|---|---|\n| a | `it_holds`, `a/b.round` |\n| b | `it_is_not_there` |\n\n\
                     | other | word |\n|---|---|\n| `x` | `y` |\n";
        let sources = [
            file("notes.md", table),
            file("a/b.round", ""),
            file("src/lib.rs", "//! x\n#[test]\nfn it_holds() {}\n"),
        ];
        let mut findings = Vec::new();
        check(&sources, &mut findings);
        assert_eq!(
            places(&findings),
            ["notes.md:4 `it_is_not_there` is to show it, but there is no such test or file"]
        );
    }
}
