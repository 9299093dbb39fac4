//! The system's own list of a connected device's characteristics, in handle order, which the library does not
//! provide. One file per system; `None` if the system cannot be asked.

#[cfg(target_os = "linux")]
mod linux;
#[cfg(not(any(target_os = "linux", windows)))]
mod unknown;
#[cfg(windows)]
mod windows;

#[cfg(target_os = "linux")]
pub(super) use linux::{READS_THEM_APART, of};
#[cfg(not(any(target_os = "linux", windows)))]
pub(super) use unknown::{READS_THEM_APART, of};
#[cfg(windows)]
pub(super) use windows::{READS_THEM_APART, of};

/// Why a device is not opened if the system should have answered.
#[cfg(any(target_os = "linux", windows))]
const NOT_READ: &str = "the system's own list of what it has could not be read";
