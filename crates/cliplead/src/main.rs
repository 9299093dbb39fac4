//! `cliplead`: the only binary. Parses the command line, runs the command, turns its result into an exit code. Holds
//! no logic that belongs in a library.

mod calc;
mod cli;
mod clock;
mod command;
mod config;
mod daemon;
#[cfg(feature = "demo")]
mod demo;
mod devices;
mod doctor;
mod files;
mod judge_typed;
mod last_good;
mod learn;
mod licences;
mod links;
mod output;
mod replay;
mod rules;
mod rules_command;
mod shipped;
mod sys;
mod writer;

use std::process::ExitCode;

use clap::Parser as _;

use cli::{Cli, Command};
use output::{Exit, talk};

/// Time for stdout and stderr to take what is left at the end.
const LAST_WORDS: std::time::Duration = std::time::Duration::from_secs(1);

fn main() -> ExitCode {
    let cli = Cli::parse();
    output::set_up_log(cli.verbose);
    let end = match &cli.command {
        #[cfg(feature = "demo")]
        Command::Demo(options) => demo::run(options),
        Command::Run(options) => daemon::run(options),
        Command::Judge(options) => judge_typed::run(options),
        Command::Replay(options) => replay::run(options),
        Command::Rules(options) => rules_command::run(options),
        Command::Devices(options) => devices::run(options),
        Command::Calc(options) => calc::run(options),
        Command::Licences => licences::run(),
    };
    let code = match end {
        Ok(exit) => exit.code(),
        Err(error) if output::is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            // An error quotes files and devices.
            talk(&record::plain_lines(&format!("cliplead: {error:#}"), ""));
            Exit::CouldNotRun.code()
        }
    };
    output::drain(LAST_WORDS);
    code
}
