//! `serial:`: serial ports by a name that stays the same. Holds the adapter and a port as every system tells it; opening and
//! names stand in their own files, finding in the system's (`sys`).

pub(crate) mod open;
pub(crate) mod place;

use std::path::PathBuf;

pub use place::{SerialPlace, UsbIdentity};

use crate::adapter::{Adapter, Found, Link, Requests};
use crate::backoff::Backoff;
use crate::error::OpenError;
use crate::options::OpenOptions;
use crate::selector::Selector;
use crate::supervise::{Watch, supervise};
use crate::sys::serial::{self as system, Source};
use crate::task::TaskLink;

/// Opens serial ports.
#[derive(Debug, Clone)]
pub struct SerialAdapter {
    source: Source,
}

/// One port that the system has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Port {
    pub(crate) device: PathBuf,
    pub(crate) usb: Option<UsbIdentity>,
    /// Maker and product as the adapter calls itself.
    pub(crate) title: Option<String>,
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
    /// What people are told.
    pub(crate) shown: String,
    /// A pseudo-terminal: it takes settings and reads back others.
    pub(crate) is_pty: bool,
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
        Self { source: Source::here() }
    }

    /// Ports of another source: for tests with a made-up machine.
    #[cfg(test)]
    pub(crate) fn on(source: Source) -> Self {
        Self { source }
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
        system::list(&self.source)
    }

    fn check(&self, selector: &Selector) -> Result<(), OpenError> {
        Self::place(selector).map(|_| ())
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let place = Self::place(selector)?;
        let opener = open::SerialOpener::new(place, options.line, self.source.clone());
        let (requests, receiver) = Requests::channel();
        let silence = options.silence;
        let backoff = Backoff::new(selector);
        let link = TaskLink::start(selector, options, |outlet| {
            supervise(opener, Watch { outlet, requests: receiver, silence, backoff })
        })?;
        Ok(Box::new(link.with_requests(requests).with_line(options.line)))
    }
}
