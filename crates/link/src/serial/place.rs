//! Selects a serial port: by a stable name or a USB identity. Which names are stable is decided in the system's file.
//! Touches no device.

use super::port::{SerialPlace, UsbIdentity, hex4};
use super::sys;
use crate::error::SelectorFault;

impl UsbIdentity {
    /// Whether the port `other` has this identity.
    #[must_use]
    pub fn matches(&self, other: &Self) -> bool {
        sys::answers(self, other)
    }
}

impl SerialPlace {
    /// Parses the part of a selector after `serial:`.
    ///
    /// # Errors
    /// What is wrong with it and what to write instead.
    pub fn parse(rest: &str) -> Result<Self, SelectorFault> {
        if rest.is_empty() {
            return Err(SelectorFault::RestMissing);
        }
        match rest.strip_prefix("usb=") {
            Some(usb) => parse_usb(usb).map(Self::Usb),
            None => sys::named(rest).map(Self::Path),
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
