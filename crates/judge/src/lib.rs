//! From settled readings to a verdict: settling, limits with guard bands, hold points, the `Rule` trait, the round.
//!
//! Does not: know rhai, decode bytes, read a clock, do I/O.
#![no_std]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod settle;
