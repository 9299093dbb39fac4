//! Advice for people on any other system. Texts only.

use crate::sys::BluetoothWords;

/// Where a person is sent for Bluetooth.
pub(crate) const BLUETOOTH: BluetoothWords = BluetoothWords {
    service: "check that this account may use it",
    no_radio: "plug one in",
    switch_on: "by the system's own settings",
    pair: "by the system's own settings",
    forget: "by the system's own settings",
    restart: "switch Bluetooth off and on",
    free: "switch them off and on",
};

/// A serial port as a selector names it best.
pub(crate) const PORT_EXAMPLE: &str = "serial:usb=VVVV:PPPP:SERIAL";

/// Why a name is refused, and what to write.
pub(crate) const NUMBERED_NAME: &str = "this name can change when the adapter is plugged in again, and another meter would be read as this one; \
     write serial:usb=VVVV:PPPP:SERIAL (see `devices list`)";

/// What a name that is no USB identity has to be.
pub(crate) const NOT_A_NAME: &str = "a serial path must be absolute and hold no '..'";

/// What tells ports of one identity apart.
pub(crate) const TELL_APART: &str =
    "add the serial number; of adapters without one, plug in one of a kind alone";

/// Where a port that is not seen may show.
#[cfg(feature = "serial")]
pub const IF_IT_STAYS_AWAY: &str = "if it stays away, see whether the system has a driver for it";

pub(crate) fn no_right(path: &str, _group: &str) -> String {
    format!("no right to open {path}; see its owner and mode")
}

pub(crate) fn in_use(path: &str) -> String {
    format!("{path} is in use by another program; close the program that has it open")
}

pub(crate) fn not_stable(path: &str) -> String {
    format!("{path} has no fixed name, another device may take it; write serial:usb=VVVV:PPPP:SERIAL")
}
