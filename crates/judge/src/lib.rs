//! From settled readings to a verdict: settling, limits with guard bands, hold points, the `Rule` trait, the round.
//!
//! The way in is [`round::Round::step`]; a rule is anything that implements [`rule::Rule`].
//!
//! Does not: know rhai, decode bytes, read a clock, do I/O.
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod evaluate;
pub mod hold;
pub mod limits;
pub mod round;
pub mod rule;
pub mod settle;
pub mod verdict;
