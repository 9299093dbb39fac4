//! The doctor's look at the machine, as each system lets it. Every system gives the same items. Holds the choice alone.

#[cfg(any(not(target_os = "linux"), test))]
#[cfg_attr(unix, allow(dead_code, unreachable_pub, reason = "compiled for its tests"))]
mod elsewhere;
#[cfg(target_os = "linux")]
mod linux;

#[cfg(not(target_os = "linux"))]
use elsewhere as here;
#[cfg(target_os = "linux")]
use linux as here;

pub use here::{Machine, bluetooth, storage};
#[cfg(feature = "serial")]
pub use here::{serial, serial_place, udev_rule};
