//! What differs from system to system, in one place: serial ports and their names, the words that send a person to a tool, the
//! doctor's look at the machine, the line of a simulated meter. Every system gives the same items; the rest of the crate asks
//! for no system. Holds the choice alone.
//!
//! Files that ask the system for nothing are compiled for the tests of every system, so that what Windows and macOS
//! would say is checked here too.

#[cfg(any(not(target_os = "linux"), test))]
#[cfg_attr(unix, allow(dead_code, unreachable_pub, reason = "compiled for its tests"))]
mod elsewhere;
#[cfg(target_os = "linux")]
pub(crate) mod linux;
#[cfg(any(target_os = "macos", test))]
#[cfg_attr(not(target_os = "macos"), allow(dead_code, unused_imports, reason = "compiled for its tests"))]
mod macos;
#[cfg(any(not(any(target_os = "linux", target_os = "macos", windows)), test))]
#[cfg_attr(test, allow(dead_code, unused_imports, reason = "compiled to see that it compiles"))]
mod other;
#[cfg(unix)]
mod unix;
#[cfg(any(windows, test))]
#[cfg_attr(not(windows), allow(dead_code, unused_imports, reason = "compiled for its tests"))]
mod windows;
#[cfg(any(windows, test))]
#[cfg_attr(not(windows), allow(dead_code, unreachable_pub, reason = "compiled for its tests"))]
mod windows_names;

#[cfg(target_os = "linux")]
use linux as here;
#[cfg(target_os = "macos")]
use macos as here;
#[cfg(not(any(target_os = "linux", target_os = "macos", windows)))]
use other as here;
#[cfg(windows)]
use windows as here;

pub(crate) use here::{doctor, words};

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

/// Serial ports: the list, the names that stay the same, what an opening rests on.
#[cfg(feature = "serial")]
pub(crate) use here::serial;

/// Simulated meters: on a real line where the system has pseudo-terminals.
#[cfg(all(feature = "serial", feature = "sim"))]
pub(crate) mod meters {
    #[cfg(not(unix))]
    pub use super::elsewhere::meter::{PlayError, PlayedMeter};
    #[cfg(unix)]
    pub use super::unix::meter::{PlayError, PlayedMeter};
    #[cfg(unix)]
    pub use super::unix::pty::{PtyError, PtyMeter, PtyOptions, WhenFull};
}
