//! Steps that prove the core crates, and `record` without its feature `std`, free of std.
//! Does not hold the proof itself: that is the crate in `tests/no-std-proof`.

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
    Ok(Outcome::passed())
}

/// Without the loader of profiles, as a firmware may do, and with it.
fn both(context: &Context, more: &[&str]) -> Result<()> {
    build(context, more)?;
    build(context, &[more, &["--features", "toml"]].concat())
}

/// Builds the proof with the same versions as the product: it gets a copy of the product's lock file, from which cargo
/// drops what it does not need.
fn build(context: &Context, more: &[&str]) -> Result<()> {
    let proof = context.root.join("tests/no-std-proof");
    std::fs::copy(context.root.join("Cargo.lock"), proof.join("Cargo.lock"))
        .context("could not copy Cargo.lock to tests/no-std-proof")?;
    let target = context.target.join("no-std-proof");
    let run = Run::cargo(&[&["build"], more].concat()).in_dir(&proof);
    run.env("CARGO_TARGET_DIR", target).check()
}
