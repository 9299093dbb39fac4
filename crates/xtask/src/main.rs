//! `cargo xtask`: every automation of the project; `.ci/run` calls it and nothing else.
//! Does not hold product code; no other crate may depend on it.
#![allow(clippy::print_stdout, reason = "a command: what it found is its output")]

mod context;
mod options;
mod process;
mod release;
mod steps;
mod summary;
mod supply;
mod tidy;

use std::process::ExitCode;

use crate::context::Context;
use crate::options::{Command, Options};

const HELP: &str = "\
cargo xtask COMMAND

  tidy                 what no compiler checks: tiers, sizes, opening lines, DEVELOPERS.md, links
  licences             write the third-party notices that `cliplead licences` prints
  release              build target/release/cliplead without the paths of this machine in it
  test                 every check of the project; what CI runs
  ci                   the same with --locked and CI defaults

Options of test and ci:
  --list               name the steps and stop
  --only STEP,...      run these steps alone (the summary says which were left out)
  --locked             refuse to change Cargo.lock
  --fail-fast          stop at the first failed step
  --without-browser    leave out the dashboard test in a real browser; the summary says so
";

fn main() -> ExitCode {
    match run() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(error) => {
            println!("xtask could not run: {error:#}");
            ExitCode::from(2)
        }
    }
}

/// Carries out the command line; `false` when something was found or failed.
fn run() -> anyhow::Result<bool> {
    let options = Options::parse(std::env::args().skip(1))?;
    match options.command {
        Command::Help => {
            print!("{HELP}");
            Ok(true)
        }
        Command::Licences => steps::supply::write_notices(&Context::new(options)?).map(|()| true),
        Command::Release => {
            println!("{}", release::build(&Context::new(options)?, &[])?.display());
            Ok(true)
        }
        Command::Tidy => tidy::run(&Context::new(options)?),
        Command::Test if options.list => {
            steps::list();
            Ok(true)
        }
        Command::Test => steps::run_all(&Context::new(options)?),
    }
}
