//! What differs from system to system and everything else rests on: the words that send a person to a tool, names that are
//! devices, the rights of a file. Every system gives the same items. What differs in ports and meters
//! stands in the `sys` beside each. Holds the choice alone.
//!
//! Files that ask the system for nothing are compiled for the tests of every system, so that what Windows and macOS
//! would say is checked here too.

#[cfg(target_os = "linux")]
pub(crate) mod files_linux;
#[cfg(target_os = "linux")]
pub(crate) mod linux;
#[cfg(any(target_os = "macos", test))]
#[cfg_attr(
    not(target_os = "macos"),
    allow(dead_code, unused_imports, unreachable_pub, reason = "compiled for its tests")
)]
pub(crate) mod macos;
#[cfg(any(not(any(target_os = "linux", target_os = "macos", windows)), test))]
#[cfg_attr(
    test,
    allow(dead_code, unused_imports, unreachable_pub, reason = "compiled to see that it compiles")
)]
pub(crate) mod other;
#[cfg(target_os = "linux")]
pub(crate) mod unix_rights;
#[cfg(any(windows, test))]
#[cfg_attr(
    not(windows),
    allow(dead_code, unused_imports, unreachable_pub, reason = "compiled for its tests")
)]
pub(crate) mod windows;
#[cfg(any(windows, test))]
#[cfg_attr(not(windows), allow(dead_code, unreachable_pub, reason = "compiled for its tests"))]
mod windows_names;

#[cfg(target_os = "linux")]
pub(crate) use linux as words;
#[cfg(target_os = "macos")]
pub(crate) use macos as words;
#[cfg(not(any(target_os = "linux", target_os = "macos", windows)))]
pub(crate) use other as words;
#[cfg(windows)]
pub(crate) use windows as words;

/// The files of this machine, where its state stands in files: small texts, and what a mode lets somebody do.
pub mod files {
    #[cfg(target_os = "linux")]
    pub use super::files_linux::small_text;
    #[cfg(target_os = "linux")]
    pub use super::unix_rights::{MAKE_FILES, READ_AND_WRITE, Rights, identity};
}

/// Where a person is sent for Bluetooth. `ADDRESS` stands for that of the device.
pub(crate) struct BluetoothWords {
    /// What to check when the service does not answer.
    pub(crate) service: &'static str,
    /// What to do where no radio is there.
    pub(crate) no_radio: &'static str,
    /// How a person switches the radio on.
    pub(crate) switch_on: &'static str,
    /// How a device is paired.
    pub(crate) pair: &'static str,
    /// How the system is made to forget a device.
    pub(crate) forget: &'static str,
    /// How the service is started anew.
    pub(crate) restart: &'static str,
    /// How a device that stayed connected is freed.
    pub(crate) free: &'static str,
}

#[cfg(windows)]
pub use windows_names::is_device_name;

/// Whether a path is a device by its name, whatever the disk holds: on this system names are files.
#[cfg(not(windows))]
#[must_use]
pub const fn is_device_name(_path: &std::path::Path) -> bool {
    false
}
