//! What an open link reports: bytes, gaps, states, and its counters. Holds no times and no readings.

use std::fmt;
use std::io;

use crate::error::Unavailable;

/// One event of a link, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum LinkEvent {
    /// Bytes exactly as received, never empty, at most [`crate::CHUNK_BYTES_MAX`]. Chunk boundaries carry no meaning.
    Bytes(Vec<u8>),
    /// Bytes are missing here. A decoder starts over.
    Gap(GapReason),
    /// The link changed its state.
    State(LinkState),
}

/// Why bytes are missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum GapReason {
    /// The reader fell behind; this many bytes were dropped, oldest first.
    Overflow {
        /// Bytes dropped at this place.
        bytes: u64,
    },
    /// The device or its connection was lost.
    Lost(Disconnect),
}

impl fmt::Display for GapReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Overflow { bytes } => {
                write!(f, "{bytes} bytes dropped because they came faster than they were read")
            }
            Self::Lost(loss) => write!(f, "{loss}"),
        }
    }
}

/// How an open device was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Disconnect {
    /// The device hung up: unplugged or switched off (`read` gave no bytes).
    HungUp,
    /// The far end of a network connection closed it.
    Closed,
    /// A read or write failed.
    Io(io::ErrorKind),
    /// It had been sending and then sent nothing for this long, in milliseconds.
    Silent {
        /// The silence time of the options, ms.
        after_ms: u64,
    },
    /// A request could not be written within one second.
    WriteStalled,
    /// The device is there and refuses to send any of its values, perhaps because it is not paired.
    Refused,
    /// The code that reads this device panicked and was restarted. A bug; please report it.
    Panicked,
}

impl fmt::Display for Disconnect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::HungUp => f.write_str("the device is gone (unplugged or switched off)"),
            Self::Closed => f.write_str(
                "the far end closed the connection (switched off, or another program took its place)",
            ),
            Self::Io(kind) => write!(f, "reading or writing failed: {kind}"),
            Self::Silent { after_ms } => write!(f, "nothing received for {after_ms} ms"),
            Self::WriteStalled => f.write_str("a request could not be written within 1 s"),
            Self::Refused => write!(
                f,
                "it refuses to send its values; one that wants pairing is paired once, by hand: {}",
                crate::sys::words::BLUETOOTH.pair
            ),
            Self::Panicked => f.write_str(
                "the reader of this device failed and was started again (a defect, please report it)",
            ),
        }
    }
}

/// The state of a link.
///
/// ```text
/// Opening -> Syncing -> Live -> Lost -> Opening ...
/// \-> Absent (retried forever) -> Syncing
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum LinkState {
    /// Looking for the device and opening it.
    Opening,
    /// It cannot be opened now; the link keeps retrying.
    Absent(Unavailable),
    /// Open, nothing received yet.
    Syncing,
    /// Open and receiving.
    Live,
    /// It was open and is lost. A [`LinkEvent::Gap`] came just before.
    Lost(Disconnect),
    /// A finite source reached its end. No event follows.
    Ended,
}

impl fmt::Display for LinkState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Opening => f.write_str("opening"),
            Self::Absent(why) => write!(f, "absent: {why}"),
            Self::Syncing => f.write_str("open, nothing received yet"),
            Self::Live => f.write_str("live"),
            Self::Lost(loss) => write!(f, "lost: {loss}"),
            Self::Ended => f.write_str("ended"),
        }
    }
}

/// Counters of a link since it was made. They only grow.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LinkCounters {
    /// Bytes received from the device, delivered or not.
    pub received_bytes: u64,
    /// Bytes received and dropped because the reader was behind.
    pub dropped_bytes: u64,
    /// Gaps reported, for any reason.
    pub gaps: u64,
    /// Times the device was opened.
    pub opened: u64,
    /// Times opening failed.
    pub open_failed: u64,
    /// Times the reading code panicked and was restarted.
    pub panics: u64,
    /// Requests dropped because the device was not open.
    pub requests_dropped: u64,
    /// The most bytes that ever waited in the queue.
    pub queued_bytes_peak: usize,
    /// The most events that ever waited in the queue.
    pub queued_events_peak: usize,
}
