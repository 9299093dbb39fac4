//! Simulated meters: on a real line if the system has pseudo-terminals, otherwise in memory. Re-exports only.

#[cfg(any(not(unix), test))]
#[cfg_attr(unix, allow(dead_code, unreachable_pub, reason = "compiled for its tests"))]
pub(crate) mod elsewhere;
#[cfg(unix)]
mod unix;

#[cfg(not(unix))]
pub use elsewhere::{SimulatedMeter, SimulationError};
#[cfg(unix)]
pub use unix::meter::{SimulatedMeter, SimulationError};
#[cfg(unix)]
pub use unix::pty::{PtyError, PtyMeter, PtyOptions, WhenFull};
