//! The top level, DEVELOPERS.md and the links of every Markdown file.
//! Does not judge prose.

use std::collections::BTreeSet;

use crate::tidy::Finding;
use crate::tidy::graph::Graph;
use crate::tidy::lines::Source;

/// What may stand at the top level, besides dot files and licences.
const TOP_LEVEL: &[&str] = &[
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "crates",
    "rules",
    "tests",
    "hardware-notes",
    "demo-data",
];
/// Words that stand for a name the reader chooses.
const PLACEHOLDERS: &[&str] = &["NAME", "FILE", "DIR", "CRATE", "RULE", "DEVICE", "SCENE"];
const MAP: &str = "DEVELOPERS.md";
const MAP_LINES_MAX: usize = 300;
/// The pages that are read whole, and how many bytes each may have: 9 and 18 KB.
const SIZES: &[(&str, usize)] = &[("README.md", 9 * 1024), (MAP, 18 * 1024)];
/// Pages whose backticked paths lead somewhere.
const PATHS_CHECKED: &[&str] = &[MAP, "tests/README.md"];

/// Checks the tree as a whole.
pub(crate) fn check(graph: &Graph, sources: &[Source], findings: &mut Vec<Finding>) {
    let tree = Tree::of(sources);
    top_level(&tree, findings);
    for source in sources.iter().filter(|source| source.has_extension("md")) {
        links(source, &tree, findings);
    }
    for (name, most) in SIZES {
        match sources.iter().find(|source| source.path == *name) {
            None => add(findings, name, 0, "is missing", "a newcomer starts there", "write it"),
            Some(page) if page.text.len() > *most => {
                let what = format!("{} bytes, {most} is the most", page.text.len());
                add(
                    findings,
                    name,
                    0,
                    what,
                    "it is read whole on the first day",
                    "move what few need to a page of its own",
                );
            }
            Some(_) => {}
        }
    }
    for page in sources.iter().filter(|source| PATHS_CHECKED.contains(&source.path.as_str())) {
        paths(page, &tree, findings);
    }
    if let Some(map) = sources.iter().find(|source| source.path == MAP) {
        check_map(graph, map, findings);
    }
}

/// Every path of the tree, folders included.
struct Tree(BTreeSet<String>);

impl Tree {
    fn of(sources: &[Source]) -> Self {
        let mut all = BTreeSet::new();
        for source in sources {
            let slashes = source.path.match_indices('/').map(|(at, _)| at);
            all.extend(slashes.filter_map(|at| source.path.get(..at)).map(str::to_owned));
            all.insert(source.path.clone());
        }
        Self(all)
    }

    /// Whether a file or folder stands there; `.` and `..` in the path are followed.
    fn has(&self, path: &str) -> bool {
        let mut parts: Vec<&str> = Vec::new();
        for part in path.split('/') {
            match part {
                "" | "." => {}
                ".." => {
                    if parts.pop().is_none() {
                        return false;
                    }
                }
                part => parts.push(part),
            }
        }
        parts.is_empty() || self.0.contains(&parts.join("/"))
    }

    fn top(&self) -> impl Iterator<Item = &String> {
        self.0.iter().filter(|path| !path.contains('/'))
    }
}

fn add(
    findings: &mut Vec<Finding>,
    file: &str,
    line: usize,
    what: impl Into<String>,
    why: &'static str,
    do_this: &'static str,
) {
    findings.push(Finding { file: file.to_owned(), line, what: what.into(), why, do_this });
}

fn top_level(tree: &Tree, findings: &mut Vec<Finding>) {
    for name in tree.top() {
        if !TOP_LEVEL.contains(&name.as_str()) && !name.starts_with('.') && !name.starts_with("LICENSE") {
            let why = "the top level is the first page of the project and holds only what the layout names";
            add(findings, name, 0, "stands at the top level", why, "move it where it belongs");
        }
    }
}

/// Relative links of one Markdown file lead somewhere. Fenced code is not read.
fn links(source: &Source, tree: &Tree, findings: &mut Vec<Finding>) {
    let folder = source.path.rsplit_once('/').map_or("", |(folder, _)| folder);
    for (line, text) in prose_lines(source) {
        for target in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let target = target.split([' ', '#']).next().unwrap_or_default();
            let outside = target.contains("://") || target.starts_with("mailto:");
            if target.is_empty() || outside || tree.has(&format!("{folder}/{target}")) {
                continue;
            }
            let why = "a dead link costs a reader more than no link";
            add(
                findings,
                &source.path,
                line,
                format!("links to {target}, which is not there"),
                why,
                "mend the link",
            );
        }
    }
}

/// Lines outside fenced code.
fn prose_lines(source: &Source) -> impl Iterator<Item = (usize, &str)> {
    let mut fenced = false;
    source.lines().filter(move |(_, text)| {
        let fence = text.trim_start().starts_with("```");
        fenced ^= fence;
        !fenced && !fence
    })
}

fn check_map(graph: &Graph, map: &Source, findings: &mut Vec<Finding>) {
    let count = map.text.lines().count();
    if count > MAP_LINES_MAX {
        let why = "the map is read whole on the first day";
        add(
            findings,
            MAP,
            MAP_LINES_MAX,
            format!("{count} lines, {MAP_LINES_MAX} is the most"),
            why,
            "shorten it",
        );
    }
    let named: BTreeSet<&str> =
        prose_lines(map).flat_map(|(_, text)| text.split('`').skip(1).step_by(2)).collect();
    for package in &graph.packages {
        if !named.contains(package.name.as_str()) {
            let what = format!("does not name crate `{}`", package.name);
            add(findings, MAP, 0, what, "the map names every crate", "add it to the crate table");
        }
    }
    crate_table(graph, map, findings);
}

/// Each path in backticks is there.
fn paths(page: &Source, tree: &Tree, findings: &mut Vec<Finding>) {
    for (line, text) in prose_lines(page) {
        for token in text.split('`').skip(1).step_by(2) {
            if path_in(token, tree).is_some_and(|path| !tree.has(path)) {
                let why = "a map that names what does not exist is worse than none";
                let what = format!("names `{token}`, which is not there");
                add(findings, &page.path, line, what, why, "mend the name");
            }
        }
    }
}

/// The path that a backticked token stands for, if it stands for one: it begins with a name of the top level, or it ends
/// with `/`. Patterns and placeholders are left alone; a `:line` is cut off.
fn path_in<'a>(token: &'a str, tree: &Tree) -> Option<&'a str> {
    if token.contains(['*', '<', '{', '$', ' ', '(']) || token.contains("://") || token.starts_with('/') {
        return None;
    }
    let path = token.split(':').next().unwrap_or(token);
    let first = path.split('/').next().unwrap_or_default();
    let placeholder = path.split(['/', '.']).any(|part| PLACEHOLDERS.contains(&part));
    let top = TOP_LEVEL.contains(&first) || tree.top().any(|name| name == first);
    let built = first == "target";
    let is_path = path.contains('/') && (top || path.ends_with('/'));
    (is_path && !placeholder && !built).then_some(path)
}

/// Rows of each table with a "crate" column: the crate exists, and its tier is the one it states itself.
fn crate_table(graph: &Graph, map: &Source, findings: &mut Vec<Finding>) {
    let mut columns: Option<(usize, Option<usize>)> = None;
    let mut tier_above = String::new();
    for (line, text) in prose_lines(map) {
        if !text.trim_start().starts_with('|') {
            columns = None;
            continue;
        }
        let cells: Vec<&str> = text.trim().trim_matches('|').split('|').map(str::trim).collect();
        let Some((crate_at, tier_at)) = columns else {
            let at = |name: &str| cells.iter().position(|cell| cell.eq_ignore_ascii_case(name));
            // A table without a crate column has none in any row.
            columns = Some((at("crate").unwrap_or(usize::MAX), at("tier")));
            continue;
        };
        let Some(cell) = cells.get(crate_at) else { continue };
        let Some(name) = cell.split('`').nth(1) else { continue };
        let Some(package) = graph.package(name) else {
            let why = "a map that names what does not exist is worse than none";
            add(
                findings,
                MAP,
                line,
                format!("the table names crate `{name}`, which is not there"),
                why,
                "mend it",
            );
            continue;
        };
        let stated = tier_at.and_then(|at| cells.get(at)).copied().unwrap_or_default();
        if !stated.is_empty() {
            stated.clone_into(&mut tier_above);
        }
        let tier = package.tier.map_or("", super::graph::Tier::name);
        if !tier_above.is_empty() && !tier_above.contains(tier) {
            let what = format!("`{name}` stands under tier {tier_above}, its manifest says {tier}");
            add(
                findings,
                MAP,
                line,
                what,
                "the table and the manifest say the same",
                "mend the one that is wrong",
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::{file, places};
    use crate::tidy::graph::{Package, Tier};

    fn graph() -> Graph {
        let package = |name: &str, tier| Package {
            name: name.into(),
            folder: format!("crates/{name}"),
            tier: Some(tier),
            dependencies: vec![],
        };
        Graph { packages: vec![package("wire", Tier::Core), package("link", Tier::Edge)] }
    }

    fn found(files: &[(&str, &str)]) -> Vec<String> {
        let mut sources = vec![
            file("README.md", "[map](DEVELOPERS.md)"),
            file("crates/wire/src/lib.rs", "//! w"),
            file("crates/link/src/lib.rs", "//! l"),
        ];
        sources.extend(files.iter().map(|(path, text)| file(path, text)));
        let mut findings = Vec::new();
        check(&graph(), &sources, &mut findings);
        places(&findings)
    }

    const TABLE: &str =
        "| tier | crate | holds |\n|---|---|---|\n| core | `wire` | frames |\n| edge | `link` | ports |\n";

    #[test]
    fn a_true_map_is_accepted() {
        let text = format!(
            "{TABLE}\nSee `crates/wire/src/lib.rs:12`, `crates/`, `crates/*/src`, `rules/NAME.rhai`, `target/venv/`,\n\
             `Rule::judge`, `a/b`.\n```\n`crates/none/`\n```\n"
        );
        assert_eq!(found(&[("DEVELOPERS.md", &text)]), Vec::<String>::new());
    }

    #[test]
    fn names_that_do_not_exist_are_found() {
        for (more, want) in [
            ("`crates/none/src`", "DEVELOPERS.md:5 names `crates/none/src`, which is not there"),
            ("`src/`", "DEVELOPERS.md:5 names `src/`, which is not there"),
            ("| core | `none` | - |", "DEVELOPERS.md:5 the table names crate `none`, which is not there"),
            (
                "| core | `link` | - |",
                "DEVELOPERS.md:5 `link` stands under tier core, its manifest says edge",
            ),
            ("[x](rules/none.md)", "DEVELOPERS.md:5 links to rules/none.md, which is not there"),
        ] {
            assert_eq!(found(&[("DEVELOPERS.md", &format!("{TABLE}{more}"))]), [want], "{more}");
        }
    }

    #[test]
    fn every_crate_is_named_and_the_map_is_short() {
        let without = TABLE.replace("`link`", "link");
        assert_eq!(found(&[("DEVELOPERS.md", &without)]), ["DEVELOPERS.md:0 does not name crate `link`"]);
        let long = format!("{TABLE}{}", "\n".repeat(300));
        assert_eq!(found(&[("DEVELOPERS.md", &long)]), ["DEVELOPERS.md:300 304 lines, 300 is the most"]);
        assert_eq!(found(&[]).last().unwrap(), "DEVELOPERS.md:0 is missing");
        let wide = format!("{TABLE}{}", "x".repeat(18 * 1024));
        let bytes = 18 * 1024 + TABLE.len();
        let want = format!("DEVELOPERS.md:0 {bytes} bytes, 18432 is the most");
        assert_eq!(found(&[("DEVELOPERS.md", &wide)]), [want]);
    }

    #[test]
    fn the_page_of_tests_names_what_is_there() {
        let page = "`crates/wire/src/lib.rs` `tests/it/none.rs`";
        let files = [("DEVELOPERS.md", TABLE), ("tests/README.md", page)];
        assert_eq!(found(&files), ["tests/README.md:1 names `tests/it/none.rs`, which is not there"]);
    }

    #[test]
    fn the_top_level_holds_what_the_layout_names() {
        let files = [("DEVELOPERS.md", TABLE), ("notes.txt", ""), (".gitignore", ""), ("LICENSE-MIT", "")];
        assert_eq!(found(&files), ["notes.txt:0 stands at the top level"]);
    }

    #[test]
    fn links_are_relative_to_their_file() {
        let files = [
            ("DEVELOPERS.md", TABLE),
            ("rules/README.md", "[a](../README.md#top) [b](x.rhai \"t\") [c](http://a.b/c) [d](../../out)"),
            ("rules/x.rhai", ""),
        ];
        assert_eq!(found(&files), ["rules/README.md:1 links to ../../out, which is not there"]);
    }
}
