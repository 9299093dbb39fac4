//! `serial:`: serial ports by a name that stays the same. Holds the adapter; finding, rights and opening stand in their own files.

pub(crate) mod access;
pub(crate) mod open;
mod place;
pub(crate) mod ports;

use std::path::{Path, PathBuf};

pub use place::{SerialPlace, UsbIdentity};

use crate::adapter::{Adapter, Found, Link, Requests};
use crate::backoff::Backoff;
use crate::error::OpenError;
use crate::options::OpenOptions;
use crate::selector::Selector;
use crate::supervise::{Watch, supervise};
use crate::task::TaskLink;

/// Opens serial ports.
#[derive(Debug, Clone)]
pub struct SerialAdapter {
    roots: Roots,
}

/// The places in which ports are looked for.
#[derive(Debug, Clone)]
pub(crate) struct Roots {
    /// `/dev`
    pub(crate) dev: PathBuf,
    /// `/sys/class/tty`
    pub(crate) tty_class: PathBuf,
}

impl Default for SerialAdapter {
    fn default() -> Self {
        Self::new()
    }
}

impl SerialAdapter {
    /// The ports of this machine.
    #[must_use]
    pub fn new() -> Self {
        Self { roots: Roots { dev: "/dev".into(), tty_class: "/sys/class/tty".into() } }
    }

    /// Ports under other directories: for tests with a made-up tree.
    #[cfg(test)]
    pub(crate) fn under(dev: &Path, tty_class: &Path) -> Self {
        Self { roots: Roots { dev: dev.into(), tty_class: tty_class.into() } }
    }

    fn place(selector: &Selector) -> Result<SerialPlace, OpenError> {
        SerialPlace::parse(selector.rest()).map_err(|fault| selector.refuse(fault))
    }
}

impl Adapter for SerialAdapter {
    fn scheme(&self) -> &'static str {
        "serial"
    }

    fn list(&self) -> Vec<Found> {
        ports::scan(&self.roots).iter().map(|port| found(port, &self.roots)).collect()
    }

    fn check(&self, selector: &Selector) -> Result<(), OpenError> {
        Self::place(selector).map(|_| ())
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let place = Self::place(selector)?;
        let opener = open::SerialOpener::new(place, options.line, self.roots.clone());
        let (requests, receiver) = Requests::channel();
        let silence = options.silence;
        let backoff = Backoff::new(selector);
        let link = TaskLink::start(selector, options, |outlet| {
            supervise(opener, Watch { outlet, requests: receiver, silence, backoff })
        })?;
        Ok(Box::new(link.with_requests(requests).with_line(options.line)))
    }
}

/// The best name a port has: by-id, then USB identity with serial number, then its place in the machine.
fn found(port: &ports::Port, roots: &Roots) -> Found {
    let by_id = ports::stable_name(&port.device, &roots.dev.join("serial/by-id"));
    let by_usb = || port.usb.as_ref().filter(|usb| usb.serial.is_some()).map(|usb| format!("usb={usb}"));
    let by_path = || ports::stable_name(&port.device, &roots.dev.join("serial/by-path"));
    let rest = by_id.or_else(by_usb).or_else(by_path);
    let selector: Option<Selector> = rest.and_then(|rest| format!("serial:{rest}").parse().ok());
    let hindrance = if selector.is_none() {
        Some(crate::error::Absence::NotStable { path: port.device.display().to_string() })
    } else {
        access::hindrance(Path::new(&port.device))
    };
    Found { selector, description: port.description(), hindrance }
}
