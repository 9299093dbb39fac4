//! The command line of `xtask`, read by hand to stay light.
//! Does not run anything.

use anyhow::{Result, bail};

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Command {
    Help,
    Tidy,
    Licences,
    Release,
    Test,
}

/// The command line.
#[derive(Debug)]
pub(crate) struct Options {
    pub(crate) command: Command,
    /// Steps to run; empty for all.
    pub(crate) only: Vec<String>,
    pub(crate) list: bool,
    pub(crate) locked: bool,
    pub(crate) fail_fast: bool,
    pub(crate) without_browser: bool,
}

impl Options {
    /// Reads the arguments after the program's name.
    pub(crate) fn parse(mut args: impl Iterator<Item = String>) -> Result<Self> {
        let word = args.next().unwrap_or_else(|| "help".to_owned());
        let (command, locked) = match word.as_str() {
            "help" | "--help" | "-h" => (Command::Help, false),
            "tidy" => (Command::Tidy, false),
            "release" => (Command::Release, false),
            "licences" => (Command::Licences, false),
            "test" => (Command::Test, false),
            "ci" => (Command::Test, true),
            other => bail!("no command {other:?}; `cargo xtask help` names them"),
        };
        let mut options =
            Self { command, only: vec![], list: false, locked, fail_fast: false, without_browser: false };
        while let Some(arg) = args.next() {
            match arg.as_str() {
                "--list" => options.list = true,
                "--locked" => options.locked = true,
                "--fail-fast" => options.fail_fast = true,
                "--without-browser" => options.without_browser = true,
                "--help" | "-h" => options.command = Command::Help,
                "--only" => {
                    let Some(names) = args.next() else { bail!("--only needs STEP,... (see --list)") };
                    options.only.extend(names.split(',').map(|name| name.trim().to_owned()));
                }
                other => bail!("no option {other:?}; `cargo xtask help` names them"),
            }
        }
        Ok(options)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(line: &str) -> Result<Options> {
        Options::parse(line.split_whitespace().map(str::to_owned))
    }

    #[test]
    fn ci_is_test_with_a_locked_lock_file() {
        let ci = parse("ci").unwrap();
        assert_eq!((ci.command, ci.locked), (Command::Test, true));
        let test = parse("test --only fmt,tidy --without-browser").unwrap();
        assert_eq!((test.command, test.locked, test.without_browser), (Command::Test, false, true));
        assert_eq!(test.only, ["fmt", "tidy"]);
    }

    #[test]
    fn unknown_words_are_refused() {
        for (line, want) in [
            ("tset", "no command \"tset\""),
            ("test --onyl fmt", "no option \"--onyl\""),
            ("test --only", "--only needs STEP"),
            ("test fmt", "no option \"fmt\""),
        ] {
            let Err(error) = parse(line) else { panic!("{line} was taken") };
            assert!(error.to_string().contains(want), "{line}: {error}");
        }
    }
}
