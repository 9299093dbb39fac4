//! The Bluetooth backends of this system. Only this file knows them; everything above uses
//! [`super::central::Central`].
//!
//! | system | `ble:` | `ble+portable:` |
//! |---|---|---|
//! | Linux | BlueZ over the bus, by object path | the portable library, in a build with the feature `ble-portable` |
//! | others | the portable library | the same |

#[cfg(target_os = "linux")]
mod bluez;
#[cfg(any(feature = "ble-portable", not(target_os = "linux")))]
mod portable;

/// The backend that fits this system best.
#[cfg(target_os = "linux")]
pub(in crate::ble) use bluez::Bus as Own;
#[cfg(not(target_os = "linux"))]
pub(in crate::ble) use portable::Library as Own;
/// The backend that every system has.
#[cfg(feature = "ble-portable")]
pub(in crate::ble) use portable::Library as Portable;

/// The library of the portable backend.
#[cfg(any(feature = "ble-portable", not(target_os = "linux")))]
use btleplug as library;
