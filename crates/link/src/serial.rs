//! `serial:`: serial ports by stable names. Holds the adapter; opening and names have their own files, and each
//! system finds its ports in `sys`.

pub(crate) mod open;
mod place;
pub(crate) mod port;
pub(crate) mod sys;

pub use port::{NamedPort, Port, SerialPlace, UsbIdentity};

use crate::adapter::{Adapter, Found, Link, Requests};
use crate::backoff::Backoff;
use crate::error::OpenError;
use crate::options::OpenOptions;
use crate::selector::Selector;
use crate::supervise::{Watch, supervise};
use crate::task::TaskLink;
use sys::Source;

/// Opens serial ports.
#[derive(Debug, Clone)]
pub struct SerialAdapter {
    source: Source,
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

    /// Ports of another source: for tests with an invented machine.
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
        sys::list(&self.source)
    }

    fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
        Self::place(selector).map(|_| ())
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let place = Self::place(selector)?;
        let opener = open::SerialOpener::new(place, options.line, self.source.clone());
        let (requests, receiver) = Requests::channel();
        let silence = options.silence;
        let backoff = Backoff::new(selector);
        let link = TaskLink::start(selector, options, |sender| {
            supervise(opener, Watch { sender, requests: receiver, silence, backoff })
        })?;
        Ok(Box::new(link.with_requests(requests).with_line(options.line)))
    }
}
