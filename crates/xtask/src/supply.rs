//! What the project takes from others: which packages there are, and which of them the product's binary holds.
//! Does not judge them; `policy` does. Does not write about them; `notices` does.

pub(crate) mod notices;
pub(crate) mod policy;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, bail};
use serde_json::Value;

use crate::context::Context;
use crate::supply::policy::Policy;

/// The policy, in cargo-deny's format.
pub(crate) const POLICY: &str = ".cargo/deny.toml";
/// The notices that the binary prints.
pub(crate) const NOTICES: &str = "crates/cliplead/third-party.txt";

/// The firmware's manifest; it stands beside the workspace.
pub(crate) const FIRMWARE: &str = "crates/firmware/Cargo.toml";

/// A package that is not ours.
#[derive(Clone, Debug, Default)]
pub(crate) struct Package {
    pub(crate) name: String,
    pub(crate) version: String,
    /// The licence expression of its manifest.
    pub(crate) license: String,
    /// Where its source is kept; empty when its manifest does not say.
    pub(crate) repository: String,
    /// Where cargo has it from.
    pub(crate) source: String,
    /// Its unpacked source on this machine.
    pub(crate) folder: PathBuf,
}

/// Reads the policy.
pub(crate) fn policy(context: &Context) -> Result<Policy> {
    let path = context.root.join(POLICY);
    let text = std::fs::read_to_string(&path).with_context(|| format!("{POLICY} cannot be read"))?;
    Policy::parse(&text).with_context(|| format!("{POLICY} cannot be used"))
}

/// Every package that a build, a test or a tool of the workspace takes on the policy's targets, by name and version.
pub(crate) fn all(context: &Context, policy: &Policy) -> Result<Vec<Package>> {
    let mut args = vec!["metadata", "--format-version", "1", "--all-features"];
    for target in &policy.targets {
        args.extend(["--filter-platform", target]);
    }
    packages(&context.cargo(&args).stdout()?)
}

/// Every package that the firmware takes, by its own lock file. It is not shipped, so no notices are written of it.
pub(crate) fn firmware(context: &Context, target: &str) -> Result<Vec<Package>> {
    let args =
        ["metadata", "--format-version", "1", "--manifest-path", FIRMWARE, "--filter-platform", target];
    packages(&context.cargo(&args).stdout()?)
}

fn packages(metadata: &str) -> Result<Vec<Package>> {
    let metadata: Value = serde_json::from_str(metadata).context("cargo metadata printed no JSON")?;
    let listed = metadata.get("packages").and_then(Value::as_array).context("no packages in the metadata")?;
    Ok(sorted(listed.iter().filter_map(package).collect()))
}

/// By name and version, each once.
pub(crate) fn sorted(mut packages: Vec<Package>) -> Vec<Package> {
    packages.sort_by(|a, b| (&a.name, &a.version, &a.source).cmp(&(&b.name, &b.version, &b.source)));
    packages.dedup_by(|a, b| (&a.name, &a.version, &a.source) == (&b.name, &b.version, &b.source));
    packages
}

/// One entry of `cargo metadata`; `None` for our own packages, which have no source.
fn package(entry: &Value) -> Option<Package> {
    let text = |key: &str| entry.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
    let source = entry.get("source").and_then(Value::as_str)?.to_owned();
    let folder = Path::new(&text("manifest_path")).parent()?.to_owned();
    Some(Package {
        name: text("name"),
        version: text("version"),
        license: text("license"),
        repository: text("repository"),
        source,
        folder,
    })
}

/// Those whose code a build of the product holds on any of the policy's targets, with every feature. Procedural macros and what
/// runs in build scripts are not in it.
pub(crate) fn linked(context: &Context, policy: &Policy) -> Result<Vec<Package>> {
    let mut names = BTreeSet::new();
    for target in &policy.targets {
        let base = [
            "tree",
            "--package",
            "cliplead",
            "--edges",
            "normal,no-proc-macro",
            "--prefix",
            "none",
            "--all-features",
        ];
        let text = context.cargo(&[base.as_slice(), &["--target", target]].concat()).stdout()?;
        names.extend(text.lines().filter_map(name_and_version));
    }
    let packages: Vec<Package> = all(context, policy)?
        .into_iter()
        .filter(|package| names.contains(&(package.name.clone(), package.version.clone())))
        .collect();
    if packages.is_empty() {
        bail!("cargo tree names no package of others in the product");
    }
    Ok(packages)
}

/// `name v1.2.3 ...` of a line of `cargo tree`.
fn name_and_version(line: &str) -> Option<(String, String)> {
    let mut words = line.split_whitespace();
    let name = words.next()?.to_owned();
    Some((name, words.next()?.strip_prefix('v')?.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_the_tree_names_a_package() {
        let named = |line| name_and_version(line).map(|(name, version)| format!("{name} {version}"));
        assert_eq!(named("serde v1.0.2 (*)").as_deref(), Some("serde 1.0.2"));
        assert_eq!(named(""), None);
        assert_eq!(named("[dev-dependencies] "), None);
    }

    #[test]
    fn what_two_workspaces_take_counts_once_and_another_version_stays() {
        let made = |name: &str, version: &str| Package {
            name: name.to_owned(),
            version: version.to_owned(),
            ..Package::default()
        };
        let both = vec![
            made("serde", "1.0.2"),
            made("rhai", "1.0.0"),
            made("serde", "1.0.2"),
            made("serde", "1.0.3"),
        ];
        let named: Vec<String> = sorted(both).iter().map(|p| format!("{} {}", p.name, p.version)).collect();
        assert_eq!(named, ["rhai 1.0.0", "serde 1.0.2", "serde 1.0.3"]);
    }

    #[test]
    fn our_own_packages_are_left_out() {
        let entry = |source: Value| {
            serde_json::json!({"name": "a", "version": "1.0.0", "license": null, "repository": null,
                "source": source, "manifest_path": "/r/a/Cargo.toml"})
        };
        assert!(package(&entry(Value::Null)).is_none());
        let theirs = package(&entry("registry+x".into())).unwrap();
        assert_eq!((theirs.license.as_str(), theirs.folder), ("", PathBuf::from("/r/a")));
    }
}
