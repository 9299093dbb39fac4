//! Device profiles and framings: bytes -> readings.
//!
//! A [`Profile`] (TOML) describes how a class of device frames its bytes and what the frames mean. A [`Decoder`] made
//! from a profile takes bytes or gaps and returns [`Item`]s: readings and typed faults. It resynchronises after any
//! garbage, never ends the stream, buffers one frame at most and counts every byte it drops.
//!
//! [`poll`] queries devices that speak only when asked and passes their replies on as [`packet`]s.
//!
//! [`gatt`] decodes the values of Bluetooth GATT characteristics, which arrive whole and describe themselves.
//!
//! # When a reading is accepted
//! A frame with a checksum is accepted if the checksum matches. A frame without one is accepted if `agree` frames,
//! itself included, confirm it: see [`Evidence`].
//!
//! The profile loader is behind the feature `toml` (default); firmware builds without it.
//!
//! Does not: open ports, read a clock, judge a reading, or limit how often faults are reported (the caller does that;
//! each [`Fault`] is `Copy`).
#![no_std]
#![cfg_attr(not(feature = "toml"), allow(dead_code, reason = "what only the loader of profiles uses"))]
#![cfg_attr(test, allow(clippy::float_cmp, clippy::string_slice, clippy::cast_possible_truncation))]
extern crate alloc;
#[cfg(test)]
extern crate std;

mod agree;
pub mod analysis;
mod builtins;
mod checksum;
mod counters;
mod decode;
mod decoder;
mod error;
mod flag;
mod frame;
pub mod gatt;
mod glyph;
mod number;
pub mod packet;
pub mod poll;
mod profile;
pub mod script;
pub mod simulate;
mod splitter;
pub mod stream;
mod unit_spec;

pub use agree::Evidence;
pub use checksum::ChecksumKind;
pub use counters::{DecoderCounters, Fault, Field, Reason};
pub use decoder::{Decoder, Item};
pub use error::ProfileError;
pub use profile::{LinkHints, LinkKind, Parity, Profile, StopBits};

#[cfg(test)]
mod tests;
