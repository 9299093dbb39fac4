//! The steps of `cargo xtask test`, in order: the fast ones first.
//! Does not hold what a step does; each module beside this one does.

mod budget;
mod disk;
mod firmware;
mod no_std;
mod product;
mod python;
mod rust;
pub(crate) mod supply;
mod systems;

use std::time::Instant;

use anyhow::{Result, bail};

use crate::context::Context;
use crate::summary::{Line, Outcome, Summary};

/// One selectable check.
struct Step {
    name: &'static str,
    what: &'static str,
    run: fn(&Context) -> Result<Outcome>,
}

const STEPS: &[Step] = &[
    Step { name: "fmt", what: "cargo fmt --check", run: rust::fmt },
    Step { name: "tidy", what: "tiers, sizes, opening lines, DEVELOPERS.md, links", run: rust::tidy },
    Step {
        name: "supply",
        what: "licences, doubled packages, sources, third-party notices",
        run: supply::supply,
    },
    Step { name: "advisories", what: "known faults of what is taken from others", run: supply::advisories },
    Step { name: "clippy", what: "cargo clippy, warnings are errors", run: rust::clippy },
    Step { name: "test", what: "unit, property, hostile-rule and integration tests", run: rust::test },
    Step { name: "doctest", what: "examples in the documentation", run: rust::doctest },
    Step { name: "doc", what: "documentation builds, warnings are errors", run: rust::doc },
    Step {
        name: "no-std",
        what: "core crates and written forms compile without std for this machine",
        run: no_std::host,
    },
    Step {
        name: "thumb",
        what: "the same for thumbv7em-none-eabihf, and the firmware's lints",
        run: no_std::thumb,
    },
    Step { name: "slim", what: "the build for the smallest boards: lints", run: rust::slim },
    Step {
        name: "portable",
        what: "the second Bluetooth backend: lints, and the adapter's tests on it",
        run: rust::portable,
    },
    Step { name: "systems", what: "the product compiles for Windows and macOS", run: systems::systems },
    Step { name: "build", what: "the product's dev build", run: product::build },
    Step { name: "rules", what: "the shop's rules: check, and every case beside them", run: product::rules },
    Step {
        name: "replay",
        what: "demo-data gives the expected verdicts, twice the same bytes",
        run: product::replay,
    },
    Step {
        name: "firmware",
        what: "rules and recordings on an emulated Cortex-M4, the same bytes as here (QEMU)",
        run: firmware::firmware,
    },
    Step {
        name: "reference",
        what: "figures, Modbus and Bluetooth against what others wrote (Python)",
        run: python::reference,
    },
    Step { name: "browser", what: "the dashboard in a real headless Chromium", run: python::browser },
    Step { name: "power", what: "power cuts at any point of real commits (strace)", run: disk::power },
    Step { name: "slow", what: "presses on the page while the disk is slow (strace)", run: disk::slow },
    Step { name: "full", what: "a history on a full disk (a mount of its own)", run: disk::full },
    Step {
        name: "budget",
        what: "packages, sizes of the default and slim binaries, no path of this machine in them, idle memory",
        run: budget::run,
    },
];

/// Prints the steps.
pub(crate) fn list() {
    for step in STEPS {
        println!("{:<10} {}", step.name, step.what);
    }
}

/// Runs the selected steps and prints the summary; `false` when one failed.
pub(crate) fn run_all(context: &Context) -> Result<bool> {
    let only = &context.options.only;
    if let Some(unknown) = only.iter().find(|name| !STEPS.iter().any(|step| step.name == name.as_str())) {
        bail!("no step {unknown:?}; `cargo xtask test --list` names them");
    }
    let mut summary = Summary::default();
    for step in STEPS {
        if !only.is_empty() && !only.iter().any(|name| name == step.name) {
            summary.leave_out(step.name);
            continue;
        }
        let started = Instant::now();
        let result = if context.options.fail_fast && summary.failed() > 0 {
            Ok(Outcome::NotRun("left out: an earlier step failed (--fail-fast)".to_owned()))
        } else {
            println!("\n=== {}: {}", step.name, step.what);
            let result = (step.run)(context).map_err(|error| format!("{error:#}"));
            report(step.name, started, &result);
            result
        };
        summary.push(Line { step: step.name, took: started.elapsed(), result });
    }
    print!("{}", summary.render());
    Ok(summary.failed() == 0)
}

fn report(step: &str, started: Instant, result: &Result<Outcome, String>) {
    let seconds = started.elapsed().as_secs_f64();
    match result {
        Ok(Outcome::Passed(note)) if note.is_empty() => println!("--- {step}: passed in {seconds:.1} s"),
        Ok(Outcome::Passed(note)) => println!("--- {step}: passed in {seconds:.1} s: {note}"),
        Ok(Outcome::NotRun(why)) => println!("--- {step}: NOT RUN: {why}"),
        Err(why) => println!("--- {step}: FAILED after {seconds:.1} s: {why}"),
    }
}
