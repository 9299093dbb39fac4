//! Where things are: the root, the target directory, what `cargo metadata` says.
//! Does not judge any of it.

use std::path::PathBuf;

use anyhow::{Context as _, Result};
use serde_json::Value;

use crate::options::Options;
use crate::process::Run;

/// What every step needs.
pub(crate) struct Context {
    /// The workspace root.
    pub(crate) root: PathBuf,
    /// The shared target directory (`CARGO_TARGET_DIR`, else `target`).
    pub(crate) target: PathBuf,
    /// `cargo metadata --no-deps` of the workspace.
    pub(crate) metadata: Value,
    pub(crate) options: Options,
}

impl Context {
    /// Asks cargo for the workspace that holds this crate.
    pub(crate) fn new(options: Options) -> Result<Self> {
        // As `cargo run` says now, not as it was at the build: clones may share a target directory.
        let here = std::env::var_os("CARGO_MANIFEST_DIR");
        let here = here.map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")), PathBuf::from);
        let root = here.ancestors().nth(2).context("crates/xtask has no workspace above it")?.to_owned();
        let ask = ["metadata", "--no-deps", "--format-version", "1"];
        let text = Run::cargo(&ask).in_dir(&root).stdout()?;
        let metadata: Value = serde_json::from_str(&text).context("cargo metadata printed no JSON")?;
        let target = metadata
            .get("target_directory")
            .and_then(Value::as_str)
            .context("no target_directory in the metadata")?;
        Ok(Self { target: PathBuf::from(target), root, metadata, options })
    }

    /// `cargo ARGS`, with `--locked` where it was asked for, run at the root.
    pub(crate) fn cargo(&self, args: &[&str]) -> Run {
        let mut args = args.to_vec();
        if self.options.locked {
            let after = if args.first() == Some(&"nextest") { 2 } else { 1 };
            args.insert(after, "--locked");
        }
        Run::cargo(&args).in_dir(&self.root)
    }

    /// Builds the product in the dev profile and says where it is.
    pub(crate) fn build_cliplead(&self) -> Result<PathBuf> {
        self.cargo(&["build", "--package", "cliplead"]).check()?;
        Ok(self.target.join("debug/cliplead"))
    }
}
