//! The framing of the generic binary meter; what is asserted stands in `framing.rs`.
#![no_main]

#[macro_use]
mod framing;

framing!("generic-binary-meter");
