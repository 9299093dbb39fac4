//! What differs between systems and everything else depends on: texts that point people to system tools, names that
//! are devices, file permissions. Every system provides the same items. Differences in ports and meters are in the
//! `sys` of those modules. Re-exports only.
//!
//! Files that make no system calls are compiled for the tests of every system, so the texts for Windows and macOS are
//! tested everywhere.

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

/// This machine's files, where its state is in files: small texts, and what a mode allows.
pub mod files {
    #[cfg(target_os = "linux")]
    pub use super::files_linux::small_text;
    #[cfg(target_os = "linux")]
    pub use super::unix_rights::{MAKE_FILES, READ_AND_WRITE, Rights, identity};
}

/// Advice about Bluetooth. `ADDRESS` is replaced by that of the device.
pub(crate) struct BluetoothWords {
    /// What to look at when the service does not respond.
    pub(crate) service: &'static str,
    /// What to do if there is no radio.
    pub(crate) no_radio: &'static str,
    /// How a person switches the radio on.
    pub(crate) switch_on: &'static str,
    /// How to pair a device.
    pub(crate) pair: &'static str,
    /// How to make the system forget a device.
    pub(crate) forget: &'static str,
    /// How to restart the service.
    pub(crate) restart: &'static str,
    /// How to free a device that stayed connected.
    pub(crate) free: &'static str,
}

#[cfg(windows)]
pub use windows_names::is_device_name;

/// Whether a path is a device by its name, whatever is on the disk. On this system every name is a file.
#[cfg(not(windows))]
#[must_use]
pub const fn is_device_name(_path: &std::path::Path) -> bool {
    false
}
