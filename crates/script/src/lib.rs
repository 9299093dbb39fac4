//! Rules as the shop writes them: rhai files with declarations at the top and one `judge` function.
//!
//! The way in is [`RuleSetLoader::load`]: texts in, a checked [`judge::rule::RuleSet`] out, or every problem of every file.
//! Walls between a rule and the daemon, each meant to hold alone against most mischief:
//!
//! 1. **A closed language.** After parsing, every node is checked against a list of allowed ones ([`check`]); types,
//!    names, units and sources are proved before the first call. Loops, arrays, maps, closures, strings made at run time,
//!    recursion are not in the list.
//! 2. **A bare engine with limits** ([`engine`]): rhai without its own functions, without modules, closures and time; every
//!    operator is ours; operations, depth, sizes and (when the edge lends a clock) time are bounded.
//!
//! Calls run on the caller's thread and need at most 512 KiB of stack in a release build (measured: see the hostile-rule
//! tests, which run on 2 MiB in a debug build). No public signature names rhai.
//!
//! Does not: read files or a clock, know devices, settle or gate anything, add uncertainty (crate `judge` does).
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]
extern crate alloc;
#[cfg(test)]
extern crate std;

mod check;
mod diagnostic;
mod engine;
mod functions;
mod header;
mod judgement;
mod load;
mod operators;
mod rule;
mod run;

pub use diagnostic::{Diagnostic, Severity};
pub use engine::Limits;
pub use functions::{Argument, FUNCTIONS, Function};
pub use header::{DECLARATIONS, Declaration};
pub use judgement::{JUDGEMENTS, JudgementWord};
pub use load::{Loaded, RuleSetLoader};
