//! macOS: the clock that keeps running during sleep, hang-ups, and its texts. Code common to Unix systems is in
//! `unix`. Verified by compiling; nobody has run it on macOS.

use std::io::IsTerminal as _;

use doctor::Remedy;
use rustix::time::ClockId;

/// Goes on while the system is asleep, as clock_gettime(3) of macOS says of CLOCK_MONOTONIC; the standard library's `Instant`
/// does not there.
pub(super) const CLOCK: ClockId = ClockId::Monotonic;

/// Where `devices list` looked for serial ports.
pub(crate) const SERIAL_LOOKED_FOR: &str = "/dev/cu.* names in the system's list of serial ports: none";

/// Whether whoever started the program wants it to go on without a terminal. The mask of ignored signals cannot be read here
/// without unsafe code. nohup takes stderr off the terminal; then a hang-up keeps the meaning it was started with.
pub(super) fn ignores_hangup() -> bool {
    !std::io::stderr().is_terminal()
}

/// How to correct a wrong date.
pub(crate) fn date_remedy() -> Remedy {
    Remedy::advice("set it from the network: System Settings, General, Date & Time")
}
