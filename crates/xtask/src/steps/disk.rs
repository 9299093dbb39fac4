//! Steps that need a traced or a small disk: power cuts and slow flushes (strace), a full disk (a mount of its own).
//! Does not hold the checks; they stand in `tests/power`.

use anyhow::Result;

use crate::context::Context;
use crate::process::{Run, apt_install, is_installed};
use crate::summary::Outcome;

pub(crate) fn power(context: &Context) -> Result<Outcome> {
    with_strace(context, "cut::", "NO POWER CUT WAS TRIED")
}

pub(crate) fn slow(context: &Context) -> Result<Outcome> {
    with_strace(context, "slow::", "NO SLOW DISK WAS TRIED")
}

fn with_strace(context: &Context, part: &str, untried: &str) -> Result<Outcome> {
    if !is_installed("strace")
        && let Err(error) = apt_install(&["strace"])
    {
        return Ok(Outcome::NotRun(format!("no strace, so {untried}: {error:#}")));
    }
    let tried = Run::new("strace", &["-f", "-o", "/dev/null", "true"]).output()?;
    if !tried.status.success() {
        return Ok(Outcome::NotRun(format!("strace may not trace here (ptrace refused), so {untried}")));
    }
    run(context, part)
}

pub(crate) fn full(context: &Context) -> Result<Outcome> {
    let mounts = ["--mount", "--map-root-user", "mount", "-t", "tmpfs", "none", "/mnt"];
    let tried = Run::new("unshare", &mounts).output();
    if !tried.is_ok_and(|output| output.status.success()) {
        let why = "`unshare --mount --map-root-user mount` is refused, so NO FULL DISK WAS TRIED";
        return Ok(Outcome::NotRun(why.to_owned()));
    }
    run(context, "full::")
}

/// Runs the tests of `tests/power` whose names begin with `part`; none at all is a failure.
fn run(context: &Context, part: &str) -> Result<Outcome> {
    let cliplead = context.build_cliplead()?;
    // Of the whole workspace: all below it is built for the step `test` already.
    let test = ["test", "--workspace", "--test", "power", "--", "--nocapture", part];
    context.cargo(&test).env("CLIPLEAD_BIN", cliplead).check()?;
    Ok(Outcome::passed())
}
