//! The doctor's view of the machine on each system. Every system provides the same items. Re-exports only.

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
