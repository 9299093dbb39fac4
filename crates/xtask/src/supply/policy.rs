//! The policy of `.cargo/deny.toml`: licences, doubled packages, sources. It reads the part of cargo-deny's format that
//! stands there and refuses what it does not know, so that no line of the file is without effect.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::{Context as _, Result, bail, ensure};
use spdx::{Expression, Licensee, ParseMode};
use toml::{Table, Value};

use crate::supply::Package;

/// What is allowed.
#[derive(Debug)]
pub(crate) struct Policy {
    pub(crate) targets: Vec<String>,
    allow: Vec<String>,
    /// Further licences of one crate.
    exceptions: BTreeMap<String, Vec<String>>,
    /// `name@version` of the doubled packages that are put up with.
    skip: Vec<String>,
    registries: Vec<String>,
}

/// Every key that the file may hold, and what is read of it here or only by cargo-deny.
const KEYS: &[(&str, &[&str])] = &[
    ("graph", &["targets", "all-features"]),
    ("licenses", &["allow", "unused-allowed-license", "exceptions", "private"]),
    ("bans", &["multiple-versions", "wildcards", "skip"]),
    ("sources", &["unknown-registry", "unknown-git", "allow-registry", "allow-git"]),
    ("advisories", &["ignore"]),
];
/// What must be denied for the checks here to say the same as cargo-deny.
const DENIED: &[(&str, &str)] = &[
    ("licenses", "unused-allowed-license"),
    ("bans", "multiple-versions"),
    ("sources", "unknown-registry"),
    ("sources", "unknown-git"),
];

impl Policy {
    /// Reads the file's text.
    pub(crate) fn parse(text: &str) -> Result<Self> {
        let file: Table = text.parse().context("it is no TOML")?;
        for (name, section) in &file {
            let known = KEYS.iter().find(|(known, _)| known == name);
            let Some((_, keys)) = known else { bail!("[{name}] is not known here") };
            let section = section.as_table().with_context(|| format!("{name} is no table"))?;
            for key in section.keys() {
                ensure!(keys.contains(&key.as_str()), "{name}.{key} is not known here");
            }
        }
        let at = |section: &str, key: &str| file.get(section).and_then(|table| table.get(key));
        for (section, key) in DENIED {
            let denied = at(section, key).and_then(Value::as_str) == Some("deny");
            ensure!(denied, "{section}.{key} must be \"deny\"");
        }
        let none = at("sources", "allow-git").is_none_or(|list| list.as_array().is_some_and(Vec::is_empty));
        ensure!(none, "sources.allow-git must be empty");
        let mut exceptions = BTreeMap::new();
        for entry in tables(at("licenses", "exceptions"), "licenses.exceptions")? {
            let name = entry.get("crate").and_then(Value::as_str).context("an exception names no crate")?;
            exceptions.insert(name.to_owned(), texts(entry.get("allow"), "an exception's allow")?);
        }
        let mut skip = Vec::new();
        for entry in tables(at("bans", "skip"), "bans.skip")? {
            let name = entry.get("crate").and_then(Value::as_str).context("a skip names no crate")?;
            let reason = entry.get("reason").and_then(Value::as_str).unwrap_or_default();
            ensure!(
                name.contains('@') && !reason.is_empty(),
                "skip {name:?} needs name@version and a reason"
            );
            skip.push(name.to_owned());
        }
        for entry in tables(at("advisories", "ignore"), "advisories.ignore")? {
            let reason = entry.get("reason").and_then(Value::as_str).unwrap_or_default();
            ensure!(!reason.is_empty(), "an ignored advisory has no reason");
        }
        Ok(Self {
            targets: texts(at("graph", "targets"), "graph.targets")?,
            allow: texts(at("licenses", "allow"), "licenses.allow")?,
            exceptions,
            skip,
            registries: texts(at("sources", "allow-registry"), "sources.allow-registry")?,
        })
    }

    /// What of these packages is not allowed, and what the policy allows without need; a sentence each.
    pub(crate) fn check(&self, packages: &[Package]) -> Result<Vec<String>> {
        let mut findings = self.licences(packages)?;
        self.doubles(packages, &mut findings);
        for Package { name, version, source, .. } in packages {
            let registry = source.strip_prefix("registry+").unwrap_or_default();
            if !self.registries.iter().any(|known| known == registry) {
                findings.push(format!(
                    "{name} {version} comes from {source}, which sources.allow-registry does not list"
                ));
            }
        }
        Ok(findings)
    }

    fn licences(&self, packages: &[Package]) -> Result<Vec<String>> {
        let mut findings = Vec::new();
        let mut used = BTreeSet::new();
        for Package { name, version, license, .. } in packages {
            let Ok(expression) = Expression::parse_mode(license, ParseMode::LAX) else {
                findings.push(format!("{name} {version}: its licence {license:?} is no licence expression"));
                continue;
            };
            let own = self.exceptions.get(name).map(Vec::as_slice).unwrap_or_default();
            let mut allowed = Vec::new();
            for (of, id) in
                self.allow.iter().map(|id| ("", id)).chain(own.iter().map(|id| (name.as_str(), id)))
            {
                let licensee =
                    Licensee::parse(id).ok().with_context(|| format!("{id:?} is no SPDX licence"))?;
                allowed.push((of, id, licensee));
            }
            let fine = expression.evaluate(|required| {
                let meets = allowed.iter().find(|(_, _, licensee)| licensee.satisfies(required));
                used.extend(meets.map(|(of, id, _)| ((*of).to_owned(), (*id).clone())));
                meets.is_some()
            });
            if !fine {
                findings.push(format!(
                    "{name} {version}: its licence {license} is not allowed; look it over, then take another crate or \
                     list it in licenses.allow or licenses.exceptions"
                ));
            }
        }
        let general = self.allow.iter().map(|id| (String::new(), id.clone()));
        let special =
            self.exceptions.iter().flat_map(|(of, ids)| ids.iter().map(|id| (of.clone(), id.clone())));
        for (of, id) in general.chain(special).filter(|entry| !used.contains(entry)) {
            let of = if of.is_empty() { "no package" } else { of.as_str() };
            findings.push(format!("the licence {id} is allowed, but {of} needs it; take it out"));
        }
        Ok(findings)
    }

    fn doubles(&self, packages: &[Package], findings: &mut Vec<String>) {
        let mut unused: BTreeSet<&str> = self.skip.iter().map(String::as_str).collect();
        let mut versions: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        for Package { name, version, .. } in packages {
            versions.entry(name).or_default().push(version);
        }
        for (name, versions) in versions.iter().filter(|(_, versions)| versions.len() > 1) {
            let mut left = Vec::new();
            for version in versions {
                match self.skip.iter().find(|skip| covers(skip, name, version)) {
                    Some(skip) => {
                        unused.remove(skip.as_str());
                    }
                    None => left.push(*version),
                }
            }
            if left.len() > 1 {
                findings.push(format!(
                    "{name} is there in {} versions ({}); make them one, or say in bans.skip why not",
                    versions.len(),
                    versions.join(", ")
                ));
            }
        }
        findings.extend(
            unused.iter().map(|skip| format!("bans.skip {skip} covers no doubled package; take it out")),
        );
    }
}

/// Whether `name@0.26` covers this version: the same numbers as far as they are given.
fn covers(skip: &str, name: &str, version: &str) -> bool {
    let Some((of, given)) = skip.split_once('@') else { return false };
    let rest = version.strip_prefix(given);
    of == name && rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
}

fn texts(value: Option<&Value>, what: &str) -> Result<Vec<String>> {
    let list = value.and_then(Value::as_array).with_context(|| format!("{what} is no list"))?;
    let text = |value: &Value| {
        value.as_str().map(str::to_owned).with_context(|| format!("{what}: {value:?} is no text"))
    };
    list.iter().map(text).collect()
}

fn tables<'a>(value: Option<&'a Value>, what: &str) -> Result<Vec<&'a Table>> {
    let Some(value) = value else { return Ok(Vec::new()) };
    let list = value.as_array().with_context(|| format!("{what} is no list"))?;
    list.iter()
        .map(|entry| entry.as_table().with_context(|| format!("{what}: {entry:?} is no table")))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = r#"
[graph]
targets = ["x"]
[licenses]
allow = ["MIT", "Apache-2.0"]
unused-allowed-license = "deny"
exceptions = [{ crate = "port", allow = ["MPL-2.0"] }]
[bans]
multiple-versions = "deny"
skip = [{ crate = "nix@0.26", reason = "port" }]
[sources]
unknown-registry = "deny"
unknown-git = "deny"
allow-registry = ["https://r/i"]
"#;

    fn package(name: &str, version: &str, license: &str) -> Package {
        Package {
            name: name.into(),
            version: version.into(),
            license: license.into(),
            source: "registry+https://r/i".into(),
            ..Package::default()
        }
    }

    /// Packages that use all that `FILE` allows.
    fn fine() -> Vec<Package> {
        vec![
            package("a", "1.0.0", "MIT OR GPL-3.0-only"),
            package("b", "1.0.0", "Apache-2.0"),
            package("nix", "0.26.4", "MIT/Apache-2.0"),
            package("nix", "0.31.4", "MIT"),
            package("port", "4.0.0", "MPL-2.0+"),
        ]
    }

    #[test]
    fn what_is_allowed_has_no_findings() {
        assert_eq!(Policy::parse(FILE).unwrap().check(&fine()).unwrap(), Vec::<String>::new());
    }

    #[test]
    fn each_breach_is_found() {
        let policy = Policy::parse(FILE).unwrap();
        let with = |more: Package| policy.check(&[fine(), vec![more]].concat()).unwrap().join("\n");
        for (more, want) in [
            (package("c", "1.0.0", "GPL-3.0-only"), "c 1.0.0: its licence GPL-3.0-only is not allowed"),
            (
                package("c", "1.0.0", "MIT AND GPL-3.0-only"),
                "c 1.0.0: its licence MIT AND GPL-3.0-only is not",
            ),
            (package("c", "1.0.0", "MPL-2.0"), "c 1.0.0: its licence MPL-2.0 is not allowed"),
            (package("c", "1.0.0", ""), "c 1.0.0: its licence \"\" is no licence expression"),
            (package("a", "2.0.0", "MIT"), "a is there in 2 versions (1.0.0, 2.0.0)"),
            (package("nix", "0.30.0", "MIT"), "nix is there in 3 versions"),
            (
                Package { source: "git+https://r/i".into(), ..package("c", "1.0.0", "MIT") },
                "c 1.0.0 comes from git+",
            ),
            (
                Package { source: "registry+https://o".into(), ..package("c", "1.0.0", "MIT") },
                "c 1.0.0 comes from",
            ),
        ] {
            let found = with(more);
            assert!(found.starts_with(want) && !found.contains('\n'), "{found}");
        }
    }

    #[test]
    fn what_nobody_needs_is_found() {
        let policy = Policy::parse(FILE).unwrap();
        let found = policy.check(&[package("a", "1.0.0", "MIT")]).unwrap();
        assert_eq!(
            found,
            [
                "the licence Apache-2.0 is allowed, but no package needs it; take it out",
                "the licence MPL-2.0 is allowed, but port needs it; take it out",
                "bans.skip nix@0.26 covers no doubled package; take it out",
            ]
        );
    }

    #[test]
    fn a_line_that_would_have_no_effect_is_refused() {
        let skip = "needs name@version and a reason";
        for (old, new, want) in [
            ("[graph]", "[graf]", "[graf] is not known here"),
            ("targets =", "target =", "graph.target is not known here"),
            ("unknown-git = \"deny\"", "unknown-git = \"warn\"", "sources.unknown-git must be \"deny\""),
            ("multiple-versions = \"deny\"", "", "bans.multiple-versions must be \"deny\""),
            ("nix@0.26", "nix", skip),
            ("reason = \"port\"", "why = \"port\"", skip),
            ("unused-allowed-license", "unused", "licenses.unused is not known here"),
            ("[bans]", "[advisories]\nignore = [{ id = \"RUSTSEC-1\" }]\n[bans]", "RUSTSEC-1"),
        ] {
            let Err(error) = Policy::parse(&FILE.replace(old, new)) else {
                panic!("{old} -> {new} was taken")
            };
            assert!(format!("{error:#}").contains(want), "{old} -> {new}: {error:#}");
        }
        let unknown = FILE.replace("\"MIT\"", "\"Mite\"");
        assert!(Policy::parse(&unknown).unwrap().check(&fine()).is_err());
    }
}
