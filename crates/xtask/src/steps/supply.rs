//! The steps about what the project takes from others: licences, doubled packages, sources, notices, advisories.
//! Does not hold what is allowed; `.cargo/deny.toml` does.

use anyhow::{Context as _, Result, bail};

use crate::context::Context;
use crate::process::{Run, is_installed, last_lines};
use crate::steps::no_std::THUMB;
use crate::summary::Outcome;
use crate::supply::{self, FIRMWARE, NOTICES, POLICY, notices};

/// The policy is kept, and the notices are those of the packages that are linked.
pub(crate) fn supply(context: &Context) -> Result<Outcome> {
    let policy = supply::policy(context)?;
    let product = supply::all(context, &policy)?;
    let alone = product.len();
    // Beside the product's: what both take must stand in one version, or the board would show nothing of the product.
    let packages = supply::sorted([product, supply::firmware(context, THUMB)?].concat());
    let findings = policy.check(&packages)?;
    for finding in &findings {
        println!("{POLICY}: {finding}");
    }
    if !findings.is_empty() {
        bail!("{} findings about what is taken from others (above)", findings.len());
    }
    let (text, linked) = notices_text(context)?;
    let kept = std::fs::read_to_string(context.root.join(NOTICES)).unwrap_or_default();
    if kept != text {
        bail!("{NOTICES} is not what the packages now ask for; `cargo xtask licences` writes it anew");
    }
    let deny = if is_installed("cargo-deny") {
        cargo_deny(context, &[], &["licenses", "bans", "sources"]).check()?;
        "cargo-deny says the same"
    } else {
        "cargo-deny is not installed, so nobody has checked it twice"
    };
    let firmware = packages.len() - alone;
    Ok(Outcome::Passed(format!(
        "{alone} packages, {linked} of them in the binary; {firmware} more in the firmware, which is not shipped; {deny}"
    )))
}

/// Known faults of the packages. It needs cargo-deny and the advisory database, which is a repository on a public server;
/// without either nothing was looked at, and that is said.
pub(crate) fn advisories(context: &Context) -> Result<Outcome> {
    if !is_installed("cargo-deny") {
        let why = "cargo-deny is not installed (`cargo install --locked cargo-deny`): nobody has looked for known faults";
        return Ok(Outcome::NotRun(why.to_owned()));
    }
    // The firmware has a lock file of its own, and is built for a target that the policy does not list.
    let firmware = ["--manifest-path", FIRMWARE, "--target", THUMB];
    for (what, workspace) in [("the workspace", [].as_slice()), ("the firmware", &firmware)] {
        let output = cargo_deny(context, workspace, &["advisories"]).output()?;
        if output.status.success() {
            continue;
        }
        let said = last_lines(&output.stderr, 20);
        if is_database_missing(&said) {
            return Ok(Outcome::NotRun(format!(
                "the advisory database could not be had: {}",
                last_lines(said.as_bytes(), 1)
            )));
        }
        bail!("{what}: cargo-deny ended with {}:\n{said}", output.status);
    }
    Ok(Outcome::Passed("the workspace and the firmware".to_owned()))
}

/// Whether cargo-deny had no advisories to compare with. It ends with 1 then, as it does when it finds something; what it
/// finds opens with `error[`.
fn is_database_missing(said: &str) -> bool {
    let lost = |line: &str| line.contains("[ERROR]") && line.contains("advisory-db");
    said.lines().any(lost) && !said.contains("error[")
}

/// `workspace`: cargo-deny's options for one that is not the product's.
fn cargo_deny(context: &Context, workspace: &[&str], checks: &[&str]) -> Run {
    let check = ["--config", POLICY, "check", "--hide-inclusion-graph"];
    let args = [&["deny", "--locked"], workspace, check.as_slice(), checks].concat();
    Run::cargo(&args).in_dir(&context.root)
}

/// Writes the notices anew.
pub(crate) fn write_notices(context: &Context) -> Result<()> {
    let (text, linked) = notices_text(context)?;
    std::fs::write(context.root.join(NOTICES), &text)
        .with_context(|| format!("{NOTICES} cannot be written"))?;
    println!("{NOTICES}: {linked} packages, {} bytes", text.len());
    Ok(())
}

/// The notices as they should be, and of how many packages.
fn notices_text(context: &Context) -> Result<(String, usize)> {
    let linked = supply::linked(context, &supply::policy(context)?)?;
    let (list, sqlite) = notices::read(&linked)?;
    let mit =
        std::fs::read_to_string(context.root.join("LICENSE-MIT")).context("LICENSE-MIT cannot be read")?;
    Ok((notices::write(&list, &sqlite, &mit)?, linked.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_database_is_told_from_an_advisory() {
        // The first two were said by cargo-deny 0.20.2 without a network, and with --offline.
        for (said, missing) in [
            (
                "2026-11-29 19:07:44 [ERROR] failed to fetch advisory database https://github.com/RustSec/advisory-db with \
                 cli: failed to clone:\nfatal: unable to access: Could not resolve host: github.com",
                true,
            ),
            (
                "2026-11-29 19:07:45 [ERROR] failed to get 'FETCH_HEAD' metadata: failed to get HEAD timestamp: [\"-C\", \
                 \"/c/advisory-dbs/advisory-db-3157\", \"show\"]\nfatal: cannot change to it",
                true,
            ),
            ("2026-11-29 19:07:45 [ERROR] failed to parse config at '.cargo/deny.toml'", false),
            ("error[vulnerability]: a fault in the parser\nadvisories FAILED", false),
            ("2026-11-29 [ERROR] advisory-db is old\nerror[vulnerability]: a fault", false),
        ] {
            assert_eq!(is_database_missing(said), missing, "{said}");
        }
    }
}
