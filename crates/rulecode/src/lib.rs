//! A rule as a program: registers, blocks that only lead forwards, answers. No loops, so its length bounds its time.
//!
//! [`build::Builder`] makes a [`Program`], and [`Program::new`] validates it: every register, table and block that an
//! instruction names exists, and no block leads back. [`Program::one`] evaluates it for one set of inputs;
//! [`Program::columns`] for many at once.
//!
//! Does not: know in which language a rule is written, read files or a clock, add uncertainty (crate `judge` does).
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp, clippy::unwrap_used, clippy::indexing_slicing))] // test code
extern crate alloc;

mod answer;
pub mod build;
mod clock;
mod columns;
mod fault;
mod one;
mod path;
pub mod program;
mod registers;
mod validate;

pub use clock::Limits;
pub use columns::Scratch;
pub use fault::{At, Fault};
pub use program::Program;
pub use validate::Invalid;
