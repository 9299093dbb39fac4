//! Which serial port is meant: a stable name or a USB identity. Which names are stable, the system's file says. Touches no device.

use std::fmt;
use std::path::PathBuf;

use super::Port;
use crate::error::{Absence, SelectorFault};
use crate::sys::serial;

/// A serial port, named so that it stays the same when it is plugged in again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SerialPlace {
    /// A name that stays the same. On Linux an absolute path: `/dev/serial/by-id/...`, a udev-made link, a
    /// pseudo-terminal or a link to one.
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
        serial::answers(self, other)
    }

    /// The same without what a system adds to serial numbers.
    pub(crate) fn is(&self, other: &Self) -> bool {
        self.vendor == other.vendor
            && self.product == other.product
            && (self.serial.is_none() || self.serial == other.serial)
    }

    /// The one of these ports that answers to this identity.
    pub(crate) fn only_one_of(
        &self,
        ports: Vec<Port>,
        answers: impl Fn(&Self, &Self) -> bool,
    ) -> Result<Port, Absence> {
        let matching = |port: &Port| port.usb.as_ref().is_some_and(|found| answers(self, found));
        let mut found: Vec<Port> = ports.into_iter().filter(matching).collect();
        let what = || SerialPlace::Usb(self.clone()).to_string();
        match (found.pop(), found.is_empty()) {
            (None, _) => Err(Absence::NotFound { what: what() }),
            (Some(only), true) => Ok(only),
            (Some(last), false) => {
                found.push(last);
                let paths = found.iter().map(|port| port.device.display().to_string()).collect();
                Err(Absence::Ambiguous { what: what(), paths })
            }
        }
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
            None => serial::named(rest).map(Self::Path),
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
