//! The formulas of the trade: pure functions of plain numbers, with units in the names and source and range on each.
//!
//! Each function accepts a stated range and rejects values outside it ([`OutOfRange`]), so a slipped decimal point is
//! an error and not a number. All mathematics uses `libm` and gives the same bits on every target.
//!
//! Does not: hold limits, tolerances or opinions; know devices, rules or uncertainty; read a clock; do I/O.
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]
extern crate alloc;

pub mod air;
pub mod capacitor;
pub mod catalogue;
pub mod circuit;
pub mod compressor;
pub mod conformity;
pub mod drive;
pub mod gas;
pub mod joint;
pub mod motor;
pub mod peers;
pub mod psychro;
mod range;
pub mod refrigerant;
pub mod sensor;
pub mod supply;
pub mod suspects;
#[cfg(test)]
mod testing;
pub mod thermocouple;
pub mod trend;

pub use range::{Argument, OutOfRange};
