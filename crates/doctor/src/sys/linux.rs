//! The doctor on Linux: a machine as its files show it, below a root folder, and what in it keeps the program from a
//! meter. Opens no port, changes nothing, runs nothing.

mod account;
mod accounts;
mod bluetooth;
mod bus;
mod holders;
mod machine;
#[cfg(feature = "serial")]
mod port_services;
#[cfg(feature = "serial")]
mod rule;
#[cfg(feature = "serial")]
mod serial;
mod storage;
#[cfg(test)]
#[cfg(feature = "serial")]
mod tests;

pub use bluetooth::bluetooth;
pub use machine::Machine;
#[cfg(feature = "serial")]
pub use rule::udev_rule;
#[cfg(feature = "serial")]
pub use serial::{serial, serial_place};
pub use storage::storage;

use crate::{Finding, State};
