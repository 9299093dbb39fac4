//! A Unix system that is neither Linux nor macOS. Code common to Unix systems is in `unix`. Nobody has compiled or
//! run it on one.

use std::io::IsTerminal as _;

use doctor::Remedy;
use rustix::time::ClockId;

/// Counts from boot, including sleep.
#[cfg(target_os = "android")]
pub(super) const CLOCK: ClockId = ClockId::Boottime;
/// POSIX leaves open whether it continues during sleep. If it does not, the machine must not sleep during a round.
#[cfg(not(target_os = "android"))]
pub(super) const CLOCK: ClockId = ClockId::Monotonic;

/// Where `devices list` looked for serial ports.
pub(crate) const SERIAL_LOOKED_FOR: &str = "USB ports in the system's list of serial ports: none";

/// nohup redirects stderr; a hang-up then keeps the handling that the program was started with.
pub(super) fn ignores_hangup() -> bool {
    !std::io::stderr().is_terminal()
}

/// How to correct a wrong date.
pub(crate) fn date_remedy() -> Remedy {
    Remedy::advice("set it from the network")
}
