//! Devices that speak only when asked: a [`Poller`] says what to send and when, takes what comes back, and hands on each
//! checked answer as a packet. No clock, no I/O, bounded memory; never waits. Does not decode an answer; the decoder does.
//!
//! # No answer is ever taken for another's
//! Modbus RTU and SCPI number nothing: an answer says what, not to which request. An answer that comes after its time would
//! be taken for the next one's. So before each request that could be mixed up the poller sets a *marker*: a request
//! whose answer cannot be anything else. A serial device answers in order, so when the marker's answer comes back, all that
//! was late (or doubled) has passed. Only then is the request sent, and it alone is answered by what follows.
//! What each protocol uses as its marker, and what is left over, stands in `rtu_client.rs` and `scpi.rs`.

pub(crate) mod rtu;
pub(crate) mod rtu_client;
mod schedule;
pub(crate) mod scpi;

use alloc::vec::Vec;
use core::fmt;

use quantity::Instant;

use rtu_client::{RtuClient, RtuSettings};
use scpi::{ScpiClient, ScpiSettings};

/// How a profile talks to its device.
#[derive(Clone, Debug)]
pub(crate) enum Protocol {
    /// Modbus over a serial line.
    Rtu(RtuSettings),
    /// SCPI (IEEE 488.2).
    Scpi(ScpiSettings),
}

/// Why nothing came of a request, or bytes were thrown away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PollReason {
    /// No answer within the profile's `timeout_ms`.
    Timeout,
    /// The marker's answer did not come within `timeout_ms`.
    MarkerTimeout,
    /// The device says that it does not know the marker.
    MarkerUnknown,
    /// The checksum does not hold.
    Checksum,
    /// Another unit answered.
    WrongUnit,
    /// An answer of another form than asked for: function, length, text, or bytes behind its end.
    Malformed,
    /// The device refused the request. Where that comes as an answer, it is handed on as one.
    Refused,
    /// Bytes that nobody asked for.
    Unsolicited,
    /// The line sends back what is written on it, which was not so before.
    Echo,
}

impl PollReason {
    /// Every reason.
    pub const ALL: [Self; 9] = [
        Self::Timeout,
        Self::MarkerTimeout,
        Self::MarkerUnknown,
        Self::Checksum,
        Self::WrongUnit,
        Self::Malformed,
        Self::Refused,
        Self::Unsolicited,
        Self::Echo,
    ];

    /// The reason in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Timeout => "no answer in time",
            Self::MarkerTimeout => "the marker did not come back in time",
            Self::MarkerUnknown => {
                "the device does not know the marker; say marker = \"none\" under [poll] in its profile"
            }
            Self::Checksum => "checksum does not hold",
            Self::WrongUnit => "another unit answered",
            Self::Malformed => "not the form of an answer to the request",
            Self::Refused => "the device refused the request",
            Self::Unsolicited => "bytes that nobody asked for",
            Self::Echo => "the line sends back what is written on it",
        }
    }
}

/// Something went wrong with a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PollFault {
    /// Why.
    pub reason: PollReason,
    /// Which request, in the order of the profile; `None`: none was under way.
    pub request: Option<u8>,
}

impl fmt::Display for PollFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.request {
            Some(request) => write!(f, "request {request}: {}", self.reason.words()),
            None => f.write_str(self.reason.words()),
        }
    }
}

/// Running counts of a poller; all saturate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PollCounters {
    /// Requests sent, markers not counted.
    pub requests: u64,
    /// Markers sent.
    pub markers: u64,
    /// Answers handed on, refusals included.
    pub answers: u64,
    /// Bytes received.
    pub bytes: u64,
    /// Bytes received that are part of no answer handed on: markers, echoes, and all that was dropped.
    pub ignored_bytes: u64,
    faults: [u64; PollReason::ALL.len()],
}

impl PollCounters {
    /// How many faults of this reason there were.
    #[must_use]
    pub fn of(&self, reason: PollReason) -> u64 {
        PollReason::ALL
            .iter()
            .position(|r| *r == reason)
            .and_then(|i| self.faults.get(i))
            .copied()
            .unwrap_or(0)
    }

    /// All faults.
    #[must_use]
    pub fn faults(&self) -> u64 {
        self.faults.iter().fold(0, |sum, n| sum.saturating_add(*n))
    }

    fn count(&mut self, reason: PollReason) {
        let at = PollReason::ALL.iter().position(|r| *r == reason);
        if let Some(n) = at.and_then(|i| self.faults.get_mut(i)) {
            *n = n.saturating_add(1);
        }
    }
}

fn bump(count: &mut u64, by: usize) {
    *count = count.saturating_add(u64::try_from(by).unwrap_or(u64::MAX));
}

/// What a poller wants done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PollOutput {
    /// Write these bytes to the device, now.
    Send(Vec<u8>),
    /// A checked answer as a packet: bytes for the decoder and the recording.
    Answer(Vec<u8>),
    /// Something went wrong; it is counted. A dead device gives many.
    Fault(PollFault),
}

type Sink<'s> = &'s mut dyn FnMut(PollOutput);

/// Asks one device by its profile, which makes it ([`crate::Profile::poller`]).
#[derive(Clone, Debug)]
pub struct Poller {
    client: Client,
}

#[derive(Clone, Debug)]
enum Client {
    Rtu(RtuClient),
    Scpi(ScpiClient),
}

impl Poller {
    /// `seed` sets where the markers' numbers begin; see [`crate::Profile::poller`].
    pub(crate) fn new(protocol: &Protocol, bits_per_second: u32, seed: u16) -> Self {
        let client = match protocol {
            Protocol::Rtu(settings) => Client::Rtu(RtuClient::new(settings.clone(), bits_per_second, seed)),
            Protocol::Scpi(settings) => Client::Scpi(ScpiClient::new(settings.clone())),
        };
        Self { client }
    }

    /// The line was opened, for the first time or again: everything begins anew, nothing under way is waited for.
    pub fn opened(&mut self, now: Instant) {
        match &mut self.client {
            Client::Rtu(client) => client.opened(now),
            Client::Scpi(client) => client.opened(now),
        }
    }

    /// The line is closed: nothing is due until it is opened again.
    pub fn closed(&mut self) {
        match &mut self.client {
            Client::Rtu(client) => client.closed(),
            Client::Scpi(client) => client.closed(),
        }
    }

    /// When [`Poller::tick`] has something to do; `None`: the line is closed.
    #[must_use]
    pub fn poll_at(&self) -> Option<Instant> {
        match &self.client {
            Client::Rtu(client) => client.poll_at(),
            Client::Scpi(client) => client.poll_at(),
        }
    }

    /// Does what is due at `now`: sends, gives up waiting. Before its time it does nothing.
    pub fn tick(&mut self, now: Instant, out: &mut dyn FnMut(PollOutput)) {
        match &mut self.client {
            Client::Rtu(client) => client.tick(now, out),
            Client::Scpi(client) => client.tick(now, out),
        }
    }

    /// Takes bytes that arrived at `at`. Answers complete by them are handed out at once.
    pub fn received(&mut self, at: Instant, data: &[u8], out: &mut dyn FnMut(PollOutput)) {
        match &mut self.client {
            Client::Rtu(client) => client.received(at, data, out),
            Client::Scpi(client) => client.received(at, data, out),
        }
    }

    /// What was asked, answered and dropped so far.
    #[must_use]
    pub fn counters(&self) -> &PollCounters {
        match &self.client {
            Client::Rtu(client) => client.counters(),
            Client::Scpi(client) => client.counters(),
        }
    }

    /// Bytes held.
    #[must_use]
    pub fn held(&self) -> usize {
        match &self.client {
            Client::Rtu(client) => client.held(),
            Client::Scpi(client) => client.held(),
        }
    }
}

#[cfg(test)]
mod tests;
