//! Steps that prove the core crates, and `record` without its feature `std`, free of std. The firmware's lints are here too: they
//! need the same crates for the same target.
//! Does not hold the proof itself: that is the crate in `tests/no-std-proof`.

use std::path::PathBuf;

use anyhow::{Context as _, Result};

use crate::context::Context;
use crate::process::{Run, rustup_target};
use crate::summary::Outcome;

/// The target of a Cortex-M4 with FPU.
pub(super) const THUMB: &str = "thumbv7em-none-eabihf";

pub(crate) fn host(context: &Context) -> Result<Outcome> {
    both(context, &[])?;
    Ok(Outcome::passed())
}

pub(crate) fn thumb(context: &Context) -> Result<Outcome> {
    if let Err(reason) = rustup_target(THUMB) {
        let why = format!("NOT BUILT: {THUMB} could not be installed ({reason:#})");
        println!("{why}");
        return Ok(Outcome::NotRun(why));
    }
    both(context, &["--target", THUMB])?;
    firmware_lints(context)?;
    Ok(Outcome::passed())
}

/// The firmware stands beside the workspace, so the step `clippy` does not see it, and it compiles for the board alone.
fn firmware_lints(context: &Context) -> Result<()> {
    let mut args = vec!["clippy", "--target", THUMB];
    if context.options.locked {
        args.push("--locked");
    }
    args.extend(["--", "-D", "warnings"]);
    let run = Run::cargo(&args).in_dir(&context.root.join("crates/firmware"));
    run.env("CARGO_TARGET_DIR", target(context)).check()
}

/// Without the loader of profiles, as a firmware may do, and with it.
fn both(context: &Context, more: &[&str]) -> Result<()> {
    prove(context, more)?;
    prove(context, &[more, &["--features", "toml"]].concat())
}

/// Checks the proof with the same versions as the product: it gets a copy of the product's lock file, from which cargo
/// drops what it does not need. Whoever brings std in is found before any code is made, so none is.
fn prove(context: &Context, more: &[&str]) -> Result<()> {
    let proof = context.root.join("tests/no-std-proof");
    std::fs::copy(context.root.join("Cargo.lock"), proof.join("Cargo.lock"))
        .context("could not copy Cargo.lock to tests/no-std-proof")?;
    let run = Run::cargo(&[&["check"], more].concat()).in_dir(&proof);
    run.env("CARGO_TARGET_DIR", target(context)).check()
}

/// The target folder of both, apart from the product's: other features, other names.
fn target(context: &Context) -> PathBuf {
    context.target.join("no-std-proof")
}
