//! A serial port: as a selector names it, as the system lists it, as it is opened. Does not know which names are
//! stable.

use std::fmt;
use std::path::PathBuf;

use crate::error::Unavailable;

/// A serial port by a name that survives unplugging.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SerialPlace {
    /// A stable name. On Linux an absolute path: `/dev/serial/by-id/...`, a link made by udev, a pseudo-terminal or a
    /// link to one.
    Path(PathBuf),
    /// The one USB port with this identity.
    Usb(UsbIdentity),
}

/// Vendor, product and, if the adapter has one, serial number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsbIdentity {
    /// Vendor id.
    pub vendor: u16,
    /// Product id.
    pub product: u16,
    /// Serial number; in a selector `None` matches any.
    pub serial: Option<String>,
}

/// One port of the system.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Port {
    /// The name by which the system opens it.
    pub device: PathBuf,
    /// The adapter's identity, if it is a USB port.
    pub usb: Option<UsbIdentity>,
    /// Maker and product as the adapter reports them.
    pub title: Option<String>,
}

/// A port with its stable name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedPort {
    /// The port.
    pub port: Port,
    /// What a selector says after `serial:` to mean this port and no other, or why there is nothing to say.
    pub name: Result<String, Unavailable>,
}

impl Port {
    pub(crate) fn description(&self) -> String {
        let device = self.device.display();
        match (&self.usb, &self.title) {
            (Some(usb), Some(title)) => format!("{title} (USB {usb}), now {device}"),
            (Some(usb), None) => format!("USB serial port {usb}, now {device}"),
            (None, _) => format!("serial port {device}"),
        }
    }
}

/// A port that may be opened now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Located {
    /// What the system opens.
    pub(crate) text: String,
    /// The text for people.
    pub(crate) shown: String,
    /// A pseudo-terminal: it takes settings and reads back others.
    pub(crate) is_pty: bool,
}

impl UsbIdentity {
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
    ) -> Result<Port, Unavailable> {
        let matching = |port: &Port| port.usb.as_ref().is_some_and(|found| answers(self, found));
        let mut found: Vec<Port> = ports.into_iter().filter(matching).collect();
        let what = || SerialPlace::Usb(self.clone()).to_string();
        match (found.pop(), found.is_empty()) {
            (None, _) => Err(Unavailable::NotFound { what: what() }),
            (Some(only), true) => Ok(only),
            (Some(last), false) => {
                found.push(last);
                let paths = found.iter().map(|port| port.device.display().to_string()).collect();
                Err(Unavailable::Ambiguous { what: what(), paths })
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

/// Exactly four hex digits.
pub(crate) fn hex4(text: &str) -> Option<u16> {
    let four = text.len() == 4 && text.bytes().all(|b| b.is_ascii_hexdigit());
    four.then(|| u16::from_str_radix(text, 16).ok()).flatten()
}
