//! End-to-end checks of the program and of promises of the whole chain, in one binary. The support is the crate itself.
//! Where a figure comes from stands beside each check; "invariant In" is that of DEVELOPERS.md.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "tests"
)]

mod asked;
#[cfg(target_os = "linux")]
mod bluetooth;
mod command_line;
mod danger;
mod demo;
mod devices;
mod disk;
mod documents;
mod kill;
mod learn;
mod many;
mod page;
mod readers;
mod recordings;
mod reference;
mod reload;
mod rule_files;
mod site;
mod streams;
mod typed;
mod visit;
