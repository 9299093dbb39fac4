//! What a shop writes down and what it means: the site's file (devices, rules, history, page, route), plans in text
//! form, settings by name.
//!
//! Does not: read files, open anything they name, decide. Without the feature `toml` it needs no operating system.
#![no_std]

extern crate alloc;
#[cfg(any(feature = "toml", test))]
extern crate std;

mod device;
#[cfg(feature = "toml")]
mod file;
mod plan;
mod settings;
#[cfg(feature = "toml")]
mod unit;

pub use device::kind_of;
#[cfg(feature = "toml")]
pub use file::{Device, MACHINE_DEFAULT, Site, parse};
pub use plan::{entered_text, plan};
pub use settings::{decision_words, settings};
