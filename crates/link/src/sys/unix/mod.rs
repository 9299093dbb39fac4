//! What Unix systems share: simulated meters behind pseudo-terminals. Holds no port of the machine.

#[cfg(all(feature = "serial", feature = "sim"))]
pub(crate) mod meter;
#[cfg(all(feature = "serial", feature = "sim"))]
pub(crate) mod pty;
#[cfg(all(feature = "serial", feature = "sim"))]
mod rate;
