//! The two traits: [`Adapter`] lists and opens, [`Link`] is what was opened. Holds no device code.

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

/// A scan under way: the devices in range, or why no scan is possible.
pub type ScanFuture<'a> = Pin<Box<dyn Future<Output = Result<Vec<Found>, Unavailable>> + Send + 'a>>;

/// A way in which bytes reach the program. One value serves all devices of its scheme.
pub trait Adapter: Send + Sync {
    /// The scheme of the selectors it opens: `serial`, `file`, ...
    fn scheme(&self) -> &'static str;

    /// What is attached now. Opens nothing, never fails; what cannot be used is listed with the reason.
    fn list(&self) -> Vec<Found>;

    /// Listens for some seconds for devices that show themselves to a scan only, and tells what is in range. Connects to nothing
    /// and switches nothing on. `None`: this kind needs no scan, [`Adapter::list`] has it all. Dropped before its end,
    /// [`Adapter::close`] waits until it is stopped. To be polled within a tokio runtime.
    fn scan(&self) -> Option<ScanFuture<'_>> {
        None
    }

    /// Whether the selector could ever be opened, without touching a device. For configuration files.
    ///
    /// # Errors
    /// What is wrong with it and what to write instead.
    fn validate(&self, selector: &Selector) -> Result<(), OpenError>;

    /// Starts a link. A device that is absent now is no error: the link says so and goes on looking.
    /// Must be called within a tokio runtime.
    ///
    /// # Errors
    /// Only what can never heal by itself: a refused selector, an option out of range, an unreadable file.
    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError>;

    /// Asks the links of this adapter to end, whoever holds them, and waits, for [`crate::CLOSE_TIME_MAX`] at most, until each
    /// has let its device go; those too that were dropped before. For the end of a program: see [`crate::Registry::close`].
    ///
    /// Only a device to which something must be said in parting needs it; any other is free when its link is dropped. An
    /// adapter around another one passes it on.
    fn close(&self) -> CloseFuture {
        Box::pin(std::future::ready(0))
    }
}

/// A device that [`Adapter::list`] found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// What to write in the configuration. `None` when it has no name that stays the same.
    pub selector: Option<Selector>,
    /// What a person needs to recognise it.
    pub description: String,
    /// Why it cannot be used now, where that can be told without opening it.
    pub hindrance: Option<Unavailable>,
}

/// An opened source of bytes. Dropping it stops its task and frees the device.
///
/// Wrappers (tracer, fault injector) implement the same trait around another link.
pub trait Link: Send {
    /// What it was opened by.
    fn selector(&self) -> &Selector;

    /// The next event; `None` after [`crate::LinkState::Ended`]. Cancel-safe. See also `next` on `dyn Link`.
    fn poll_event(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>>;

    /// What it counted so far.
    fn counters(&self) -> LinkCounters;

    /// Where requests go, for meters that speak when asked. `None`: this kind of source takes none.
    fn requests(&self) -> Option<Requests> {
        None
    }

    /// What was asked, answered and dropped. `None`: the device is not asked.
    fn poll_counters(&self) -> Option<wire::poll::PollCounters> {
        None
    }

    /// The line settings in force. `None`: it has no serial line.
    fn line_settings(&self) -> Option<LineSettings> {
        None
    }
}

impl dyn Link + '_ {
    /// Waits for the next event; `None` when the source has ended. Cancel-safe.
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
/// The most requests that wait to be written.
pub(crate) const REQUESTS_MAX: usize = 16;

/// Sees every request before it is sent.
pub(crate) type Tap = Arc<dyn Fn(&[u8]) + Send + Sync>;

/// Where requests to a device go. Bounded; cheap to clone.
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

    /// The same, with `tap` seeing each request that is taken.
    #[cfg(any(test, feature = "testing"))]
    pub(crate) fn tapped(mut self, tap: Tap) -> Self {
        self.taps.push(tap);
        self
    }

    /// Hands over one request. It is written when the device is open, and dropped and counted when it is not.
    ///
    /// # Errors
    /// Never waits: says that the queue is full, the request empty or too long, or the link gone.
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

/// Why a request was not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum RequestRefused {
    /// Empty, or longer than 1024 bytes.
    Length {
        /// Its length, bytes.
        bytes: usize,
    },
    /// Sixteen requests wait already: the device does not take them.
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
