//! Common to Unix systems: clocks by number, signals, streams by descriptor, files opened without blocking, free
//! space by `df`.

use std::fs::{File, OpenOptions};
use std::io;
use std::os::fd::AsFd as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::time::Duration;

use rustix::time::{ClockId, Timespec, clock_gettime};
use tokio::signal::unix::{Signal, SignalKind, signal};

use super::{CLOCK, ignores_hangup};
use crate::command;

/// Where to look for programs; not along the caller's own path, since most of this runs as root.
pub(crate) const PROGRAM_PATH: &str = "/usr/sbin:/usr/bin:/sbin:/bin";

/// The text of `devices doctor` if free space is unknown.
pub(crate) const SPACE_NOT_SEEN: &str = "df did not tell it";

/// Terminals of Unix systems take escape sequences.
pub(crate) const TERMINALS_TAKE_ESCAPES: bool = true;

/// The machine's clock, which continues during sleep if [`CLOCK`] says so.
pub(crate) fn clock() -> impl Fn() -> Duration + Send + Sync + 'static {
    || span(clock_gettime(CLOCK))
}

/// The CPU time of this thread, in microseconds: it does not grow faster on a busy machine.
pub(crate) fn computed_us() -> i64 {
    i64::try_from(span(clock_gettime(ClockId::ThreadCPUTime)).as_micros()).unwrap_or(i64::MAX)
}

fn span(time: Timespec) -> Duration {
    Duration::new(u64::try_from(time.tv_sec).unwrap_or(0), u32::try_from(time.tv_nsec).unwrap_or(0))
}

/// stdout without a buffer of ours: a write that failed half-way is continued where it stopped.
pub(crate) fn stdout() -> io::Result<File> {
    Ok(File::from(io::stdout().as_fd().try_clone_to_owned()?))
}

/// stderr, the same way.
pub(crate) fn stderr() -> io::Result<File> {
    Ok(File::from(io::stderr().as_fd().try_clone_to_owned()?))
}

/// Opens a file for reading without waiting for the other end of a pipe.
pub(crate) fn for_reading() -> OpenOptions {
    let flags = i32::try_from(rustix::fs::OFlags::NONBLOCK.bits()).unwrap_or(0);
    let mut options = OpenOptions::new();
    options.read(true).custom_flags(flags);
    options
}

/// Free space according to `df` (POSIX: `df -Pk`, fourth column of the second line).
pub(crate) fn free_kib(folder: &str) -> Option<u64> {
    let argv = ["df".to_owned(), "-Pk".to_owned(), "--".to_owned(), folder.to_owned()];
    let done = command::run(&argv, PROGRAM_PATH, None, Duration::from_secs(5)).ok()?;
    column(&done.out)
}

fn column(table: &str) -> Option<u64> {
    table.lines().nth(1)?.split_whitespace().nth(3)?.parse().ok()
}

/// Listens for signals from its creation on, so that none between two waits is lost.
pub(crate) struct StopSignals {
    interrupt: Signal,
    terminate: Signal,
    /// `None` under nohup: whoever ignores the hang-up wants the program to continue without a terminal.
    hangup: Option<Signal>,
}

impl StopSignals {
    /// Create it within a tokio runtime.
    pub(crate) fn listen() -> io::Result<Self> {
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            hangup: (!ignores_hangup()).then(|| signal(SignalKind::hangup())).transpose()?,
        })
    }

    /// Waits for the next one. Cancel-safe.
    pub(crate) async fn next(&mut self) {
        let hangup = async {
            match &mut self.hangup {
                Some(hangup) => hangup.recv().await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
            _ = hangup => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{column, computed_us};

    /// The form of POSIX, "df", STDOUT, with numbers of our own.
    #[test]
    fn free_space_is_the_fourth_column() {
        let table = "Filesystem 1024-blocks Used Available Capacity Mounted on\n/dev/x 1000 400 600 40% /\n";
        assert_eq!(column(table), Some(600));
        for broken in ["", "one line", "a\nb c d", "a\nb c d e"] {
            assert_eq!(column(broken), None, "{broken:?}");
        }
    }

    /// While another thread computes for 20 ms this one waits: that is no time of a rule's.
    #[test]
    fn waiting_counts_for_no_deadline() {
        let before = computed_us();
        let computed = std::thread::spawn(|| {
            let start = computed_us();
            while computed_us() - start < 20_000 {}
            computed_us() - start
        });
        let other = computed.join().unwrap();
        let waited = computed_us() - before;
        assert!(other >= 20_000 && waited < other / 2, "{waited} us of {other} us");
    }
}
