//! What Unix systems share: simulated meters behind pseudo-terminals. Holds no port of the machine.

pub(crate) mod meter;
pub(crate) mod pty;
mod rate;
