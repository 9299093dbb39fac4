//! Device profiles and framings: bytes -> readings.
//!
//! A [`Profile`] (TOML) says how a class of device frames its bytes and what the frames mean. A [`Decoder`] made from it
//! takes bytes or gaps and hands out [`Item`]s: readings and typed faults. It finds its way back after any garbage, never
//! ends the stream, holds one frame at most, and counts every byte it drops.
//!
//! [`poll`] asks devices that speak only when asked, and hands on their answers as [`packet`]s.
//!
//! [`gatt`] decodes the values of Bluetooth GATT characteristics, which come whole and describe themselves.
//!
//! # When a reading is believed
//! A frame with a checksum is believed by its checksum. A frame without one is believed when `agree` frames bear it out,
//! itself included: see [`Evidence`].
//!
//! The loader of profiles is behind the feature `toml` (default); a firmware does without.
//!
//! Does not: open ports, read a clock, judge a reading, or limit how often faults are reported (the
//! caller's job; each [`Fault`] is `Copy`).
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
