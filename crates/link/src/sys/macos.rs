//! macOS: which names of serial ports stay the same, and where a person is sent. Asks for no port, so its tests run on every
//! system. It was checked by compiling; no meter has been read on macOS.

pub(crate) use super::elsewhere::doctor;

/// Where a person is sent: names and tools of macOS. Holds words alone.
pub(crate) mod words {
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
    pub(crate) const IF_IT_STAYS_AWAY: &str =
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
}

/// Serial ports of macOS.
///
/// A USB adapter is named by its identity, as everywhere. Its `/dev/cu.usbserial-...` or `/dev/cu.usbmodem...` name ends
/// in the adapter's serial number, or, when it has none, in a number for the socket or the order; nothing in the name
/// says which. So it is taken only while the list gives a serial number and the name carries it. `/dev/tty.*` names wait for a
/// carrier that no meter gives.
#[cfg(feature = "serial")]
pub(crate) mod serial {
    use std::path::{Path, PathBuf};

    use super::super::elsewhere::serial::{Names, Ports, plain_path};
    pub(crate) use super::super::elsewhere::serial::{list, locate, refused};
    use crate::error::SelectorFault;
    use crate::serial::{Port, UsbIdentity};

    /// The kernel raises both control lines itself.
    pub(crate) const LEVEL_UNLESS_SET: Option<bool> = None;

    pub(crate) type Source = Ports<MacOs>;

    /// What the names of USB ports begin with; the serial number follows.
    const USB_NAMES: [&str; 2] = ["/dev/cu.usbserial-", "/dev/cu.usbmodem"];
    /// Ports of the system itself, on which no meter is.
    const OWN: [&str; 3] = ["/dev/cu.Bluetooth-Incoming-Port", "/dev/cu.debug-console", "/dev/cu.wlan-debug"];

    #[derive(Debug)]
    pub(crate) enum MacOs {}

    impl Names for MacOs {
        const DENIED_MEANS_IN_USE: bool = false;

        /// The list has each port twice, as `cu.` and as `tty.`.
        fn is_port(name: &str) -> bool {
            name.starts_with("/dev/cu.") && !OWN.contains(&name)
        }

        fn serial_number(listed: &str) -> Option<String> {
            Some(listed.to_owned())
        }

        fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
            wanted.is(found)
        }

        fn is_fixed(port: &Port) -> bool {
            let serial = port.usb.as_ref().and_then(|usb| usb.serial.as_ref());
            let (Some(serial), Some(name)) = (serial, port.device.to_str()) else { return false };
            let after = USB_NAMES.iter().find_map(|start| name.strip_prefix(start));
            // One character may follow: the number of a port or an interface.
            after
                .and_then(|after| after.strip_prefix(serial.as_str()))
                .is_some_and(|rest| rest.chars().count() <= 1)
        }

        /// Pseudo-terminals are `/dev/ttys` and a number.
        fn pty(path: &Path) -> Option<PathBuf> {
            let real = std::fs::canonicalize(path).ok()?;
            is_pty(&real).then_some(real)
        }
    }

    fn is_pty(path: &Path) -> bool {
        let number = path.to_str().and_then(|path| path.strip_prefix("/dev/ttys"));
        number.is_some_and(|number| !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit()))
    }

    pub(crate) fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
        MacOs::answers(wanted, found)
    }

    /// Reads a name that is no USB identity: a path. Whether it carries the serial number is told when the port is looked for.
    pub(crate) fn named(rest: &str) -> Result<PathBuf, SelectorFault> {
        let plain = plain_path(rest).ok_or(SelectorFault::PathNotPlain)?;
        let can_be_fixed =
            USB_NAMES.iter().any(|start| plain.strip_prefix(start).is_some_and(|serial| !serial.is_empty()));
        let is_refused = plain.starts_with("/dev/") && !can_be_fixed;
        if is_refused { Err(SelectorFault::NumberedName) } else { Ok(plain.into()) }
    }
}
