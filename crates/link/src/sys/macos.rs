//! Advice for people on macOS: names and tools. Texts only.

use crate::sys::BluetoothWords;

/// Where a person is sent for Bluetooth.
pub(crate) const BLUETOOTH: BluetoothWords = BluetoothWords {
    service: "see System Settings, Privacy & Security, Bluetooth: this program, or the terminal it runs in, has to be allowed",
    no_radio: "plug one in",
    switch_on: "System Settings, Bluetooth",
    pair: "macOS asks by itself when it is read; confirm there",
    forget: "System Settings, Bluetooth, the i beside it, Forget This Device",
    restart: "switch Bluetooth off and on in System Settings",
    free: "switch them off and on",
};

/// A serial port as a selector names it best.
pub(crate) const PORT_EXAMPLE: &str = "serial:usb=VVVV:PPPP:SERIAL";

/// Why a name is refused, and what to write.
pub(crate) const NUMBERED_NAME: &str = "this name does not stay with the adapter, and another meter would be read as this one; \
     write serial:usb=VVVV:PPPP:SERIAL (see `devices list`), \
     or the /dev/cu.usb... name that carries the adapter's serial number";

/// What a name that is no USB identity has to be.
pub(crate) const NOT_A_NAME: &str = "a serial path must be absolute and hold no '..'";

/// What tells ports of one identity apart.
pub(crate) const TELL_APART: &str =
    "add the serial number; of adapters without one, plug in one of a kind alone";

/// Where a port that is not seen may show.
#[cfg(feature = "serial")]
pub const IF_IT_STAYS_AWAY: &str =
    "if it stays away, `system_profiler SPUSBDataType` says whether the system sees the adapter";

pub(crate) fn no_right(path: &str, _group: &str) -> String {
    format!("no right to open {path}; see its owner and mode: ls -l {path}")
}

pub(crate) fn in_use(path: &str) -> String {
    format!("{path} is in use by another program; close it (to find it: sudo lsof {path})")
}

pub(crate) fn not_stable(path: &str) -> String {
    format!(
        "{path} does not carry the serial number of a USB adapter, so it can mean another one on another day; \
         write serial:usb=VVVV:PPPP:SERIAL as `devices list` shows it"
    )
}
