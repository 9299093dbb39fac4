//! The test bench of rules: rule folders, the cases beside them, one verdict from typed values, what is expected of a replay,
//! and what a shop changed of published limits.
//!
//! Does not: read a command line, print, open files (the caller says how), read a clock, know devices.

pub mod cases;
pub mod expected;
pub mod folder;
mod near;
pub mod once;
pub mod published;

pub use near::{did_you_mean, must_have};
