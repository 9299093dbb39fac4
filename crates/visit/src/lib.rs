//! What a person does at a unit, as pure state machines: acts, the route, checks from their hold points to
//! their verdicts, the hold points and their proofs, the verdict with all it rests on.
//!
//! The way in is [`round::Round::step`]. It passes each event on to small machines that know nothing of each other
//! (`evidence`, `check`, `leads`, `live`, `looks`, `restoration`, `route`, `stay`) and gathers what they say. Numbers, words and rules come from `judge`.
//!
//! Does not: know how rules are written, decode bytes, read files or a clock, do I/O.
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod act;
mod check;
mod event;
mod evidence;
pub mod hold;
mod job;
mod leads;
mod live;
mod looks;
mod model;
mod plan;
mod plate;
mod restoration;
pub mod round;
mod route;
pub mod second_look;
mod settings;
mod stay;
#[cfg(test)]
mod testing;
pub mod verdict;
mod view;
