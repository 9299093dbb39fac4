//! Serial ports of macOS.
//!
//! A USB adapter is named by its identity, as everywhere. Its `/dev/cu.usbserial-...` or `/dev/cu.usbmodem...` name
//! ends in the adapter's serial number or, if it has none, in a number for the socket or the order; the name does not
//! say which. It is therefore accepted only while the list gives a serial number and the name contains it.
//! `/dev/tty.*` names wait for a carrier that no meter provides.
//!
//! Makes no system calls, so its tests run on every system. Verified by compiling; no meter has been read on macOS.

use std::path::{Path, PathBuf};

use super::elsewhere::{Names, Ports, plain_path};
pub(crate) use super::elsewhere::{list, locate, refused};
use crate::error::SelectorFault;
use crate::serial::port::{Port, UsbIdentity};

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

/// Parses a name that is not a USB identity: a path. Whether it contains the serial number is decided when the port
/// is looked up.
pub(crate) fn named(rest: &str) -> Result<PathBuf, SelectorFault> {
    let plain = plain_path(rest).ok_or(SelectorFault::PathNotPlain)?;
    let can_be_fixed =
        USB_NAMES.iter().any(|start| plain.strip_prefix(start).is_some_and(|serial| !serial.is_empty()));
    let is_refused = plain.starts_with("/dev/") && !can_be_fixed;
    if is_refused { Err(SelectorFault::NumberedName) } else { Ok(plain.into()) }
}
