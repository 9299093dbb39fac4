//! `tcp:HOST:PORT`: a serial server, a box or program that passes a serial line on as raw bytes. Holds the adapter;
//! the selector and the opening have their own files. Speaks no telnet and sets no line parameters: the server has
//! its own settings.

pub(crate) mod open;
mod place;

use std::fmt;
use std::sync::Arc;

pub use place::{TcpHost, TcpPlace};

use crate::adapter::{Adapter, Found, Link, Requests};
use crate::backoff::Backoff;
use crate::error::OpenError;
use crate::options::OpenOptions;
use crate::selector::Selector;
use crate::supervise::{Watch, supervise};
use crate::task::TaskLink;

/// Connects to serial servers.
#[derive(Clone)]
pub struct TcpAdapter {
    resolve: open::Resolve,
}

impl Default for TcpAdapter {
    fn default() -> Self {
        Self::new()
    }
}

impl TcpAdapter {
    /// Resolves names as the system does.
    #[must_use]
    pub fn new() -> Self {
        Self { resolve: Arc::new(open::system_resolve) }
    }

    /// Resolves names through `resolve`: for tests.
    #[cfg(test)]
    pub(crate) fn resolving(resolve: open::Resolve) -> Self {
        Self { resolve }
    }

    fn place(selector: &Selector) -> Result<TcpPlace, OpenError> {
        TcpPlace::parse(selector.rest()).map_err(|fault| selector.refuse(fault))
    }
}

impl fmt::Debug for TcpAdapter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("TcpAdapter").finish_non_exhaustive()
    }
}

impl Adapter for TcpAdapter {
    fn scheme(&self) -> &'static str {
        "tcp"
    }

    /// Empty: serial servers are named, not discovered. Nothing is sent into a network unasked.
    fn list(&self) -> Vec<Found> {
        Vec::new()
    }

    fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
        Self::place(selector).map(|_| ())
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let opener = open::TcpOpener::new(Self::place(selector)?, Arc::clone(&self.resolve));
        let (requests, receiver) = Requests::channel();
        let silence = options.silence;
        let backoff = Backoff::new(selector);
        let link = TaskLink::start(selector, options, |sender| {
            supervise(opener, Watch { sender, requests: receiver, silence, backoff })
        })?;
        Ok(Box::new(link.with_requests(requests)))
    }
}
