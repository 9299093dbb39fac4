//! Windows: its console events, streams and texts, and what it cannot tell without unsafe code. Verified by compiling
//! and tried a little under Wine; DEVELOPERS.md says what.

use std::fs::OpenOptions;
use std::io::{self, Stderr, Stdout};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use doctor::Remedy;
use tokio::signal::windows::{
    CtrlBreak, CtrlC, CtrlClose, CtrlLogoff, CtrlShutdown, ctrl_break, ctrl_c, ctrl_close, ctrl_logoff,
    ctrl_shutdown,
};

/// Programs are searched along the system's own path; nothing is run as an administrator.
pub(crate) const PROGRAM_PATH: &str = "";

/// Where `devices list` looked for serial ports.
pub(crate) const SERIAL_LOOKED_FOR: &str = "COM ports in the system's list: none";

/// The text of `devices doctor` if free space is unknown.
pub(crate) const SPACE_NOT_SEEN: &str = "cannot be asked for here; look at the disk's properties";

/// A console prints escape sequences literally until they are enabled, which takes unsafe code.
pub(crate) const TERMINALS_TAKE_ESCAPES: bool = false;

/// The standard library's `Instant` reads QueryPerformanceCounter, which counts on in standby and hibernation (Microsoft's
/// documentation, "Acquiring high-resolution time stamps").
pub(crate) fn clock() -> impl Fn() -> Duration + Send + Sync + 'static {
    let start = Instant::now();
    move || start.elapsed()
}

/// The clock on the wall, in microseconds: the time that a thread has computed (GetThreadTimes) takes unsafe code. A machine
/// so busy that a rule waits 50 ms for its turn makes it fail, and a rule that fails gives no clear word.
pub(crate) fn computed_us() -> i64 {
    static START: OnceLock<Instant> = OnceLock::new();
    i64::try_from(START.get_or_init(Instant::now).elapsed().as_micros()).unwrap_or(i64::MAX)
}

/// stdout; the standard library writes whole lines, as the console wants them.
pub(crate) fn stdout() -> io::Result<Stdout> {
    Ok(io::stdout())
}

/// stderr, the same way.
pub(crate) fn stderr() -> io::Result<Stderr> {
    Ok(io::stderr())
}

/// Opens a file for reading. Names that are devices are rejected earlier ([`link::is_device_name`]).
pub(crate) fn for_reading() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.read(true);
    options
}

/// Querying free space takes unsafe code (GetDiskFreeSpaceEx).
pub(crate) fn free_kib(_folder: &str) -> Option<u64> {
    None
}

/// How to correct a wrong date.
pub(crate) fn date_remedy() -> Remedy {
    Remedy::advice("set it from the network: Settings, Time & language, Date & time")
}

/// Listens for the console's events from when it is made: Ctrl-C, Ctrl-Break, a closed window, a log-off, a shutdown. After
/// the last three the system gives some seconds and ends the program by itself.
pub(crate) struct StopSignals {
    interrupt: CtrlC,
    interrupt_too: CtrlBreak,
    close: CtrlClose,
    logoff: CtrlLogoff,
    shutdown: CtrlShutdown,
}

impl StopSignals {
    /// Create it within a tokio runtime.
    pub(crate) fn listen() -> io::Result<Self> {
        Ok(Self {
            interrupt: ctrl_c()?,
            interrupt_too: ctrl_break()?,
            close: ctrl_close()?,
            logoff: ctrl_logoff()?,
            shutdown: ctrl_shutdown()?,
        })
    }

    /// Waits for the next one. Cancel-safe.
    pub(crate) async fn next(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.interrupt_too.recv() => {}
            _ = self.close.recv() => {}
            _ = self.logoff.recv() => {}
            _ = self.shutdown.recv() => {}
        }
    }
}
