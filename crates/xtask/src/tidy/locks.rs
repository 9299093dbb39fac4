//! Lock files of the workspaces beside this one: what the product takes too stands there in the product's version.
//! Does not ask cargo, and does not say whether a lock file fits its manifests; `--locked` does.

use std::collections::{BTreeMap, BTreeSet};

use toml::{Table, Value};

use crate::tidy::Finding;
use crate::tidy::lines::Source;

const NAME: &str = "Cargo.lock";

/// Checks every lock file below the root against the one at the root.
pub(crate) fn check(sources: &[Source], findings: &mut Vec<Finding>) {
    let Some(product) = sources.iter().find(|source| source.path == NAME) else { return };
    let known = versions(&product.text);
    let others = sources.iter().filter(|source| source.file_name() == NAME && source.path != NAME);
    for other in others {
        for (name, taken) in versions(&other.text) {
            let Some(known) = known.get(&name) else { continue };
            for version in taken.difference(known) {
                let of_product: Vec<&str> = known.iter().map(String::as_str).collect();
                findings.push(Finding {
                    file: other.path.clone(),
                    line: line_of(&other.text, &name, version),
                    what: format!("{name} {version}, and the product takes {}", of_product.join(" and ")),
                    why: "what is built there would say nothing of the product",
                    do_this: "copy the product's Cargo.lock over it and build there once: cargo keeps these versions and \
                              drops what it does not need",
                });
            }
        }
    }
}

/// The versions of each package from a registry; the paths of one's own have the version of their manifest.
fn versions(lock: &str) -> BTreeMap<String, BTreeSet<String>> {
    let mut found: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let table: Table = lock.parse().unwrap_or_default();
    let packages = table.get("package").and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    for package in packages {
        let text = |key: &str| package.get(key).and_then(Value::as_str);
        if let (Some(name), Some(version), Some(_)) = (text("name"), text("version"), text("source")) {
            found.entry(name.to_owned()).or_default().insert(version.to_owned());
        }
    }
    found
}

/// The line of the package's version; 0 when it is written otherwise than cargo does.
fn line_of(lock: &str, name: &str, version: &str) -> usize {
    let wanted = [format!("name = {name:?}"), format!("version = {version:?}")];
    let lines: Vec<&str> = lock.lines().collect();
    lines.windows(2).position(|pair| pair == wanted).map_or(0, |at| at + 2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::fixtures::{file, places};

    fn lock(packages: &[(&str, &str)]) -> String {
        let entry = |(name, version): &(&str, &str)| {
            format!("\n[[package]]\nname = \"{name}\"\nversion = \"{version}\"\nsource = \"registry+x\"\n")
        };
        packages.iter().map(entry).collect()
    }

    #[test]
    fn another_version_than_the_products_is_found() {
        let product = lock(&[("serde", "1.0.2"), ("syn", "2.0.0"), ("syn", "3.0.0")]);
        let board = lock(&[("cortex-m-rt", "0.7.7"), ("serde", "1.0.1"), ("syn", "2.0.0")]);
        let sources = [file(NAME, &product), file("crates/firmware/Cargo.lock", &board)];
        let mut findings = Vec::new();
        check(&sources, &mut findings);
        assert_eq!(
            places(&findings),
            ["crates/firmware/Cargo.lock:9 serde 1.0.1, and the product takes 1.0.2"]
        );
    }

    #[test]
    fn the_same_versions_and_packages_of_its_own_are_no_finding() {
        let product = lock(&[("serde", "1.0.2"), ("libm", "0.2.16")]);
        let board = lock(&[("cortex-m-rt", "0.7.7"), ("serde", "1.0.2")]);
        let ours = "\n[[package]]\nname = \"judge\"\nversion = \"0.1.0\"\n";
        let theirs = "\n[[package]]\nname = \"judge\"\nversion = \"0.2.0\"\n";
        let sources = [
            file(NAME, &format!("version = 4\n{product}{ours}")),
            file("tests/fuzz/Cargo.lock", &format!("version = 4\n{board}{theirs}")),
        ];
        let mut findings = Vec::new();
        check(&sources, &mut findings);
        assert_eq!(places(&findings), Vec::<String>::new());
    }
}
