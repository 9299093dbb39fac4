//! The signals that ask the program to end: Ctrl-C, termination, and a terminal that hangs up. Ends nothing itself.

use std::io;

/// Listens for the signals from when it is made, so that none between two waits is lost.
pub(crate) struct StopSignals {
    #[cfg(unix)]
    interrupt: tokio::signal::unix::Signal,
    #[cfg(unix)]
    terminate: tokio::signal::unix::Signal,
    /// `None` under nohup: whoever ignores the hang-up wants the program to go on without a terminal.
    #[cfg(unix)]
    hangup: Option<tokio::signal::unix::Signal>,
}

impl StopSignals {
    /// Must be made within a tokio runtime.
    ///
    /// # Errors
    /// When the system gives no signals.
    #[cfg(unix)]
    pub(crate) fn listen() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            hangup: (!ignores_hangup(&status)).then(|| signal(SignalKind::hangup())).transpose()?,
        })
    }

    /// Must be made within a tokio runtime.
    ///
    /// # Errors
    /// When the system gives no signals.
    #[cfg(not(unix))]
    pub(crate) fn listen() -> io::Result<Self> {
        Ok(Self {})
    }

    /// Waits for the next one. Cancel-safe.
    pub(crate) async fn next(&mut self) {
        #[cfg(unix)]
        {
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
        #[cfg(not(unix))]
        let _ = tokio::signal::ctrl_c().await;
    }
}

/// Whether the mask of ignored signals has SIGHUP, number 1, in it (proc(5), "SigIgn", hexadecimal).
#[cfg(unix)]
fn ignores_hangup(status: &str) -> bool {
    status
        .lines()
        .find_map(|line| line.strip_prefix("SigIgn:"))
        .and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok())
        .is_some_and(|mask| mask & 1 != 0)
}

#[cfg(all(test, unix))]
mod tests {
    use super::ignores_hangup;

    #[test]
    fn nohup_is_heeded() {
        assert!(ignores_hangup("Name:\tcliplead\nSigIgn:\t0000000000001001\nSigCgt:\t0\n"));
        assert!(!ignores_hangup("Name:\tcliplead\nSigIgn:\t0000000000001000\n"));
        assert!(!ignores_hangup(""));
    }
}
