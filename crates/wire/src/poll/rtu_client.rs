//! The Modbus RTU client: when to send a marker, when to send a read, which reply to accept. Does not know the layout
//! of a frame (`rtu.rs`) or what a register means.
//!
//! # The marker
//! Before each read, the client sends a Diagnostics request (function 08, sub-function 0) with a fresh number, and
//! the device echoes it. The device replies in order, so nothing older can follow that echo, neither a late reply nor
//! a doubled one. Only the reply to the one read sent after it can come next. If a read is not answered in time, the
//! client gives it up, and the next marker waits for whatever is still on its way. A slow device may echo an older
//! marker of the same run; that is just as good.
//!
//! A line that echoes what is written to it would answer each marker itself. So each time the line is opened, the
//! client sends one read and discards its reply: if the request comes back too, the line echoes, and each marker must
//! come back twice.
//!
//! # Without a marker
//! For a device without function 08, the profile sets `marker = "none"`; a device that refuses the function is
//! recognised. Then all reads must differ in function or length, so that a reply fits no other read (the loader
//! enforces it), and after any fault nothing is sent until the line has been quiet for `quarantine_ms`. The remaining
//! risk: a reply later than that, or a doubled one, passes for a newer reply to the same read. Its value is then
//! older than its time stamp says, but never that of another read.

use alloc::vec::Vec;

use quantity::{Duration, Instant};

use super::rtu::{self, Block, MarkerReply, REQUEST_BYTES, Reply};
use super::schedule::Schedule;
use super::{PollCounters, PollFault, PollOutput, PollReason, Sink, bump};
use crate::packet::{self, PacketKind};

/// The most bytes buffered; more than the longest reply, an echo before it, and a marker's echo before both.
const HELD_BYTES_MAX: usize = 512;
/// Bytes are examined in pieces of this size.
const PIECE_BYTES: usize = 256;
/// Markers of one run whose echoes are still accepted.
const RUN_MAX: usize = 16;
/// The line counts as quiet after this. The 3.5 characters of the standard are shorter from 2,400 baud on, but
/// adapters deliver bytes in bursts of up to 16 ms (common practice).
const QUIET_MS: i64 = 20;
/// The longest wait between two unanswered markers.
const BACKOFF_MS_MAX: i64 = 1_000;
/// After this many unanswered markers the client tests again whether the line echoes.
const UNMARKED_MAX: u32 = 3;

/// One read and how often it is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Read {
    pub(crate) block: Block,
    pub(crate) period: Duration,
    pub(crate) timeout: Duration,
}

/// The settings of a profile.
#[derive(Clone, Debug)]
pub(crate) struct RtuSettings {
    pub(crate) unit: u8,
    /// Whether the device supports the marker.
    pub(crate) marker: bool,
    pub(crate) quarantine: Duration,
    pub(crate) reads: Vec<Read>,
}

impl RtuSettings {
    /// The first two reads whose replies have the same form.
    pub(crate) fn alike(&self) -> Option<(usize, usize)> {
        let form = |read: &Read| (read.block.entity.function(), read.block.data_bytes());
        self.reads.iter().enumerate().find_map(|(i, read)| {
            let before = self.reads.get(..i)?.iter().position(|other| form(other) == form(read))?;
            Some((before, i))
        })
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Closed,
    /// Nothing is pending. The next request waits for `from` and for `quiet` without a byte.
    Rest {
        from: Instant,
        quiet: Duration,
    },
    /// A read was sent to find out whether the line echoes.
    Learning {
        until: Instant,
    },
    /// A marker was sent.
    Marking {
        until: Instant,
    },
    /// The marker came back.
    Marked,
    /// A read was sent.
    Asked {
        read: usize,
        until: Instant,
        echoed: bool,
    },
}

/// A running client.
#[derive(Clone, Debug)]
pub(super) struct RtuClient {
    settings: RtuSettings,
    /// Whether the marker is used in this session.
    marker: bool,
    baud: u32,
    schedule: Schedule,
    state: State,
    /// Bytes received and not yet interpreted.
    heard: Vec<u8>,
    /// When the line last carried a byte, in either direction.
    last: Instant,
    /// Whether the line echoes what is written to it.
    echo: Option<bool>,
    number: u16,
    /// Markers sent since the last read, and how often each came back.
    run: Vec<(u16, u8)>,
    unmarked: u32,
    counters: PollCounters,
}

impl RtuClient {
    pub(super) fn new(settings: RtuSettings, baud: u32, seed: u16) -> Self {
        Self {
            marker: settings.marker,
            schedule: Schedule::new(settings.reads.iter().map(|read| read.period)),
            settings,
            baud,
            state: State::Closed,
            heard: Vec::new(),
            last: Instant::ZERO,
            echo: None,
            number: seed,
            run: Vec::new(),
            unmarked: 0,
            counters: PollCounters::default(),
        }
    }

    pub(super) fn counters(&self) -> &PollCounters {
        &self.counters
    }

    pub(super) fn held(&self) -> usize {
        self.heard.len()
    }

    pub(super) fn opened(&mut self, now: Instant) {
        self.drop_heard(self.heard.len());
        self.run.clear();
        self.marker = self.settings.marker;
        self.echo = None;
        self.unmarked = 0;
        self.last = now;
        self.schedule.restart(now);
        // What an earlier session left under way has as long to pass as after any trouble.
        self.state = State::Rest { from: now, quiet: self.after_trouble() };
    }

    pub(super) fn closed(&mut self) {
        self.drop_heard(self.heard.len());
        self.state = State::Closed;
    }

    /// 3.5 characters of 11 bits (MODBUS over Serial Line V1.02, 2.5.1.1), or [`QUIET_MS`].
    fn quiet(&self) -> Duration {
        Duration::from_micros(self.wire_time(4).micros().max(QUIET_MS * 1_000))
    }

    /// The time that this many characters of 11 bits take on the line.
    fn wire_time(&self, characters: usize) -> Duration {
        let bits = i64::try_from(characters).unwrap_or(i64::MAX).saturating_mul(11);
        Duration::from_micros(bits.saturating_mul(1_000_000) / i64::from(self.baud.max(1)))
    }

    fn after_trouble(&self) -> Duration {
        if self.marker { self.quiet() } else { self.settings.quarantine }
    }

    fn ready_at(&self, from: Instant, quiet: Duration) -> Instant {
        from.max(self.last + quiet)
    }

    pub(super) fn poll_at(&self) -> Option<Instant> {
        match self.state {
            State::Closed => None,
            State::Rest { from, quiet } => {
                let (_, due) = self.schedule.next()?;
                Some(self.ready_at(from, quiet).max(due))
            }
            State::Marked => Some(self.last + self.quiet()),
            State::Learning { until } | State::Marking { until } | State::Asked { until, .. } => Some(until),
        }
    }

    pub(super) fn tick(&mut self, now: Instant, out: Sink<'_>) {
        if self.poll_at().is_none_or(|due| now < due) {
            return;
        }
        let Some((next, _)) = self.schedule.next() else { return };
        match self.state {
            State::Closed => {}
            State::Rest { .. } if !self.marker => self.ask(next, now, out),
            State::Rest { .. } if self.echo.is_none() => self.learn(now, out),
            State::Rest { .. } => self.mark(now, out),
            // The beginning of something that is no marker's echo.
            State::Marked if !self.heard.is_empty() => self.fail(PollReason::Unsolicited, None, now, out),
            State::Marked => self.ask(next, now, out),
            State::Learning { .. } => self.learned(now, out),
            State::Marking { .. } => {
                self.unmarked = self.unmarked.saturating_add(1);
                if self.unmarked.is_multiple_of(UNMARKED_MAX) {
                    self.echo = None;
                }
                self.fault(PollReason::MarkerTimeout, None, out);
                self.back_off(now);
            }
            State::Asked { read, .. } => self.fail(PollReason::Timeout, Some(read), now, out),
        }
    }

    pub(super) fn received(&mut self, at: Instant, data: &[u8], out: Sink<'_>) {
        bump(&mut self.counters.bytes, data.len());
        if let State::Learning { until } | State::Marking { until } | State::Asked { until, .. } = self.state
            && at >= until
        {
            self.tick(at, out);
        }
        self.last = at;
        // Piece by piece, so that what is held stays bounded however much comes at once.
        for piece in data.chunks(PIECE_BYTES) {
            self.heard.extend_from_slice(piece);
            self.look(at, out);
            let over = self.heard.len().saturating_sub(HELD_BYTES_MAX);
            self.drop_heard(over);
        }
    }

    fn look(&mut self, at: Instant, out: Sink<'_>) {
        match self.state {
            State::Closed => self.drop_heard(self.heard.len()),
            State::Learning { .. } => {}
            State::Rest { .. } if self.run.is_empty() => {
                self.drop_heard(self.heard.len());
                self.fault(PollReason::Unsolicited, None, out);
            }
            // A device slower than the time-out sends its echo back after the marker was given up.
            State::Rest { .. } | State::Marking { .. } => self.look_for_mark(at, out),
            State::Marked => {
                self.drop_marks();
                if !rtu::may_be_marker_reply(self.settings.unit, &self.heard) {
                    self.fail(PollReason::Unsolicited, None, at, out);
                }
            }
            State::Asked { read, .. } => self.look_for_reply(read, at, out),
        }
    }

    /// Drops echoes of markers at the front of the buffer.
    fn drop_marks(&mut self) {
        while let Some((_, bytes)) = rtu::marker_reply_at(self.settings.unit, &self.heard) {
            self.drop_heard(bytes);
        }
    }

    fn look_for_mark(&mut self, at: Instant, out: Sink<'_>) {
        let mut from = 0;
        while from < self.heard.len() {
            let tail = self.heard.get(from..).unwrap_or_default();
            let Some((mark, bytes)) = rtu::marker_reply_at(self.settings.unit, tail) else {
                from += 1;
                continue;
            };
            self.drop_heard(from + bytes);
            from = 0;
            match mark {
                MarkerReply::Echo(number) if self.came_back(number) => {
                    self.unmarked = 0;
                    self.state = State::Marked;
                    self.drop_marks();
                    if !rtu::may_be_marker_reply(self.settings.unit, &self.heard) {
                        self.fail(PollReason::Unsolicited, None, at, out);
                    }
                    return;
                }
                MarkerReply::Unknown => return self.do_without(at, out),
                MarkerReply::Echo(_) | MarkerReply::Failed => {}
            }
        }
        self.drop_heard(self.heard.len().saturating_sub(REQUEST_BYTES - 1));
    }

    /// A marker came back. Returns whether that is the device's reply and not only the line's echo.
    fn came_back(&mut self, number: u16) -> bool {
        let wanted = if self.echo == Some(false) { 1 } else { 2 };
        self.run.iter_mut().find(|(sent, _)| *sent == number).is_some_and(|(_, times)| {
            *times = times.saturating_add(1);
            *times >= wanted
        })
    }

    fn do_without(&mut self, at: Instant, out: Sink<'_>) {
        self.run.clear();
        self.drop_heard(self.heard.len());
        self.fault(PollReason::MarkerUnknown, None, out);
        if self.settings.alike().is_none() {
            self.marker = false;
            self.state = State::Rest { from: at, quiet: self.after_trouble() };
        } else {
            self.unmarked = self.unmarked.saturating_add(1);
            self.back_off(at);
        }
    }

    fn look_for_reply(&mut self, read: usize, at: Instant, out: Sink<'_>) {
        let Some(Read { block, .. }) = self.settings.reads.get(read).copied() else { return };
        let unit = self.settings.unit;
        let request = block.request(unit);
        loop {
            self.drop_marks();
            let State::Asked { until, echoed, .. } = self.state else { return };
            match rtu::reply(unit, block, &self.heard) {
                Reply::Whole { refused } => return self.accept(read, block, refused, at, out),
                _ if self.heard.starts_with(&request) && !echoed => {
                    if self.marker && self.echo != Some(true) {
                        self.echo = None;
                        return self.fail(PollReason::Echo, Some(read), at, out);
                    }
                    self.drop_heard(REQUEST_BYTES);
                    self.state = State::Asked { read, until, echoed: true };
                }
                Reply::Incomplete => return,
                Reply::Bad(_) if rtu::may_be_marker_reply(unit, &self.heard) => return,
                Reply::Bad(_) if !echoed && request.starts_with(&self.heard) => return,
                Reply::Bad(reason) => return self.fail(reason, Some(read), at, out),
            }
        }
    }

    fn accept(&mut self, read: usize, block: Block, refused: bool, at: Instant, out: Sink<'_>) {
        let content = self.heard.get(1..self.heard.len().saturating_sub(2)).unwrap_or_default();
        let message = [block.head().as_slice(), content].concat();
        self.heard.clear();
        self.state = State::Rest { from: at, quiet: self.quiet() };
        let wrapped = index(read).and_then(|index| packet::wrap(PacketKind::Reply, index, &message));
        if refused {
            self.fault(PollReason::Refused, Some(read), out);
        }
        if let Some(bytes) = wrapped {
            bump(&mut self.counters.answers, 1);
            out(PollOutput::Reply(bytes));
        }
    }

    fn learn(&mut self, now: Instant, out: Sink<'_>) {
        let Some(Read { block, timeout, .. }) = self.settings.reads.first().copied() else { return };
        let until = self.send(block.request(self.settings.unit), block.reply_bytes(), timeout, now, out);
        self.run.clear();
        bump(&mut self.counters.requests, 1);
        self.state = State::Learning { until };
    }

    fn learned(&mut self, now: Instant, out: Sink<'_>) {
        let Some(Read { block, .. }) = self.settings.reads.first().copied() else { return };
        let request = block.request(self.settings.unit);
        if self.heard.windows(REQUEST_BYTES).any(|bytes| bytes == request) {
            self.echo = Some(true);
        } else if matches!(rtu::reply(self.settings.unit, block, &self.heard), Reply::Whole { .. }) {
            self.echo = Some(false);
        }
        if self.echo.is_none() {
            self.unmarked = self.unmarked.saturating_add(1);
            let reason = if self.heard.is_empty() { PollReason::Timeout } else { PollReason::Malformed };
            self.fault(reason, Some(0), out);
            self.drop_heard(self.heard.len());
            return self.back_off(now);
        }
        self.drop_heard(self.heard.len());
        self.state = State::Rest { from: now, quiet: self.quiet() };
    }

    fn mark(&mut self, now: Instant, out: Sink<'_>) {
        self.number = self.number.wrapping_add(1);
        if self.run.len() >= RUN_MAX {
            self.run.remove(0);
        }
        self.run.push((self.number, 0));
        self.drop_heard(self.heard.len());
        let timeout = self.settings.reads.iter().map(|read| read.timeout).max().unwrap_or(Duration::ZERO);
        let marker = rtu::marker(self.settings.unit, self.number);
        let until = self.send(marker, REQUEST_BYTES, timeout, now, out);
        bump(&mut self.counters.markers, 1);
        self.state = State::Marking { until };
    }

    fn ask(&mut self, read: usize, now: Instant, out: Sink<'_>) {
        let Some(Read { block, timeout, .. }) = self.settings.reads.get(read).copied() else { return };
        self.schedule.sent(read, now);
        self.run.clear();
        self.drop_heard(self.heard.len());
        let until = self.send(block.request(self.settings.unit), block.reply_bytes(), timeout, now, out);
        bump(&mut self.counters.requests, 1);
        self.state = State::Asked { read, until, echoed: false };
    }

    /// Sends, and returns the deadline of the reply: the time-out plus the time of both on the line.
    fn send(
        &mut self,
        request: Vec<u8>,
        answer: usize,
        timeout: Duration,
        now: Instant,
        out: Sink<'_>,
    ) -> Instant {
        let sent = now + self.wire_time(request.len());
        self.last = sent;
        out(PollOutput::Send(request));
        sent + timeout + self.wire_time(answer)
    }

    fn fail(&mut self, reason: PollReason, read: Option<usize>, at: Instant, out: Sink<'_>) {
        self.drop_heard(self.heard.len());
        self.fault(reason, read, out);
        self.state = State::Rest { from: at, quiet: self.after_trouble() };
    }

    fn back_off(&mut self, now: Instant) {
        let wait_ms = (50_i64 << self.unmarked.min(10)).min(BACKOFF_MS_MAX);
        self.state = State::Rest { from: now + Duration::from_millis(wait_ms), quiet: self.after_trouble() };
    }

    fn fault(&mut self, reason: PollReason, read: Option<usize>, out: Sink<'_>) {
        self.counters.count(reason);
        out(PollOutput::Fault(PollFault { reason, request: read.and_then(index) }));
    }

    fn drop_heard(&mut self, bytes: usize) {
        bump(&mut self.counters.ignored_bytes, bytes);
        self.heard.drain(..bytes.min(self.heard.len()));
    }
}

/// A byte numbers the requests; the loader allows no more.
fn index(read: usize) -> Option<u8> {
    u8::try_from(read).ok()
}
