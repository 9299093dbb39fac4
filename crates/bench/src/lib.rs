//! The test bench for rules: rule folders, their cases, one verdict from typed values, what is expected of a replay, and
//! published limits that a shop has changed.
//!
//! Does not: read a command line, print, open files (the caller does), read a clock, know devices.

pub mod cases;
pub mod expected;
pub mod folder;
pub mod published;
mod suggest;
pub mod typed;

pub use suggest::{did_you_mean, must_have};
