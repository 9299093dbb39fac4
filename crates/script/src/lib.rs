//! Rules as a shop writes them: rhai files with declarations at the top and one `judge` function.
//!
//! The entry point is [`RuleSetLoader::load`]: texts in; out comes a validated [`judge::rule::RuleSet`], or every
//! problem of every file. Two walls separate a rule from the daemon, each meant to withstand most mischief on its
//! own:
//!
//! 1. **A closed language** (`analysis`). After parsing, every node of the syntax tree must be on a list of allowed
//!    ones; types, names, units and sources are proved before the first call. Loops, lists, maps, closures, texts
//!    built at run time and recursion are not allowed.
//! 2. **A program without loops** (`compile`): what is left of a rule is arithmetic, comparisons and calls of the
//!    catalogue, in registers of crate `rulecode`; rhai parses a rule and never runs it. A rule that is too long with
//!    its functions written out is refused.
//!
//! [`Reference`] runs a rule as rhai does, on a bare engine with limits (`engine`), for the tests that compare the two.
//!
//! Numbers are floats: whole numbers become floats before they are parsed. Every comparison in a rule goes into
//! [`judge::rule::Outcome::path`], and so does the result of `floor`, `ceil`, `round`; `min`, `max`, `abs`, `middle`
//! do not, because they do not jump. Two numbers are never compared with `==`.
//!
//! Calls run on the caller's thread. The deepest rule that loads runs on 2 MiB of stack in a debug build (tests
//! `hostile`), and on 512 KiB in a release build; give the thread that loads or judges at least that. No public
//! signature names rhai.
//!
//! Decode scripts of device profiles run on the same bare engine ([`FrameScripts`]).
//!
//! Does not: read files or a clock, open devices, settle or gate anything, add uncertainty (crate `judge` does).
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]
extern crate alloc;
#[cfg(test)]
extern crate std;

mod analysis;
mod compile;
mod diagnostic;
mod engine;
mod frames;
mod functions;
mod header;
mod judgement;
mod limits;
mod load;
mod operators;
mod reference;
mod rule;
mod run;

pub use diagnostic::{Diagnostic, Severity};
pub use frames::{FRAME_FUNCTIONS, FrameFunction, FrameScripts};
pub use header::{DECLARATIONS, Declaration};
pub use judgement::{JUDGEMENTS, JudgementWord};
pub use limits::Limits;
pub use load::{LoadedRules, RuleSetLoader};
pub use reference::Reference;
