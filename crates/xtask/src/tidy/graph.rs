//! Crates, their tiers and what they may depend on, as `cargo metadata` tells it.
//! Does not look into source text, but for the opening of a core crate's `lib.rs`.

use std::path::Path;

use anyhow::{Context as _, Result};
use serde_json::Value;

use crate::tidy::Finding;
use crate::tidy::lines::Source;

/// Outside crates a core crate may use, with the reason. Everything else is taken to need std.
const CORE_OUTSIDE: &[(&str, &str)] = &[
    ("libm", "mathematics that is the same bit for bit on every target"),
    ("rhai", "in `script` alone, with its no_std feature"),
    ("serde", "alloc only, for profile files"),
    ("sha2", "content hash of a rule"),
    ("toml", "without std, for profile files"),
];
/// A crate that only one crate may use: the outside crate, the one that may.
const ONLY_IN: &[(&str, &str)] = &[("rhai", "script")];
/// Packages that stand elsewhere than `crates/NAME`: name, folder, reason.
const ELSEWHERE: &[(&str, &str, &str)] = &[("checks", "tests", "tests over the whole product")];

/// How far from the heart a crate stands; a crate may use its own tier and those inside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Tier {
    Core,
    Edge,
    App,
}

impl Tier {
    pub(crate) fn from_name(name: &str) -> Option<Self> {
        match name {
            "core" => Some(Self::Core),
            "edge" => Some(Self::Edge),
            "app" => Some(Self::App),
            _ => None,
        }
    }

    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Core => "core",
            Self::Edge => "edge",
            Self::App => "app",
        }
    }
}

/// One crate of the workspace.
#[derive(Debug)]
pub(crate) struct Package {
    pub(crate) name: String,
    /// Folder relative to the root.
    pub(crate) folder: String,
    pub(crate) tier: Option<Tier>,
    /// Name and kind (`normal`, `dev`, `build`) of each dependency.
    pub(crate) dependencies: Vec<(String, String)>,
}

/// The crates of the workspace.
pub(crate) struct Graph {
    pub(crate) packages: Vec<Package>,
}

impl Graph {
    /// Reads `cargo metadata --no-deps`.
    pub(crate) fn from_metadata(metadata: &Value, root: &Path) -> Result<Self> {
        let listed =
            metadata.get("packages").and_then(Value::as_array).context("cargo metadata names no packages")?;
        let packages = listed.iter().map(|package| read_package(package, root)).collect::<Result<_>>()?;
        Ok(Self { packages })
    }

    /// The crate of this name.
    pub(crate) fn package(&self, name: &str) -> Option<&Package> {
        self.packages.iter().find(|package| package.name == name)
    }

    /// Tiers, edges and folders.
    pub(crate) fn check(&self, findings: &mut Vec<Finding>) {
        for package in &self.packages {
            let expected = ELSEWHERE
                .iter()
                .find(|(name, _, _)| *name == package.name)
                .map_or_else(|| format!("crates/{}", package.name), |(_, folder, _)| (*folder).to_owned());
            if package.folder != expected {
                findings.push(package.finding(
                    format!("crate {} stands in {}", package.name, package.folder),
                    "one name for a crate and its folder, so that either leads to the other",
                    "move it to crates/NAME, or name it in ELSEWHERE (crates/xtask/src/tidy/graph.rs)",
                ));
            }
            let Some(tier) = package.tier else {
                findings.push(package.finding(
                    "no tier".to_owned(),
                    "dependencies point app -> edge -> core only, and that is checked by tier",
                    "write tier = \"core\", \"edge\" or \"app\" in [package.metadata.cliplead]",
                ));
                continue;
            };
            for (name, kind) in &package.dependencies {
                self.check_edge(package, tier, name, kind, findings);
            }
        }
    }

    fn check_edge(&self, from: &Package, tier: Tier, name: &str, kind: &str, findings: &mut Vec<Finding>) {
        for (only, owner) in ONLY_IN {
            if name == *only && from.name != *owner {
                let what = format!("{} depends on {only}", from.name);
                let why = "it stays replaceable only while one crate knows it";
                findings.push(from.finding(what, why, "go through the crate that owns it (see ONLY_IN)"));
            }
        }
        if let Some(to) = self.package(name) {
            let Some(to_tier) = to.tier else { return };
            if to_tier > tier {
                let what = format!("{} ({}) depends on {name} ({})", from.name, tier.name(), to_tier.name());
                let why = "dependencies point app -> edge -> core only";
                findings.push(from.finding(what, why, "move what is needed down, or pass it in"));
            }
        } else if tier == Tier::Core
            && kind != "dev"
            && !CORE_OUTSIDE.iter().any(|(allowed, _)| *allowed == name)
        {
            findings.push(from.finding(
                format!("core crate {} depends on {name}", from.name),
                "core is no_std + alloc and does no I/O; an outside crate can break that unseen",
                "do without, or name it with its reason in CORE_OUTSIDE (crates/xtask/src/tidy/graph.rs)",
            ));
        }
    }
}

impl Package {
    fn finding(&self, what: String, why: &'static str, do_this: &'static str) -> Finding {
        Finding { file: format!("{}/Cargo.toml", self.folder), line: 0, what, why, do_this }
    }
}

fn read_package(package: &Value, root: &Path) -> Result<Package> {
    let text = |key: &str| package.get(key).and_then(Value::as_str);
    let name = text("name").context("a package without a name")?.to_owned();
    let manifest = text("manifest_path").context("a package without a manifest")?;
    let folder = Path::new(manifest).parent().context("a manifest without a folder")?;
    let folder = folder.strip_prefix(root).unwrap_or(folder).to_string_lossy().replace('\\', "/");
    let tier = package.pointer("/metadata/cliplead/tier").and_then(Value::as_str).and_then(Tier::from_name);
    let listed = package.get("dependencies").and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    let dependencies = listed
        .iter()
        .filter_map(|dependency| {
            let text = |key: &str| dependency.get(key).and_then(Value::as_str);
            Some((text("name")?.to_owned(), text("kind").unwrap_or("normal").to_owned()))
        })
        .collect();
    Ok(Package { name, folder, tier, dependencies })
}

/// Each crate's `lib.rs` says what the crate does not do; a core crate's also says `#![no_std]`.
pub(crate) fn check_core_openings(graph: &Graph, sources: &[Source], findings: &mut Vec<Finding>) {
    for package in graph.packages.iter().filter(|package| package.folder.starts_with("crates/")) {
        let path = format!("{}/src/lib.rs", package.folder);
        let Some(lib) = sources.iter().find(|source| source.path == path) else {
            if package.tier == Some(Tier::Core) {
                findings.push(package.finding(
                    "a core crate without src/lib.rs".to_owned(),
                    "core is made of libraries",
                    "write it",
                ));
            }
            continue;
        };
        let mut add = |what: &str, why, do_this| {
            findings.push(Finding { file: path.clone(), line: 1, what: what.to_owned(), why, do_this });
        };
        let opening: Vec<&str> = lib.text.lines().take_while(|line| line.starts_with("//!")).collect();
        if !opening.iter().any(|line| line.to_lowercase().contains("does not")) {
            let why = "what a crate does not do keeps it from growing into its neighbour";
            add("the opening has no \"Does not\" line", why, "add `//! Does not: ...`");
        }
        if package.tier == Some(Tier::Core) && !lib.text.lines().any(|line| line.trim() == "#![no_std]") {
            let why = "core has no std on any target; std comes in under cfg(test) by `extern crate std`";
            add("a core crate without `#![no_std]`", why, "write it below the opening");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::{file, places};

    fn package(name: &str, tier: &str, dependencies: &[&str]) -> Package {
        let dependencies = dependencies.iter().map(|d| ((*d).to_owned(), "normal".to_owned())).collect();
        Package {
            name: name.into(),
            folder: format!("crates/{name}"),
            tier: Tier::from_name(tier),
            dependencies,
        }
    }

    fn found(packages: Vec<Package>) -> Vec<String> {
        let mut findings = Vec::new();
        Graph { packages }.check(&mut findings);
        places(&findings)
    }

    #[test]
    fn dependencies_point_inwards() {
        let house = |extra: &[&str]| {
            vec![
                package("wire", "core", extra),
                package("judge", "core", &["wire", "libm"]),
                package("link", "edge", &["judge", "tokio"]),
                package("history", "edge", &["link"]),
                package("cliplead", "app", &["history", "wire", "clap"]),
            ]
        };
        assert_eq!(found(house(&[])), Vec::<String>::new());
        assert_eq!(found(house(&["link"])), ["crates/wire/Cargo.toml:0 wire (core) depends on link (edge)"]);
        assert_eq!(found(house(&["tokio"])), ["crates/wire/Cargo.toml:0 core crate wire depends on tokio"]);
        assert_eq!(found(house(&["rhai"])), ["crates/wire/Cargo.toml:0 wire depends on rhai"]);
        assert_eq!(found(vec![package("script", "core", &["rhai"])]), Vec::<String>::new());
        assert_eq!(
            found(vec![package("link", "edge", &["app"]), package("app", "app", &[])]),
            ["crates/link/Cargo.toml:0 link (edge) depends on app (app)"]
        );
    }

    #[test]
    fn a_dev_dependency_may_need_std_but_not_point_outwards() {
        let mut wire = package("wire", "core", &[]);
        wire.dependencies = vec![("proptest".into(), "dev".into()), ("link".into(), "dev".into())];
        let all = found(vec![wire, package("link", "edge", &[])]);
        assert_eq!(all, ["crates/wire/Cargo.toml:0 wire (core) depends on link (edge)"]);
    }

    #[test]
    fn a_tier_is_stated_and_a_folder_bears_the_name() {
        assert_eq!(found(vec![package("wire", "heart", &[])]), ["crates/wire/Cargo.toml:0 no tier"]);
        let moved = Package { folder: "crates/lines".into(), ..package("wire", "core", &[]) };
        assert_eq!(found(vec![moved]), ["crates/lines/Cargo.toml:0 crate wire stands in crates/lines"]);
    }

    #[test]
    fn a_core_crate_opens_as_one() {
        let graph = Graph { packages: vec![package("wire", "core", &[])] };
        let found = |text: &str| {
            let mut findings = Vec::new();
            check_core_openings(&graph, &[file("crates/wire/src/lib.rs", text)], &mut findings);
            findings.len()
        };
        assert_eq!(found("//! Wire.\n//!\n//! Does not: open ports.\n#![no_std]\n"), 0);
        assert_eq!(found("//! Wire.\n#![no_std]\n"), 1);
        assert_eq!(found("//! Wire. Does not open ports.\n#![cfg_attr(not(test), no_std)]\n"), 1);
    }

    #[test]
    fn reads_what_cargo_prints() {
        let metadata = serde_json::json!({ "packages": [{
            "name": "wire", "manifest_path": "/r/crates/wire/Cargo.toml",
            "metadata": { "cliplead": { "tier": "core" } },
            "dependencies": [{ "name": "libm", "kind": null }, { "name": "proptest", "kind": "dev" }],
        }]});
        let graph = Graph::from_metadata(&metadata, Path::new("/r")).unwrap();
        let wire = graph.package("wire").unwrap();
        assert_eq!((wire.folder.as_str(), wire.tier), ("crates/wire", Some(Tier::Core)));
        assert_eq!(wire.dependencies[0].1, "normal");
        assert_eq!(wire.dependencies[1].1, "dev");
    }
}
