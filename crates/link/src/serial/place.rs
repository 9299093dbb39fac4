//! Which serial port is meant: a stable path or a USB identity. Refuses names whose number can change. Touches no device.

use std::fmt;
use std::path::{Component, Path, PathBuf};

use crate::error::SelectorFault;

/// A serial port, named so that it stays the same when it is plugged in again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SerialPlace {
    /// An absolute path: `/dev/serial/by-id/...`, a udev-made link, a pseudo-terminal or a link to one.
    Path(PathBuf),
    /// The one USB port of this identity.
    Usb(UsbIdentity),
}

/// Vendor, product and, where the adapter has one, serial number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsbIdentity {
    /// Vendor id.
    pub vendor: u16,
    /// Product id.
    pub product: u16,
    /// Serial number; in a selector `None` matches any.
    pub serial: Option<String>,
}

impl UsbIdentity {
    /// Whether the port `other` answers to this identity.
    #[must_use]
    pub fn matches(&self, other: &Self) -> bool {
        self.vendor == other.vendor
            && self.product == other.product
            && (self.serial.is_none() || self.serial == other.serial)
    }
}

impl fmt::Display for UsbIdentity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04x}:{:04x}", self.vendor, self.product)?;
        self.serial.as_ref().map_or(Ok(()), |serial| write!(f, ":{serial}"))
    }
}

impl fmt::Display for SerialPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Path(path) => write!(f, "{}", path.display()),
            Self::Usb(usb) => write!(f, "USB serial port {usb}"),
        }
    }
}

impl SerialPlace {
    /// Reads the part of a selector after `serial:`.
    ///
    /// # Errors
    /// What is wrong with it and what to write instead.
    pub fn parse(rest: &str) -> Result<Self, SelectorFault> {
        if rest.is_empty() {
            return Err(SelectorFault::RestMissing);
        }
        match rest.strip_prefix("usb=") {
            Some(usb) => parse_usb(usb).map(Self::Usb),
            None => parse_path(rest).map(Self::Path),
        }
    }
}

fn parse_usb(text: &str) -> Result<UsbIdentity, SelectorFault> {
    let mut parts = text.splitn(3, ':');
    let vendor = parts.next().and_then(hex4).ok_or(SelectorFault::BadUsb)?;
    let product = parts.next().and_then(hex4).ok_or(SelectorFault::BadUsb)?;
    let serial = parts.next().map(str::to_owned);
    if serial.as_ref().is_some_and(String::is_empty) {
        return Err(SelectorFault::BadUsb);
    }
    Ok(UsbIdentity { vendor, product, serial })
}

/// Exactly four hex digits.
pub(crate) fn hex4(text: &str) -> Option<u16> {
    let four = text.len() == 4 && text.bytes().all(|b| b.is_ascii_hexdigit());
    four.then(|| u16::from_str_radix(text, 16).ok()).flatten()
}

fn parse_path(rest: &str) -> Result<PathBuf, SelectorFault> {
    let path = Path::new(rest);
    if !path.is_absolute() || path.components().any(|part| part == Component::ParentDir) {
        // `COM3`, `ttyUSB0`: a number too, and it deserves the fuller answer.
        let numbered = !rest.contains('/') && rest.ends_with(|c: char| c.is_ascii_digit());
        return Err(if numbered { SelectorFault::NumberedName } else { SelectorFault::PathNotPlain });
    }
    // Rebuilt from its parts, `//` and `/./` are gone.
    let plain: PathBuf = path.components().collect();
    if is_numbered(&plain) { Err(SelectorFault::NumberedName) } else { Ok(plain) }
}

/// A name that the kernel gave by order of arrival: `/dev/tty*`, `/dev/rfcomm*`, `/dev/char/*`.
pub(crate) fn is_numbered(path: &Path) -> bool {
    let Ok(name) = path.strip_prefix("/dev") else { return false };
    let Some(name) = name.to_str() else { return false };
    name.starts_with("char/") || ["tty", "rfcomm"].iter().any(|start| name.starts_with(start))
}
