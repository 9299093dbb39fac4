//! The two traits: an [`Adapter`] lists and opens devices, a [`Link`] is an open one. Holds no device code.

use std::fmt;
use std::future::{Future, poll_fn};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use tokio::sync::mpsc;

use crate::error::{OpenError, Unavailable};
use crate::event::{LinkCounters, LinkEvent};
use crate::options::{LineSettings, OpenOptions};
use crate::selector::Selector;
use crate::shutdown::CloseFuture;

/// A running scan: the devices in range, or why no scan is possible.
pub type ScanFuture<'a> = Pin<Box<dyn Future<Output = Result<Vec<Found>, Unavailable>> + Send + 'a>>;

/// A way for bytes to reach the program. One value serves all devices of its scheme.
pub trait Adapter: Send + Sync {
    /// The scheme of the selectors it opens: `serial`, `file`, ...
    fn scheme(&self) -> &'static str;

    /// What is attached now. Opens nothing and never fails; what cannot be used is listed with the reason.
    fn list(&self) -> Vec<Found>;

    /// Scans for some seconds for devices that only a scan can find, and returns those in range. Connects to nothing
    /// and switches nothing on. `None`: this adapter needs no scan, [`Adapter::list`] is complete. If the future is
    /// dropped early, [`Adapter::close`] waits until the scan has stopped. Poll it within a tokio runtime.
    fn scan(&self) -> Option<ScanFuture<'_>> {
        None
    }

    /// Whether the selector could ever be opened, without touching a device. For configuration files.
    ///
    /// # Errors
    /// What is wrong with it and what to write instead.
    fn validate(&self, selector: &Selector) -> Result<(), OpenError>;

    /// Starts a link. An absent device is not an error: the link reports it and keeps looking. Call it within a tokio
    /// runtime.
    ///
    /// # Errors
    /// Only what retrying cannot fix: an invalid selector, an option out of range, an unreadable file.
    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError>;

    /// Asks all links of this adapter to end, whoever holds them, and waits for at most [`crate::CLOSE_TIME_MAX`]
    /// until each has released its device; that includes links dropped earlier. Call it at the end of a program: see
    /// [`crate::Registry::close`].
    ///
    /// Only devices that must be disconnected need this; any other is free once its link is dropped. An adapter that
    /// wraps another one passes the call on.
    fn close(&self) -> CloseFuture {
        Box::pin(std::future::ready(0))
    }
}

/// A device that [`Adapter::list`] found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// What to write in the configuration. `None` if the device has no stable name.
    pub selector: Option<Selector>,
    /// Helps a person recognise it.
    pub description: String,
    /// Why it cannot be used now, if that can be found out without opening it.
    pub hindrance: Option<Unavailable>,
}

/// An opened source of bytes. Dropping it stops its task and frees the device.
///
/// Wrappers (tracer, fault injector) implement the same trait around another link.
pub trait Link: Send {
    /// The selector it was opened with.
    fn selector(&self) -> &Selector;

    /// The next event; `None` after [`crate::LinkState::Ended`]. Cancel-safe. See also `next` on `dyn Link`.
    fn poll_event(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>>;

    /// Its counters so far.
    fn counters(&self) -> LinkCounters;

    /// Accepts requests, for meters that speak only when asked. `None`: this kind of source accepts none.
    fn requests(&self) -> Option<Requests> {
        None
    }

    /// Counts of requests, replies and drops. `None`: the device is not polled.
    fn poll_counters(&self) -> Option<wire::poll::PollCounters> {
        None
    }

    /// The line settings in force. `None`: it has no serial line.
    fn line_settings(&self) -> Option<LineSettings> {
        None
    }
}

impl dyn Link + '_ {
    /// Waits for the next event; `None` once the source has ended. Cancel-safe.
    pub async fn next(&mut self) -> Option<LinkEvent> {
        poll_fn(|cx| self.poll_event(cx)).await
    }
}

impl fmt::Debug for dyn Link + '_ {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Link")
            .field("selector", &self.selector().as_str())
            .field("counters", &self.counters())
            .finish()
    }
}

/// The longest request, in bytes.
pub(crate) const REQUEST_BYTES_MAX: usize = 1024;
/// The most requests that can wait to be written.
pub(crate) const REQUESTS_MAX: usize = 16;

/// Sees every request before it is sent.
pub(crate) type Tap = Arc<dyn Fn(&[u8]) + Send + Sync>;

/// Sends requests to a device. Bounded; cheap to clone.
#[derive(Clone)]
pub struct Requests {
    sender: mpsc::Sender<Vec<u8>>,
    taps: Vec<Tap>,
}

impl Requests {
    /// The end that callers hold and the end that the link reads.
    pub(crate) fn channel() -> (Self, mpsc::Receiver<Vec<u8>>) {
        let (sender, receiver) = mpsc::channel(REQUESTS_MAX);
        (Self { sender, taps: Vec::new() }, receiver)
    }

    /// The same, with `tap` called for each accepted request.
    #[cfg(any(test, feature = "testing"))]
    pub(crate) fn tapped(mut self, tap: Tap) -> Self {
        self.taps.push(tap);
        self
    }

    /// Hands over one request. The link writes it if the device is open; otherwise it drops and counts it.
    ///
    /// # Errors
    /// Returns at once if the queue is full, the request is empty or too long, or the link is gone.
    pub fn send(&self, request: Vec<u8>) -> Result<(), RequestRefused> {
        if request.is_empty() || request.len() > REQUEST_BYTES_MAX {
            return Err(RequestRefused::Length { bytes: request.len() });
        }
        let permit = self.sender.try_reserve().map_err(|error| match error {
            mpsc::error::TrySendError::Full(()) => RequestRefused::Full,
            mpsc::error::TrySendError::Closed(()) => RequestRefused::Closed,
        })?;
        for tap in &self.taps {
            tap(&request);
        }
        permit.send(request);
        Ok(())
    }
}

impl fmt::Debug for Requests {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Requests").field("free", &self.sender.capacity()).finish_non_exhaustive()
    }
}

/// Why a request was rejected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum RequestRefused {
    /// Empty, or longer than 1024 bytes.
    Length {
        /// Its length, bytes.
        bytes: usize,
    },
    /// Sixteen requests are waiting already: the device does not take them.
    Full,
    /// The link is closed.
    Closed,
}

impl fmt::Display for RequestRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length { bytes } => {
                write!(f, "a request of {bytes} bytes is outside 1 to {REQUEST_BYTES_MAX}")
            }
            Self::Full => write!(f, "{REQUESTS_MAX} requests wait already; the device does not take them"),
            Self::Closed => f.write_str("the link is closed"),
        }
    }
}

impl std::error::Error for RequestRefused {}
