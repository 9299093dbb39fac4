//! Numbers and words: settles readings into values, carries their uncertainty through a rule, compares them with
//! limits and guard bands. Holds the `Rule` trait.
//!
//! [`settle::Settler`] settles, [`evaluate::evaluate`] judges; a rule is anything that implements [`rule::Rule`]. A
//! rule's header names hold points; here they are plain text.
//!
//! Does not: know units, components, hold points or checks, know rhai, decode bytes, read a clock, do I/O.
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod evaluate;
pub mod limits;
pub mod rule;
pub mod settle;
