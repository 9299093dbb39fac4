//! The test bench of rules: rule folders, the cases beside them, one verdict from typed values, recordings played again, and
//! what a shop changed of published limits.
//!
//! Does not: read a command line, print, open files (the caller says how), read a clock, know devices.

pub mod cases;
pub mod folder;
pub mod published;
pub mod replay;
mod suggest;
pub mod typed;

pub use suggest::{did_you_mean, must_have};
