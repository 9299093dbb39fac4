//! Advice for people on Windows: names and tools. Texts only.

use crate::sys::BluetoothWords;

/// Where a person is sent for Bluetooth.
pub(crate) const BLUETOOTH: BluetoothWords = BluetoothWords {
    service: "check in the Device Manager under \"Bluetooth\" that the radio works, and in Settings, Privacy, that programs may use it",
    no_radio: "plug one in (Device Manager, \"Bluetooth\")",
    switch_on: "Settings, Bluetooth & devices",
    pair: "Settings, Bluetooth & devices, Add device",
    forget: "Settings, Bluetooth & devices, the three dots beside it, Remove device",
    restart: "switch Bluetooth off and on in Settings",
    free: "switch them off and on",
};

/// A serial port as a selector names it best.
pub(crate) const PORT_EXAMPLE: &str = "serial:usb=VVVV:PPPP:SERIAL";

/// Why a number is refused, and what to write.
pub(crate) const NUMBERED_NAME: &str = "this number can mean another adapter on another day; write serial:usb=VVVV:PPPP:SERIAL (see `devices list`)";

/// What a name that is no USB identity has to be.
pub(crate) const NOT_A_NAME: &str = "no port of Windows has this name; write serial:usb=VVVV:PPPP:SERIAL (see `devices list`), or serial:COM1 for a port \
     that is no USB port";

/// What tells ports of one identity apart.
pub(crate) const TELL_APART: &str =
    "add the serial number; of adapters without one, plug in one of a kind alone";

/// Where a port that is not seen may show.
#[cfg(feature = "serial")]
pub const IF_IT_STAYS_AWAY: &str =
    "if it stays away, the Device Manager shows under \"Ports (COM & LPT)\" whether its driver is missing";

pub(crate) fn no_right(path: &str, _group: &str) -> String {
    format!("no right to open {path}; ask whoever administers this computer")
}

pub(crate) fn in_use(path: &str) -> String {
    format!("{path} is in use by another program; close the program that has it open")
}

pub(crate) fn not_stable(path: &str) -> String {
    format!(
        "{path} is a USB port, and its number can mean another adapter on another day or another computer; \
         write serial:usb=VVVV:PPPP:SERIAL as `devices list` shows it"
    )
}
