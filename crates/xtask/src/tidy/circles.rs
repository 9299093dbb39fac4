//! Import circles. In each folder of a crate the modules side by side, each with what stands below it, import in one
//! direction: whoever reads one file knows which others he needs, and what is low can be moved and tested alone.
//! An import is a `use` or a path in code; a name handed on (`pub use`) leads to the file that defines it. Between a
//! module and what stands below it nothing counts: it declares them, and they are its parts. Tests do not count.
//! Does not look across crates: their arrows are checked by tier.

use std::collections::{BTreeMap, BTreeSet};

use crate::tidy::Finding;
use crate::tidy::imports::{self, Imports, Path};
use crate::tidy::lines::Source;
use crate::tidy::tokens;

/// Circles that stand for the time being: crate, the module that holds them (empty for the crate), and their members in
/// the order of the alphabet. Empty is best.
const KNOWN: &[(&str, &str, &[&str])] = &[];

const WHY: &str = "none of them can be read, moved or tested without the others";
const OPEN: &str = "move what two of them share into a file below both, or hand it in";

/// Checks the crates under `crates/`.
pub(crate) fn check(sources: &[Source], findings: &mut Vec<Finding>) {
    check_with(KNOWN, sources, findings);
}

fn check_with(known: &[(&str, &str, &[&str])], sources: &[Source], findings: &mut Vec<Finding>) {
    let mut crates: BTreeMap<&str, Vec<&Source>> = BTreeMap::new();
    for source in sources.iter().filter(|source| source.is_rust() && !source.is_all_test()) {
        let path = source.path.strip_prefix("crates/").and_then(|path| path.split_once("/src/"));
        if let Some((name, _)) = path {
            crates.entry(name).or_default().push(source);
        }
    }
    let mut met = vec![false; known.len()];
    for (name, files) in &crates {
        let house = House::of(name, files);
        for (module, circle) in house.floors().iter().flat_map(|(module, floor)| {
            floor.groups().into_iter().map(move |group| (module, Circle { group, floor }))
        }) {
            let is_this = |(of, within, members): &(&str, &str, &[&str])| {
                of == name && *within == module.join("::") && circle.group.iter().eq(members.iter())
            };
            match known.iter().position(is_this).and_then(|at| met.get_mut(at)) {
                Some(met) => *met = true,
                None => findings.extend(circle.finding(&house)),
            }
        }
    }
    for ((name, module, members), _) in known.iter().zip(met).filter(|(_, met)| !met) {
        let module = if module.is_empty() { name } else { module };
        findings.push(Finding {
            file: format!("crates/{name}/Cargo.toml"),
            line: 0,
            what: format!(
                "a circle of {} in `{module}` is known, and there is none of just these",
                members.join(", ")
            ),
            why: "an exception that nobody needs hides the next fault",
            do_this: "take it out of KNOWN (crates/xtask/src/tidy/circles.rs)",
        });
    }
}

/// The modules side by side in one module, and what each imports of the others: the first file, line and file of each arrow.
#[derive(Default)]
struct Floor(BTreeMap<String, BTreeMap<String, (usize, usize, usize)>>);

impl Floor {
    /// Modules that need each other: each group of two and more.
    fn groups(&self) -> BTreeSet<Vec<&str>> {
        let reach: BTreeMap<&str, BTreeSet<&str>> =
            self.0.keys().map(|name| (name.as_str(), self.reached(name))).collect();
        let mut groups = BTreeSet::new();
        for (name, reached) in &reach {
            let leads_back = |to: &str| reach.get(to).is_some_and(|reached| reached.contains(name));
            let group: Vec<&str> = reached.iter().copied().filter(|to| leads_back(to)).collect();
            if group.len() > 1 {
                groups.insert(group);
            }
        }
        groups
    }

    fn takes(&self, name: &str) -> impl Iterator<Item = &str> {
        self.0.get(name).into_iter().flat_map(|takes| takes.keys().map(String::as_str))
    }

    /// Every module that one leads to.
    fn reached(&self, from: &str) -> BTreeSet<&str> {
        let mut reached = BTreeSet::new();
        let mut open: Vec<&str> = self.takes(from).collect();
        while let Some(name) = open.pop() {
            if reached.insert(name) {
                open.extend(self.takes(name));
            }
        }
        reached
    }

    /// The shortest way from a module back to itself, without itself at the end.
    fn ring<'f>(&'f self, from: &'f str) -> Option<Vec<&'f str>> {
        let mut ways = std::collections::VecDeque::from([vec![from]]);
        let mut seen = BTreeSet::new();
        while let Some(way) = ways.pop_front() {
            for to in self.takes(way.last()?) {
                if to == from {
                    return Some(way);
                }
                if seen.insert(to) {
                    ways.push_back([way.as_slice(), &[to]].concat());
                }
            }
        }
        None
    }
}

/// Modules of one floor that need each other.
struct Circle<'f> {
    group: Vec<&'f str>,
    floor: &'f Floor,
}

impl Circle<'_> {
    /// Names the shortest ring of it, file by file.
    fn finding(&self, house: &House) -> Option<Finding> {
        let rings = self.group.iter().filter_map(|name| self.floor.ring(name));
        let ring = rings.min_by_key(Vec::len)?;
        let next = ring.iter().cycle().skip(1);
        let arrows: Vec<_> =
            ring.iter().zip(next).filter_map(|(a, b)| self.floor.0.get(*a)?.get(*b)).collect();
        let (first, line, _) = **arrows.first()?;
        let path = |at: usize| house.files.get(at).map_or("", |file| file.path.as_str());
        let arrow =
            |(from, line, to): &&(usize, usize, usize)| format!("{}:{line} -> {}", path(*from), path(*to));
        let arrows: Vec<String> = arrows.iter().map(arrow).collect();
        let all = format!("{} modules import each other ({})", self.group.len(), self.group.join(", "));
        Some(Finding {
            file: path(first).to_owned(),
            line,
            what: format!("{all}: {}", arrows.join(", then ")),
            why: WHY,
            do_this: OPEN,
        })
    }
}

/// One file of a crate.
struct File {
    path: String,
    /// The module that it is; empty for the crate itself.
    module: Path,
    imports: Imports,
    /// The files that it imports, by place, each with the first line that does so.
    takes: BTreeMap<usize, usize>,
}

/// The files of one crate.
struct House {
    files: Vec<File>,
    by_module: BTreeMap<Path, usize>,
}

/// `pub use` of names that are handed on themselves: how many are followed.
const DEEP: usize = 16;

impl House {
    fn of(name: &str, sources: &[&Source]) -> Self {
        let root = format!("crates/{name}/src/");
        let files: Vec<File> = sources
            .iter()
            .filter_map(|source| {
                let module = module_of(source.path.strip_prefix(&root)?);
                let imports = imports::read(&tokens::product(&source.text));
                Some(File { path: source.path.clone(), module, imports, takes: BTreeMap::new() })
            })
            .collect();
        let by_module = files.iter().enumerate().map(|(at, file)| (file.module.clone(), at)).collect();
        let mut house = Self { files, by_module };
        for at in 0..house.files.len() {
            let takes = house.takes(at);
            if let Some(file) = house.files.get_mut(at) {
                file.takes = takes;
            }
        }
        house
    }

    /// What one file imports.
    fn takes(&self, at: usize) -> BTreeMap<usize, usize> {
        let Some(file) = self.files.get(at) else { return BTreeMap::new() };
        let mut takes = BTreeMap::new();
        let mut add = |line: usize, path: &[String]| {
            for to in self.find(at, path, DEEP) {
                if to != at {
                    let first = takes.entry(to).or_insert(line);
                    *first = line.min(*first);
                }
            }
        };
        for (name, used) in &file.imports.uses {
            // A module that is named to be gone through is imported by the paths that go through it.
            let is_gone_through = file.imports.paths.iter().any(|(_, path)| path.first() == Some(name));
            let is_only_handed_on = used.is_handed_on && !file.imports.names.contains(name);
            if !is_gone_through && !is_only_handed_on {
                add(used.line, &used.path);
            }
        }
        for glob in file.imports.globs.iter().filter(|glob| !glob.is_handed_on) {
            add(glob.line, &glob.path);
        }
        for (line, path) in &file.imports.paths {
            add(*line, path);
        }
        takes
    }

    /// The files that a path written in this file leads to; none for one that leads out of the crate.
    fn find(&self, from: usize, path: &[String], deep: usize) -> Vec<usize> {
        let (Some(file), Some((first, rest))) = (self.files.get(from), path.split_first()) else {
            return Vec::new();
        };
        let Some(deep) = deep.checked_sub(1) else { return Vec::new() };
        match first.as_str() {
            "crate" => self.within(&[], rest, deep),
            "self" => self.within(&file.module, rest, deep),
            "super" => {
                let ups = path.iter().take_while(|name| *name == "super").count();
                let module = file.module.get(..file.module.len().saturating_sub(ups)).unwrap_or_default();
                self.within(module, path.get(ups..).unwrap_or_default(), deep)
            }
            name => {
                let child = [file.module.as_slice(), std::slice::from_ref(first)].concat();
                match file.imports.uses.get(name) {
                    _ if self.by_module.contains_key(&child) => self.within(&file.module, path, deep),
                    Some(used) if used.path.as_slice() != path => {
                        self.find(from, &[used.path.as_slice(), rest].concat(), deep)
                    }
                    _ => Vec::new(),
                }
            }
        }
    }

    /// The files that define what a path names, seen from a module of the crate.
    fn within(&self, module: &[String], path: &[String], deep: usize) -> Vec<usize> {
        let Some(&at) = self.by_module.get(module) else { return Vec::new() };
        let (Some(file), Some(name)) = (self.files.get(at), path.first()) else { return vec![at] };
        let child = [module, std::slice::from_ref(name)].concat();
        if self.by_module.contains_key(&child) {
            return self.within(&child, path.get(1..).unwrap_or_default(), deep);
        }
        if file.imports.defines.contains(name) {
            return vec![at];
        }
        if let Some(used) = file.imports.uses.get(name) {
            return self.find(at, &[used.path.as_slice(), path.get(1..).unwrap_or_default()].concat(), deep);
        }
        let globs = file.imports.globs.iter().filter(|glob| glob.is_handed_on);
        let found: BTreeSet<usize> = globs
            .flat_map(|glob| self.find(at, &[glob.path.as_slice(), path].concat(), deep))
            .filter(|to| self.files.get(*to).is_some_and(|file| file.imports.defines.contains(name)))
            .collect();
        if found.is_empty() { vec![at] } else { found.into_iter().collect() }
    }

    /// For each module that holds others: those, and what they import of each other.
    fn floors(&self) -> BTreeMap<&[String], Floor> {
        let mut floors: BTreeMap<&[String], Floor> = BTreeMap::new();
        for (from, file) in self.files.iter().enumerate() {
            for (to, line) in &file.takes {
                let Some(taken) = self.files.get(*to) else { continue };
                let shared = file.module.iter().zip(&taken.module).take_while(|(a, b)| a == b).count();
                let (Some(above), Some(a), Some(b)) =
                    (file.module.get(..shared), file.module.get(shared), taken.module.get(shared))
                else {
                    continue;
                };
                let floor = floors.entry(above).or_default();
                floor.0.entry(a.clone()).or_default().entry(b.clone()).or_insert((from, *line, *to));
            }
        }
        floors
    }
}

/// The module of a file below `src`: `a/b.rs` and `a/b/mod.rs` are `a::b`.
fn module_of(path: &str) -> Path {
    let path = path.strip_suffix(".rs").unwrap_or(path);
    let mut names: Path = path.split('/').map(str::to_owned).collect();
    names.pop_if(|last| ["lib", "main", "mod"].contains(&last.as_str()));
    names
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::{file, places};

    /// What is found among the files of a crate `a`, each as path below `src` and text.
    fn found(known: &[(&str, &str, &[&str])], files: &[(&str, &str)]) -> Vec<String> {
        let root = ("lib.rs", "");
        let has_root = files.iter().any(|(path, _)| *path == root.0);
        let files = files.iter().chain((!has_root).then_some(&root));
        let sources: Vec<Source> =
            files.map(|(path, text)| file(&format!("crates/a/src/{path}"), text)).collect();
        let mut findings = Vec::new();
        check_with(known, &sources, &mut findings);
        places(&findings)
    }

    /// The rings alone, without folders.
    fn rings(files: &[(&str, &str)]) -> Vec<String> {
        let ring = |found: String| found.split_once("): ").map(|(_, ring)| ring.replace("crates/a/src/", ""));
        found(&[], files).into_iter().filter_map(ring).collect()
    }

    const NONE: [&str; 0] = [];

    #[test]
    fn a_circle_is_named_file_by_file() {
        let files = [
            ("lib.rs", "mod b; mod c; mod d;"),
            ("b.rs", "use crate::c::C;"),
            ("c.rs", "// one\nfn c() -> super::d::D {}"),
            ("d.rs", "const D: u8 = crate::b::D;"),
        ];
        assert_eq!(
            found(&[], &files),
            [
                "crates/a/src/b.rs:1 3 modules import each other (b, c, d): crates/a/src/b.rs:1 -> crates/a/src/c.rs, then \
              crates/a/src/c.rs:2 -> crates/a/src/d.rs, then crates/a/src/d.rs:1 -> crates/a/src/b.rs"
            ]
        );
        assert_eq!(rings(&files[..3]), NONE, "open without the last");
    }

    #[test]
    fn a_name_handed_on_leads_to_its_file() {
        let root = ("lib.rs", "mod b; mod c; pub use b::B; pub(crate) use c::{C as See};");
        assert_eq!(
            rings(&[root, ("b.rs", "use crate::See;"), ("c.rs", "use crate::B;")]),
            ["b.rs:1 -> c.rs, then c.rs:1 -> b.rs"]
        );
        assert_eq!(
            rings(&[root, ("b.rs", "use crate::See; struct B;"), ("c.rs", "use crate::Other;")]),
            NONE
        );
        let all = ("lib.rs", "mod b; mod c; pub use b::*;");
        let b = ("b.rs", "use crate::c::C; pub struct B;");
        assert_eq!(rings(&[all, b, ("c.rs", "use crate::B;")]), ["b.rs:1 -> c.rs, then c.rs:1 -> b.rs"]);
        assert_eq!(rings(&[all, b, ("c.rs", "use crate::E;")]), NONE);
    }

    #[test]
    fn a_module_is_gone_through() {
        let b = ("b.rs", "use crate::c;\nfn b() { c::e() }");
        assert_eq!(rings(&[b, ("c.rs", "use crate::b::B;")]), ["b.rs:2 -> c.rs, then c.rs:1 -> b.rs"]);
        let handed = ("c.rs", "mod d; pub use d::e; use crate::b::B;");
        assert_eq!(rings(&[b, handed, ("c/d.rs", "fn e() {}")]), ["b.rs:2 -> c/d.rs, then c.rs:1 -> b.rs"]);
    }

    #[test]
    fn a_module_stands_for_what_is_below_it() {
        let files = [
            ("b/mod.rs", "mod d; use crate::c::C;"),
            ("b/d.rs", "struct D;"),
            ("c.rs", "use crate::b::d::D;"),
        ];
        assert_eq!(rings(&files), ["b/mod.rs:1 -> c.rs, then c.rs:1 -> b/d.rs"]);
        let below = [
            ("b.rs", "mod d; mod e;"),
            ("b/d.rs", "use super::e::E;"),
            ("b/e.rs", "use crate::b::d::D;"),
            ("c.rs", "use crate::b::B;"),
        ];
        assert_eq!(rings(&below), ["b/d.rs:1 -> b/e.rs, then b/e.rs:1 -> b/d.rs"]);
    }

    #[test]
    fn between_a_module_and_its_parts_nothing_counts() {
        let parts =
            [("b.rs", "mod d; use d::D; fn b() { d::e() }"), ("b/d.rs", "use super::B; use crate::b::C;")];
        assert_eq!(rings(&parts), NONE);
    }

    #[test]
    fn tests_comments_and_other_crates_do_not_count() {
        let b = ("b.rs", "use crate::c::C;");
        for text in [
            "// use crate::b::B;",
            "const C: &str = \"crate::b::B\";",
            "#[cfg(test)]\nmod tests { use crate::b::B; }",
            "#[cfg(test)] mod tests;\nuse b::B;",
            "use std::b::B;",
        ] {
            assert_eq!(rings(&[b, ("c.rs", text)]), NONE, "{text}");
        }
        assert_eq!(rings(&[b, ("c.rs", ""), ("c/tests.rs", "use crate::b::B;")]), NONE);
    }

    #[test]
    fn a_known_circle_is_let_be_and_ends_with_it() {
        let files = [("x.rs", ""), ("x/b.rs", "use super::c::C;"), ("x/c.rs", "use super::b::B;")];
        assert_eq!(found(&[("a", "x", &["b", "c"])], &files), NONE);
        let gone = |members: &str| {
            format!(
                "crates/a/Cargo.toml:0 a circle of {members} in `x` is known, and there is none of just these"
            )
        };
        assert_eq!(found(&[("a", "x", &["b", "c"])], &files[..2]), [gone("b, c")]);
        let other = found(&[("a", "x", &["b", "c", "d"])], &files);
        assert_eq!((other.len(), other.last()), (2, Some(&gone("b, c, d"))));
    }
}
