//! Where output goes: data to stdout, messages to stderr; exit codes; colour only if a terminal wants it. Does not
//! word verdicts; `record::text` does.

use std::io::{self, IsTerminal, Write as _};
use std::process::ExitCode;
use std::sync::OnceLock;
use std::time::Duration;

use judge::limits::Word;
use record::FollowUpKind;

use crate::sys;
use crate::writer::Writer;

/// The most bytes of verdict lines waiting for a reader: some hundred verdicts as JSON.
const DATA_BYTES_MAX: usize = 1024 * 1024;
/// The most bytes of messages waiting for a reader.
const TALK_BYTES_MAX: usize = 256 * 1024;

/// stdout and stderr of the daemon: written by threads of their own, so that it never waits for a reader.
static BACKGROUND: OnceLock<Background> = OnceLock::new();

struct Background {
    data: Writer,
    talk: Writer,
}

/// The result of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exit {
    /// Everything fine.
    Fine,
    /// A fail, a conditional fail, or an unmet expectation.
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

/// Writes a message line to stderr. A reader that is gone is no reason to stop.
pub(crate) fn talk(line: &str) {
    match BACKGROUND.get() {
        Some(background) => {
            background.talk.push(line);
        }
        None => {
            let _ = writeln!(io::stderr().lock(), "{line}");
        }
    }
}

/// From now on stdout and stderr are written in the background; for programs that must not wait for a reader.
///
/// # Errors
/// When the system gives no threads.
pub(crate) fn in_background() -> io::Result<()> {
    if BACKGROUND.get().is_none() {
        let data = Writer::start("stdout", sys::stdout()?, DATA_BYTES_MAX, false)?;
        let talk = Writer::start("stderr", sys::stderr()?, TALK_BYTES_MAX, true)?;
        let _ = BACKGROUND.set(Background { data, talk });
    }
    Ok(())
}

/// Writes a verdict line of the daemon, in the background; [`faults`] reports failures.
pub(crate) fn verdict(line: &str) {
    match BACKGROUND.get() {
        Some(background) => {
            background.data.push(line);
        }
        None => {
            let _ = data(line);
        }
    }
}

/// What is wrong with stdout, one sentence each.
pub(crate) fn faults() -> Vec<String> {
    let Some(Background { data, .. }) = BACKGROUND.get() else { return Vec::new() };
    let lost = data.lost();
    let mut faults = Vec::new();
    if let Some(why) = data.fault() {
        faults.push(format!("stdout takes no lines now: {why}"));
    }
    if lost > 0 {
        faults.push(format!("{lost} verdict line(s) could not be written to stdout"));
    }
    faults
}

/// Verdict lines that were dropped.
pub(crate) fn lines_lost() -> u64 {
    BACKGROUND.get().map_or(0, |background| background.data.lost())
}

/// Waits until everything is written, for at most this long.
pub(crate) fn drain(at_most: Duration) {
    if let Some(background) = BACKGROUND.get() {
        let left = background.data.drain(at_most);
        if left > 0 {
            talk(&format!(
                "cliplead: {left} verdict line(s) could not be written to stdout: nobody reads it"
            ));
        }
        background.talk.drain(at_most);
    }
}

/// Whether the error only means that nobody reads any more (`cliplead ... | head`).
pub(crate) fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
}

/// Whether stdout is a terminal and colour is not disabled (no-color.org).
pub(crate) fn colour() -> bool {
    wanted(&io::stdout())
}

fn wanted(stream: &impl IsTerminal) -> bool {
    let allowed = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    sys::TERMINALS_TAKE_ESCAPES && allowed && stream.is_terminal()
}

/// Makes the verdict's word stand out in a line, where colour is wanted: bold, reversed when it is a fail. The word
/// itself says everything; nothing hangs on the colour.
pub(crate) fn emphasise(line: &str, word: Word) -> String {
    if !colour() {
        return line.to_owned();
    }
    let style = match word {
        Word::Fail | Word::ConditionalFail => "\x1b[1;7m",
        Word::Pass | Word::ConditionalPass | Word::NoVerdict => "\x1b[1m",
    };
    styled(line, &word.text().to_uppercase(), style)
}

/// The same for a follow-up: an amendment is emphasised like a fail.
pub(crate) fn emphasise_follow_up(line: &str, kind: FollowUpKind) -> String {
    match kind {
        FollowUpKind::Amended if colour() => styled(line, "AMENDED", "\x1b[1;7m"),
        FollowUpKind::Amended | FollowUpKind::Completed => line.to_owned(),
    }
}

fn styled(line: &str, text: &str, style: &str) -> String {
    line.replacen(&format!(": {text}"), &format!(": {style}{text}\x1b[0m"), 1)
}

/// Writes one log event as a message line.
struct LogLine;

impl io::Write for LogLine {
    fn write(&mut self, data: &[u8]) -> io::Result<usize> {
        talk(String::from_utf8_lossy(data).trim_end());
        Ok(data.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Log lines go to stderr; `-v` shows more, `CLIPLEAD_LOG` decides in detail. Neither they nor the word of a panic ever wait
/// for a reader in the daemon, nor end it when nobody reads.
pub(crate) fn set_up_log(verbose: u8) {
    let level = match verbose {
        0 => "warn",
        1 => "info",
        _ => "debug",
    };
    let filter = tracing_subscriber::EnvFilter::try_from_env("CLIPLEAD_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new(level));
    let ansi = wanted(&io::stderr());
    // A second call (tests) changes nothing.
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(|| LogLine)
        .with_ansi(ansi)
        .log_internal_errors(false)
        .try_init();
    std::panic::set_hook(Box::new(|panic| talk(&format!("cliplead: a fault of the program: {panic}"))));
}
