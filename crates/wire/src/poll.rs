//! Devices that speak only when asked. A [`Poller`] decides what to send and when, takes the bytes that come back,
//! and passes each validated reply on as a packet. No clock, no I/O, bounded memory; never waits. Does not decode
//! replies; the decoder does.
//!
//! # A reply is never matched to the wrong request
//! Neither Modbus RTU nor SCPI numbers its replies, so nothing in a reply says which request it belongs to: a late
//! reply could pass for the reply to the next request. Before each request that could be mixed up, the poller
//! therefore sends a *marker*, a request whose reply cannot be mistaken for any other. A serial device replies in
//! order. Once the marker's reply is back, no older reply, late or doubled, can follow. Only then does the poller
//! send the request, and only that request can be answered next. `rtu_client.rs` and `scpi.rs` say what each protocol
//! uses as its marker and which cases remain.

pub(crate) mod rtu;
pub(crate) mod rtu_client;
mod schedule;
pub(crate) mod scpi;

use alloc::vec::Vec;
use core::fmt;

use quantity::Instant;

use rtu_client::{RtuClient, RtuSettings};
use scpi::{ScpiClient, ScpiSettings};

/// The protocol by which a profile queries its device.
#[derive(Clone, Debug)]
pub(crate) enum Protocol {
    /// Modbus over a serial line.
    Rtu(RtuSettings),
    /// SCPI (IEEE 488.2).
    Scpi(ScpiSettings),
}

/// Why a request brought no result, or why bytes were dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PollReason {
    /// No reply within the profile's `timeout_ms`.
    Timeout,
    /// The marker's reply did not come within `timeout_ms`.
    MarkerTimeout,
    /// The device does not support the marker.
    MarkerUnknown,
    /// The checksum does not match.
    Checksum,
    /// Another unit answered.
    WrongUnit,
    /// The reply does not have the form of the request: function, length, text, or bytes after its end.
    Malformed,
    /// The device refused the request. If the refusal is itself a reply, it is passed on as one.
    Refused,
    /// Bytes that no request asked for.
    Unsolicited,
    /// The line has begun to echo what is written to it.
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

    /// The reason as text.
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
    /// The request, in the order of the profile; `None` if none was pending.
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

/// Running counts of a poller. All of them saturate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PollCounters {
    /// Requests sent, without markers.
    pub requests: u64,
    /// Markers sent.
    pub markers: u64,
    /// Replies passed on, refusals included.
    pub answers: u64,
    /// Bytes received.
    pub bytes: u64,
    /// Bytes received that belong to no reply passed on: markers, echoes and everything dropped.
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

/// What a poller asks its caller to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PollOutput {
    /// Write these bytes to the device, now.
    Send(Vec<u8>),
    /// A validated reply as a packet: bytes for the decoder and the recording.
    Reply(Vec<u8>),
    /// Something went wrong and was counted. A dead device causes many of these.
    Fault(PollFault),
}

type Sink<'s> = &'s mut dyn FnMut(PollOutput);

/// Queries one device as its profile says. Made by [`crate::Profile::poller`].
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
    /// `seed` is the first marker number; see [`crate::Profile::poller`].
    pub(crate) fn new(protocol: &Protocol, bits_per_second: u32, seed: u16) -> Self {
        let client = match protocol {
            Protocol::Rtu(settings) => Client::Rtu(RtuClient::new(settings.clone(), bits_per_second, seed)),
            Protocol::Scpi(settings) => Client::Scpi(ScpiClient::new(settings.clone())),
        };
        Self { client }
    }

    /// The line was opened or reopened: the poller starts over and waits for nothing that was pending.
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

    /// Does what is due at `now`: sends, or gives up waiting. Does nothing if called early.
    pub fn tick(&mut self, now: Instant, out: &mut dyn FnMut(PollOutput)) {
        match &mut self.client {
            Client::Rtu(client) => client.tick(now, out),
            Client::Scpi(client) => client.tick(now, out),
        }
    }

    /// Takes bytes that arrived at `at` and returns at once every reply they complete.
    pub fn received(&mut self, at: Instant, data: &[u8], out: &mut dyn FnMut(PollOutput)) {
        match &mut self.client {
            Client::Rtu(client) => client.received(at, data, out),
            Client::Scpi(client) => client.received(at, data, out),
        }
    }

    /// What was sent, received and dropped so far.
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
