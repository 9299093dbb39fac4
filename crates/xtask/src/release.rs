//! The release binary, without the paths of the machine that built it: two builders get the same text in it. Cargo's own
//! setting for that (`trim-paths`) is not stable, and the compiler's takes absolute paths, so it cannot stand in
//! `.cargo/config.toml`. Does not pack or publish.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, bail};

use crate::context::Context;

/// Separates the compiler's arguments in `CARGO_ENCODED_RUSTFLAGS`.
const SEPARATOR: char = '\u{1f}';

/// A crate below rhai draws the keys of its hash tables while it is compiled, anew in each build, unless it is given a seed.
/// Every copy of a binary has the same keys in any case.
const HASH_SEED: (&str, &str) = ("CONST_RANDOM_SEED", "cliplead");

/// Builds the product in the release profile, with these options of cargo that choose features, and says where it is: the last
/// build lies there alone.
///
/// # Errors
/// When it does not build, or when a path of this machine is in it.
pub(crate) fn build(context: &Context, features: &[&str]) -> Result<PathBuf> {
    let machine = Machine::here(&context.root)?;
    let flags = machine.flags(std::env::var_os("CARGO_ENCODED_RUSTFLAGS"), std::env::var_os("RUSTFLAGS"));
    let base = ["build", "--release", "--package", "cliplead"];
    let run = context.cargo(&[base.as_slice(), features].concat());
    run.env("CARGO_ENCODED_RUSTFLAGS", flags).env(HASH_SEED.0, HASH_SEED.1).check()?;
    let binary = context.target.join("release/cliplead");
    let bytes = std::fs::read(&binary).context("no release binary")?;
    let found = machine.found_in(&bytes);
    if !found.is_empty() {
        bail!(
            "the release binary holds paths of this machine, which name whoever built it and make two builds differ: {}; \
             let `Machine::here` in crates/xtask/src/release.rs cover where they come from",
            found.join(", ")
        );
    }
    Ok(binary)
}

/// The folders of this machine that source may come from.
struct Machine {
    /// What is written in place of each; of several that fit, the compiler takes the last.
    remaps: Vec<(PathBuf, String)>,
    /// What must not be in the binary.
    secret: Vec<PathBuf>,
}

impl Machine {
    fn here(root: &Path) -> Result<Self> {
        let home = std::env::var_os("HOME").or_else(|| std::env::var_os("USERPROFILE")).map(PathBuf::from);
        let under_home = |variable: &str, folder: &str| {
            std::env::var_os(variable).map(PathBuf::from).or_else(|| Some(home.as_ref()?.join(folder)))
        };
        let cargo = under_home("CARGO_HOME", ".cargo").context("neither CARGO_HOME nor HOME is set")?;
        let rustup = under_home("RUSTUP_HOME", ".rustup");
        let mut remaps = vec![(root.to_owned(), "cliplead".to_owned())];
        remaps.extend(rustup.iter().map(|folder| (folder.clone(), "rustup".to_owned())));
        remaps.push((cargo.clone(), "cargo".to_owned()));
        // The folder of a registry is named after where this machine reaches it.
        if let Ok(registries) = std::fs::read_dir(cargo.join("registry/src")) {
            let mut folders: Vec<PathBuf> = registries.flatten().map(|entry| entry.path()).collect();
            folders.sort();
            remaps.extend(folders.into_iter().map(|folder| (folder, "crates.io".to_owned())));
        }
        let secret = [Some(root.to_owned()), home, Some(cargo), rustup].into_iter().flatten().collect();
        Ok(Self { remaps, secret })
    }

    /// The compiler's arguments: those the caller has set, then ours.
    fn flags(&self, encoded: Option<OsString>, plain: Option<OsString>) -> String {
        let text = |value: Option<OsString>| value.map(|value| value.to_string_lossy().into_owned());
        let mut flags: Vec<String> = match (text(encoded), text(plain)) {
            (Some(encoded), _) => encoded.split(SEPARATOR).map(str::to_owned).collect(),
            (None, Some(plain)) => plain.split_whitespace().map(str::to_owned).collect(),
            (None, None) => Vec::new(),
        };
        flags.retain(|flag| !flag.is_empty());
        flags.extend(
            self.remaps.iter().map(|(from, to)| format!("--remap-path-prefix={}={to}", from.display())),
        );
        flags.join(&SEPARATOR.to_string())
    }

    /// The secret folders that stand in these bytes, each with how often and with the first path of it.
    fn found_in(&self, bytes: &[u8]) -> Vec<String> {
        let mut found = Vec::new();
        for folder in &self.secret {
            let mut start = folder.to_string_lossy().trim_end_matches(['/', '\\']).to_owned();
            // "/" and "/x" stand in many a text.
            if start.len() < 3 {
                continue;
            }
            start.push(std::path::MAIN_SEPARATOR);
            let places: Vec<&[u8]> = places(bytes, start.as_bytes()).collect();
            if let Some(first) = places.first() {
                let end =
                    first.iter().position(|byte| !byte.is_ascii_graphic()).unwrap_or(first.len()).min(120);
                let path = String::from_utf8_lossy(first.get(..end).unwrap_or_default()).into_owned();
                found.push(format!("{} x {start} ({path})", places.len()));
            }
        }
        found
    }
}

/// The rest of the bytes from each place at which `text` stands.
fn places<'a>(bytes: &'a [u8], text: &'a [u8]) -> impl Iterator<Item = &'a [u8]> {
    let first = text.first().copied().unwrap_or_default();
    let mut at = 0;
    std::iter::from_fn(move || {
        loop {
            let rest = bytes.get(at..)?;
            let from = rest.iter().position(|byte| *byte == first)?;
            at += from + 1;
            let candidate = rest.get(from..)?;
            if candidate.starts_with(text) {
                return Some(candidate);
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn machine() -> Machine {
        let remaps =
            vec![(PathBuf::from("/home/a/src"), "cliplead".to_owned()), ("/c".into(), "cargo".to_owned())];
        Machine { remaps, secret: vec!["/home/a/src".into(), "/home/a".into(), "/".into(), "/c".into()] }
    }

    #[test]
    fn each_path_of_the_machine_is_found() {
        let found = |text: &str| machine().found_in(text.as_bytes());
        assert_eq!(found("\0crates/x.rs\0/home/another/b\0/home/a\0/c/d"), Vec::<String>::new());
        assert_eq!(
            found("//home/a/.cargo/b.rs\0 /home/a/src/c.rs: at\0"),
            ["1 x /home/a/src/ (/home/a/src/c.rs:)", "2 x /home/a/ (/home/a/.cargo/b.rs)"]
        );
        assert_eq!(found("/home/a/"), ["1 x /home/a/ (/home/a/)"]);
    }

    #[test]
    fn the_callers_flags_come_first_and_ours_last() {
        let ours = "--remap-path-prefix=/home/a/src=cliplead\u{1f}--remap-path-prefix=/c=cargo";
        let flags = |encoded: Option<&str>, plain: Option<&str>| {
            machine().flags(encoded.map(OsString::from), plain.map(OsString::from))
        };
        assert_eq!(flags(None, None), ours);
        assert_eq!(flags(None, Some(" -C a  -C b ")), format!("-C\u{1f}a\u{1f}-C\u{1f}b\u{1f}{ours}"));
        assert_eq!(flags(Some("-C\u{1f}a b"), Some("-C c")), format!("-C\u{1f}a b\u{1f}{ours}"));
        assert_eq!(flags(Some(""), None), ours);
    }

    /// The test's own binary was built without any of it, and is full of paths.
    #[test]
    fn a_binary_built_as_usual_is_caught() {
        let here = Machine::here(Path::new(env!("CARGO_MANIFEST_DIR"))).unwrap();
        let bytes = std::fs::read(std::env::current_exe().unwrap()).unwrap();
        assert!(!here.found_in(&bytes).is_empty());
    }
}
