//! The quantities of the trade: kinds, units, finite values with standard uncertainty, readings.
//!
//! A [`Value`] is finite by construction. A [`Quantity`] adds its unit and its standard uncertainty (k = 1). A
//! [`Reading`] adds what the meter reported: the digits as displayed, the time, the flags, and states that are not
//! numbers (overload, no value).
//!
//! Does not: know devices, rules or limits; read a clock; do I/O.
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]
extern crate alloc;
#[cfg(test)]
extern crate std;

mod accuracy;
mod channel;
mod coupling;
mod decimal;
mod display_unit;
mod kind;
mod parse;
mod reading;
mod time;
mod unit;
mod value;

pub use accuracy::{Accuracy, AccuracyError};
pub use channel::DeviceChannel;
pub use coupling::Coupling;
pub use decimal::{Decimal, DecimalError};
pub use display_unit::DisplayUnit;
pub use kind::{Bounds, Kind};
pub use parse::{ParseError, Typed, parse_typed};
pub use reading::{Flags, Reading, Sign, State, Timing};
pub use time::{Duration, Instant};
pub use unit::{Unit, UnitError, UnitRow, edit_distance};
pub use value::{NotFinite, Quantity, UncertaintyError, Value};
