//! Serial ports of Windows.
//!
//! A USB adapter is named by its identity, as everywhere. `COM3` alone is rejected for one: Windows assigns the
//! number of an adapter without a serial number by its socket, reassigns it when a driver is reinstalled, and another
//! computer has its own numbers. A port that the list does not call a USB port has no other name, and its number is
//! tied to its place in the machine, like a name by path on Linux; `COM1` is therefore accepted for one.
//!
//! Makes no system calls, so its tests run everywhere. Verified by compiling; no meter has been read on Windows.

use std::path::{Path, PathBuf};

use super::elsewhere::{Names, Ports};
pub(crate) use super::elsewhere::{list, locate, refused};
use crate::error::SelectorFault;
use crate::serial::port::{Port, UsbIdentity};

/// The library opens a port with DTR low. On Linux and macOS the system raises it, and cables take their supply from there.
pub(crate) const LEVEL_UNLESS_SET: Option<bool> = Some(true);

pub(crate) type Source = Ports<Windows>;

/// The vendor whose driver puts a letter for the port behind the serial number.
const WITH_PORT_LETTER: u16 = 0x0403;
/// Its serial numbers have eight characters.
const SERIAL_CHARS: usize = 8;

#[derive(Debug)]
pub(crate) enum Windows {}

impl Names for Windows {
    /// The system says "access denied" for a port that another program has.
    const DENIED_MEANS_IN_USE: bool = true;

    fn is_port(name: &str) -> bool {
        com_port(name).is_some()
    }

    /// Of an adapter without a serial number the list gives the first character of a place, such as the 5 of `5&1A2B3C&0&2`.
    fn serial_number(listed: &str) -> Option<String> {
        (listed.chars().count() > 1).then(|| listed.to_owned())
    }

    /// Letters count alike in both cases: Windows itself tells no two devices apart by them.
    fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
        let small = |usb: &UsbIdentity| UsbIdentity {
            serial: usb.serial.as_ref().map(|serial| serial.to_ascii_lowercase()),
            ..*usb
        };
        let (wanted, found) = (small(wanted), small(found));
        wanted.is(&found) || wanted.is(&without_port_letter(found))
    }

    fn is_fixed(port: &Port) -> bool {
        port.usb.is_none()
    }

    fn pty(_path: &Path) -> Option<PathBuf> {
        None
    }
}

/// `A702TB52A` is the port A of the adapter `A702TB52`, which other systems name without the letter.
fn without_port_letter(mut usb: UsbIdentity) -> UsbIdentity {
    if usb.vendor == WITH_PORT_LETTER
        && let Some(serial) = &mut usb.serial
        && serial.len() == SERIAL_CHARS + 1
        && serial.ends_with(['a', 'b', 'c', 'd'])
    {
        serial.pop();
    }
    usb
}

pub(crate) fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
    Windows::answers(wanted, found)
}

/// Parses a name that is not a USB identity: `COM` and a number. Whether it may be used is decided when the port is
/// looked up.
pub(crate) fn named(rest: &str) -> Result<PathBuf, SelectorFault> {
    com_port(rest).map(PathBuf::from).ok_or(SelectorFault::PathNotPlain)
}

/// The name as the list writes it; Windows has COM1 to COM256.
fn com_port(name: &str) -> Option<String> {
    let name = name.to_ascii_uppercase();
    let digits = name.strip_prefix("COM")?;
    let is_plain = !digits.starts_with('0') && digits.bytes().all(|b| b.is_ascii_digit());
    let number: u16 = digits.parse().ok().filter(|_| is_plain)?;
    (1..=256).contains(&number).then_some(name)
}
