//! Simulated meters behind pseudo-terminals, common to Unix systems. Holds no port of the machine.

pub(crate) mod meter;
pub(crate) mod pty;
mod rate;
