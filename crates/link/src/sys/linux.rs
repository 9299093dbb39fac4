//! Advice for people on Linux: names, tools, files. Texts only.

use crate::sys::BluetoothWords;

/// Where a person is sent for Bluetooth.
pub(crate) const BLUETOOTH: BluetoothWords = BluetoothWords {
    service: "check that bluetoothd runs and that this account may use it (hardware-notes/attach-bluetooth.md)",
    no_radio: "plug one in (bluetoothctl list shows them)",
    switch_on: "rfkill unblock bluetooth, then bluetoothctl power on",
    pair: "bluetoothctl pair ADDRESS",
    forget: "bluetoothctl remove ADDRESS",
    restart: "sudo systemctl restart bluetooth",
    free: "`bluetoothctl disconnect` frees them, or switch them off and on",
};

/// A serial port as a selector names it best.
pub(crate) const PORT_EXAMPLE: &str = "serial:/dev/serial/by-id/NAME";

/// Why a number is refused, and what to write.
pub(crate) const NUMBERED_NAME: &str = "this number can change when the adapter is plugged in again, and another meter would be read as this one; \
     write serial:/dev/serial/by-id/NAME (see `devices list`), serial:usb=VVVV:PPPP:SERIAL, \
     or give the port a fixed name with a udev rule (hardware-notes/attach-serial.md)";

/// What a name that is neither an identity nor a number has to be.
pub(crate) const NOT_A_NAME: &str = "a serial path must be absolute and hold no '..'";

/// What tells ports of one identity apart.
pub(crate) const TELL_APART: &str = "add the serial number or use the /dev/serial/by-id or by-path name";

pub(crate) fn no_right(path: &str, group: &str) -> String {
    format!(
        "no right to open {path}: it belongs to group {group}; run: sudo usermod -aG {group} \"$USER\", then log out and in again \
         (or install the udev rule of hardware-notes/attach-serial.md)"
    )
}

pub(crate) fn in_use(path: &str) -> String {
    format!("{path} is in use by another program; close it (to find it: sudo fuser -v {path})")
}

pub(crate) fn not_stable(path: &str) -> String {
    format!(
        "{path} has no fixed name, another device may take its number; use the name under /dev/serial/by-id"
    )
}
