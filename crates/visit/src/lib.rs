//! What a person does at a unit, as pure state machines: acts, the route, checks from their hold points to
//! their verdicts, the hold points and their proofs, the verdict with all it rests on.
//!
//! The way in is [`round::Round::step`]. Numbers, words and rules come from `judge`.
//!
//! Does not: know how rules are written, decode bytes, read files or a clock, do I/O.
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod act;
pub mod hold;
pub mod round;
pub mod verdict;
