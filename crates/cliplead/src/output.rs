//! Where words go: data to stdout, talk to stderr; exit codes; colour only where a terminal wants it.
//! Does not word verdicts; `record::text` does.

use std::io::{self, IsTerminal as _, Write as _};
use std::process::ExitCode;

use judge::limits::Word;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exit {
    /// Everything fine.
    Fine,
    /// A fail, a conditional fail, or an expectation that was not met.
    Found,
    /// It could not run.
    CouldNotRun,
    /// There is no verdict.
    NoVerdict,
}

impl Exit {
    pub(crate) fn code(self) -> ExitCode {
        ExitCode::from(match self {
            Self::Fine => 0,
            Self::Found => 1,
            Self::CouldNotRun => 2,
            Self::NoVerdict => 3,
        })
    }

    /// The exit for one verdict.
    pub(crate) fn of(word: Word) -> Self {
        match word {
            Word::Pass | Word::ConditionalPass => Self::Fine,
            Word::NoVerdict => Self::NoVerdict,
            Word::ConditionalFail | Word::Fail => Self::Found,
        }
    }
}

/// A line of data to stdout, at once.
pub(crate) fn data(line: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    out.write_all(line.as_bytes())?;
    if !line.ends_with('\n') {
        out.write_all(b"\n")?;
    }
    out.flush()?;
    Ok(())
}

/// A line of talk to stderr. A reader that is gone is no reason to stop.
pub(crate) fn talk(line: &str) {
    let _ = writeln!(io::stderr().lock(), "{line}");
}

/// Whether an error is only that nobody reads any more (`cliplead ... | head`).
pub(crate) fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
}

/// Whether stdout is a terminal and nobody asked for no colour (no-color.org).
pub(crate) fn colour() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty()) && io::stdout().is_terminal()
}

/// Makes the verdict's word stand out in a line, where colour is wanted: bold, reversed when it is a fail. The word
/// itself says everything; nothing hangs on the colour.
pub(crate) fn emphasise(line: &str, word: Word) -> String {
    if !colour() {
        return line.to_owned();
    }
    let text = word.text().to_uppercase();
    let style = match word {
        Word::Fail | Word::ConditionalFail => "\x1b[1;7m",
        Word::Pass | Word::ConditionalPass | Word::NoVerdict => "\x1b[1m",
    };
    line.replacen(&format!(": {text}"), &format!(": {style}{text}\x1b[0m"), 1)
}

/// Log lines go to stderr; `-v` shows more, `CLIPLEAD_LOG` decides in detail.
pub(crate) fn set_up_log(verbose: u8) {
    let level = match verbose {
        0 => "warn",
        1 => "info",
        _ => "debug",
    };
    let filter = tracing_subscriber::EnvFilter::try_from_env("CLIPLEAD_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new(level));
    let ansi =
        std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty()) && io::stderr().is_terminal();
    // A second call (tests) changes nothing.
    let _ =
        tracing_subscriber::fmt().with_env_filter(filter).with_writer(io::stderr).with_ansi(ansi).try_init();
}
