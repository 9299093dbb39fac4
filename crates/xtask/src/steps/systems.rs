//! The step that compiles the product for Windows and macOS, lints included. Nothing is linked or run there.
//! The C code of SQLite is compiled by zig's C compiler, which comes as a Python package and knows both systems.

use std::path::PathBuf;

use anyhow::{Context as _, Result, ensure};

use crate::context::Context;
use crate::process::rustup_target;
use crate::steps::python;
use crate::summary::Outcome;

/// The C compiler's version (PyPI).
const ZIG: &str = "ziglang==0.17.1";
/// Rust's name of each system, zig's, and the variable by which a build script is told its C compiler.
const SYSTEMS: [(&str, &str, &str); 2] = [
    ("x86_64-pc-windows-gnu", "x86_64-windows-gnu", "CC_x86_64_pc_windows_gnu"),
    ("aarch64-apple-darwin", "aarch64-macos", "CC_aarch64_apple_darwin"),
];

pub(crate) fn systems(context: &Context) -> Result<Outcome> {
    let python = match prepare(context) {
        Ok(python) => python,
        Err(reason) => {
            let why = format!("WINDOWS AND MACOS WERE NOT COMPILED: {reason:#}");
            println!("{why}");
            return Ok(Outcome::NotRun(why));
        }
    };
    // One call for both, so that neither waits for the other's last crates.
    let mut args = vec!["clippy", "--package", "cliplead"];
    args.extend(SYSTEMS.iter().flat_map(|(target, ..)| ["--target", target]));
    args.extend(["--", "-D", "warnings"]);
    let mut run = context
        .cargo(&args)
        // zig takes no target in the form that build scripts give.
        .env("CRATE_CC_NO_DEFAULTS", "1")
        .env("ZIG_GLOBAL_CACHE_DIR", context.target.join("zig-cache"));
    for (_, zig, variable) in SYSTEMS {
        run = run.env(variable, format!("{} -m ziglang cc -target {zig}", python.display()));
    }
    run.check()?;
    Ok(Outcome::Passed(
        "compiled with its lints for Windows and macOS; nothing was linked or run there".to_owned(),
    ))
}

/// The targets of Rust, and the Python of an environment that holds the C compiler.
fn prepare(context: &Context) -> Result<PathBuf> {
    for (target, ..) in SYSTEMS {
        rustup_target(target).with_context(|| format!("the target {target} could not be installed"))?;
    }
    // cc splits the variable at spaces.
    let target = context.target.to_string_lossy();
    ensure!(!target.contains(' '), "the path {target} holds a space");
    python::environment(context, "zig", ZIG, &[ZIG]).context("the C compiler could not be installed")
}
