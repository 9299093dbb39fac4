//! Steps that cargo itself carries out.
//! Does not run the product.

use anyhow::{Result, bail};

use crate::context::Context;
use crate::process::{Run, is_installed};
use crate::summary::Outcome;

pub(crate) fn fmt(context: &Context) -> Result<Outcome> {
    Run::cargo(&["fmt", "--all", "--check"]).in_dir(&context.root).check()?;
    // Beside the workspace.
    Run::cargo(&["fmt", "--check"]).in_dir(&context.root.join("crates/firmware")).check()?;
    Ok(Outcome::passed())
}

pub(crate) fn tidy(context: &Context) -> Result<Outcome> {
    if !crate::tidy::run(context)? {
        bail!("tidy has findings (above)");
    }
    Ok(Outcome::passed())
}

pub(crate) fn clippy(context: &Context) -> Result<Outcome> {
    context.cargo(&["clippy", "--workspace", "--all-targets", "--", "-D", "warnings"]).check()?;
    // Not among "all targets", because `cargo test` leaves it out. Of the whole workspace, so that nothing is checked twice: one
    // package alone would have other features below it.
    context.cargo(&["clippy", "--workspace", "--test", "power", "--", "-D", "warnings"]).check()?;
    Ok(Outcome::passed())
}

pub(crate) fn test(context: &Context) -> Result<Outcome> {
    // Built here once; otherwise each end-to-end test asks cargo for it, one after the other.
    let cliplead = context.build_cliplead()?;
    let tests = if is_installed("cargo-nextest") {
        let quiet = ["--status-level", "fail", "--final-status-level", "fail", "--no-fail-fast"];
        context.cargo(&[&["nextest", "run", "--workspace"], quiet.as_slice()].concat())
    } else {
        context.cargo(&["test", "--workspace", "--all-targets", "--no-fail-fast"])
    };
    tests.env("CLIPLEAD_BIN", cliplead).check()?;
    Ok(Outcome::passed())
}

pub(crate) fn doctest(context: &Context) -> Result<Outcome> {
    context.cargo(&["test", "--workspace", "--doc"]).check()?;
    Ok(Outcome::passed())
}

pub(crate) fn doc(context: &Context) -> Result<Outcome> {
    let run = context.cargo(&["doc", "--workspace", "--no-deps", "--document-private-items"]);
    run.env("RUSTDOCFLAGS", "-D warnings").check()?;
    Ok(Outcome::passed())
}

/// The second Bluetooth backend, which the default build on Linux leaves out: linted, and every test of the adapter run on it.
pub(crate) fn portable(context: &Context) -> Result<Outcome> {
    let of = ["--package", "link", "--package", "cliplead", "--features", PORTABLE];
    context
        .cargo(&[&["clippy"], of.as_slice(), &["--all-targets", "--", "-D", "warnings"]].concat())
        .check()?;
    // With `cliplead`, so that both have what the product's build with this feature has below them.
    let test = [&["test"], of.as_slice(), &["--lib", "ble::"]].concat();
    context.cargo(&test).check()?;
    let all = packages(context, &[])?;
    let portable = packages(context, &["--features", PORTABLE])?;
    if portable <= all {
        bail!(
            "the build with {PORTABLE} has {portable} packages, the default build {all}: the default build has its library too"
        );
    }
    Ok(Outcome::Passed(format!("{portable} packages, the default build has {all}")))
}

/// The feature with the portable Bluetooth backend.
pub(crate) const PORTABLE: &str = "ble-portable";

/// The build for the smallest boards: cargo's options for its features.
pub(crate) const SLIM: &[&str] = &["--no-default-features", "--features", "serial"];

/// What only the slim build leaves out must not leave unused items in it.
pub(crate) fn slim(context: &Context) -> Result<Outcome> {
    let base = ["clippy", "--package", "cliplead"];
    context.cargo(&[base.as_slice(), SLIM, &["--all-targets", "--", "-D", "warnings"]].concat()).check()?;
    let all = packages(context, &[])?;
    let slim = packages(context, SLIM)?;
    if slim >= all {
        bail!("the slim build has {slim} packages, the default build {all}: its features leave nothing out");
    }
    Ok(Outcome::Passed(format!("{slim} packages, the default build has {all}")))
}

/// How many packages a build of `cliplead` links, itself and the workspace's own included.
pub(crate) fn packages(context: &Context, features: &[&str]) -> Result<usize> {
    let base = ["tree", "--package", "cliplead", "--edges", "normal", "--prefix", "none"];
    let text = context.cargo(&[base.as_slice(), features].concat()).stdout()?;
    Ok(count_packages(&text))
}

/// Counts `name version` once each; `cargo tree` repeats a package wherever it is used again.
fn count_packages(tree: &str) -> usize {
    let name_and_version = |line: &str| {
        let mut words = line.split_whitespace();
        Some((words.next()?.to_owned(), words.next()?.to_owned()))
    };
    tree.lines().filter_map(name_and_version).collect::<std::collections::BTreeSet<_>>().len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_package_counts_once_and_two_versions_count_twice() {
        let tree = "cliplead v0.1.0 (/r/crates/cliplead)\nserde v1.0.1\nserde v1.0.1 (*)\nbits v1.0.0\n\
                    bits v2.0.0\nserde_derive v1.0.1 (proc-macro)\n\n";
        assert_eq!(count_packages(tree), 5);
    }
}
