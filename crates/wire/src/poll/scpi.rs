//! The SCPI client (IEEE 488.2): one query at a time, ended by a line feed. Does not know what a reply means.
//!
//! # The marker
//! After any fault the client reads the error queue (`SYST:ERR?`) until it returns 0. Its replies have a form that no
//! reading has, a number and a text in quotes. An instrument without an error queue is asked `*IDN?`, whose reply has
//! four fields (IEEE 488.2, 10.14). The instrument replies in order, so once as many of these replies are back as
//! were asked for, every late reply has passed. For a lost one the client waits until the line has been quiet for
//! `quarantine_ms` and starts counting again.
//!
//! The remaining risk: a reply more than `quarantine_ms` after a lost one, or doubled replies of the error queue, can
//! let a late reply through. Text carries no checksum either, so readings need agreement (`agree`, 2 or more).

use alloc::string::String;
use alloc::vec::Vec;

use quantity::{Duration, Instant};

use super::schedule::Schedule;
use super::{PollCounters, PollFault, PollOutput, PollReason, Sink, bump};
use crate::packet::{self, PacketKind};

/// The longest line accepted.
const LINE_BYTES_MAX: usize = 256;
/// The longest query; it fits a packet together with the longest line.
pub(crate) const QUERY_BYTES_MAX: usize = 200;
/// Entries of the error queue read in a row; if it never returns 0, the client stops there.
const DRAINED_MAX: u32 = 32;
/// The marker of an instrument without an error queue.
pub(crate) const IDENTIFY: &str = "*IDN?";
/// Pause between two lines to the instrument (our own choice; some drop a line that follows at once).
const QUIET_MS: i64 = 20;

/// A query and how often it is sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Query {
    pub(crate) text: String,
    /// Numbers in its reply, separated by commas.
    pub(crate) parts: usize,
    pub(crate) period: Duration,
    pub(crate) timeout: Duration,
}

/// The settings of a profile.
#[derive(Clone, Debug)]
pub(crate) struct ScpiSettings {
    /// Sent once after opening. The client waits for a reply to those that end in a question mark.
    pub(crate) init: Vec<String>,
    /// Reads the error queue, or is [`IDENTIFY`].
    pub(crate) marker: String,
    pub(crate) timeout: Duration,
    pub(crate) quarantine: Duration,
    pub(crate) queries: Vec<Query>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asked {
    Init,
    Query(usize),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Closed,
    /// Waiting for nothing. The next line waits for `from` and for `quiet` without a byte.
    Rest {
        from: Instant,
        quiet: Duration,
    },
    /// The error queue was queried.
    Draining {
        until: Instant,
    },
    Waiting {
        asked: Asked,
        until: Instant,
    },
}

/// A running client.
#[derive(Clone, Debug)]
pub(super) struct ScpiClient {
    settings: ScpiSettings,
    schedule: Schedule,
    state: State,
    /// The line received so far.
    heard: Vec<u8>,
    /// The line is too long; the rest is discarded.
    overlong: bool,
    last: Instant,
    /// Replies of the error queue still to come.
    owed: u32,
    /// The error queue must be read before the next query.
    wary: bool,
    drained: u32,
    /// Index of the next line to send after opening.
    init_at: usize,
    sent: String,
    counters: PollCounters,
}

/// The code, if the line is a reply of the error queue: `-113,"Undefined header"` (SCPI-99, 21.8.8).
fn error_code(line: &str) -> Option<i32> {
    let (code, text) = line.split_once(',')?;
    let text = text.trim();
    (text.len() >= 2 && text.starts_with('"') && text.ends_with('"')).then(|| code.trim().parse().ok())?
}

/// Whether the line identifies an instrument: four fields, not all of them numbers.
fn is_identity(line: &str) -> bool {
    line.split(',').count() == 4 && line.split(',').next().is_some_and(|maker| !is_number(maker.trim()))
}

/// Whether the line is exactly this many numbers.
pub(crate) fn is_numbers(line: &str, parts: usize) -> bool {
    line.split(',').count() == parts && line.split(',').all(|part| is_number(part.trim()))
}

/// NR1, NR2 or NR3 (IEEE 488.2, 8.7).
fn is_number(text: &str) -> bool {
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | 'e' | 'E');
    !text.is_empty() && text.chars().all(plain) && text.parse::<f64>().is_ok()
}

impl ScpiClient {
    pub(super) fn new(settings: ScpiSettings) -> Self {
        Self {
            schedule: Schedule::new(settings.queries.iter().map(|query| query.period)),
            settings,
            state: State::Closed,
            heard: Vec::new(),
            overlong: false,
            last: Instant::ZERO,
            owed: 0,
            wary: true,
            drained: 0,
            init_at: 0,
            sent: String::new(),
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
        // Before the first opening nothing was asked that could still be answered.
        let asked_before = self.counters.requests > 0 || self.counters.markers > 0;
        let quiet = if asked_before { self.settings.quarantine } else { Duration::from_millis(QUIET_MS) };
        self.drop_line();
        (self.wary, self.init_at, self.drained) = (true, 0, 0);
        self.last = now;
        self.schedule.restart(now);
        self.state = State::Rest { from: now, quiet };
    }

    pub(super) fn closed(&mut self) {
        self.drop_line();
        self.state = State::Closed;
    }

    pub(super) fn poll_at(&self) -> Option<Instant> {
        match self.state {
            State::Closed => None,
            State::Rest { from, quiet } => {
                let ready = from.max(self.last + quiet);
                if self.wary || self.init_at < self.settings.init.len() {
                    return Some(ready);
                }
                self.schedule.next().map(|(_, due)| ready.max(due))
            }
            State::Draining { until } | State::Waiting { until, .. } => Some(until),
        }
    }

    pub(super) fn tick(&mut self, now: Instant, out: Sink<'_>) {
        if self.poll_at().is_none_or(|due| now < due) {
            return;
        }
        match self.state {
            State::Closed => {}
            State::Rest { quiet, .. } => {
                if quiet >= self.settings.quarantine {
                    self.owed = 0;
                }
                self.drop_line();
                self.go_on(now, out);
            }
            State::Draining { .. } => {
                self.fault(PollReason::MarkerTimeout, None, out);
                self.state = State::Rest { from: now, quiet: self.settings.quarantine };
            }
            State::Waiting { asked, .. } => self.fail(PollReason::Timeout, asked, now, out),
        }
    }

    /// Sends the next line: the error queue, the lines after opening, or the query that is due.
    fn go_on(&mut self, now: Instant, out: Sink<'_>) {
        if self.wary {
            self.owed = self.owed.saturating_add(1);
            bump(&mut self.counters.markers, 1);
            let marker = self.settings.marker.clone();
            self.send(&marker, now, out);
            self.state = State::Draining { until: now + self.settings.timeout };
        } else if let Some(line) = self.settings.init.get(self.init_at).cloned() {
            self.init_at += 1;
            self.wary = self.init_at >= self.settings.init.len();
            bump(&mut self.counters.requests, 1);
            self.send(&line, now, out);
            self.state = if line.ends_with('?') {
                State::Waiting { asked: Asked::Init, until: now + self.settings.timeout }
            } else {
                self.rest(now)
            };
        } else if let Some((next, _)) = self.schedule.next()
            && let Some(query) = self.settings.queries.get(next)
        {
            let (text, timeout) = (query.text.clone(), query.timeout);
            self.schedule.sent(next, now);
            bump(&mut self.counters.requests, 1);
            self.send(&text, now, out);
            self.state = State::Waiting { asked: Asked::Query(next), until: now + timeout };
        }
    }

    fn rest(&self, from: Instant) -> State {
        State::Rest { from, quiet: Duration::from_millis(QUIET_MS) }
    }

    fn send(&mut self, line: &str, now: Instant, out: Sink<'_>) {
        self.last = now;
        self.sent.clear();
        self.sent.push_str(line);
        let mut bytes = line.as_bytes().to_vec();
        bytes.push(b'\n');
        out(PollOutput::Send(bytes));
    }

    pub(super) fn received(&mut self, at: Instant, data: &[u8], out: Sink<'_>) {
        bump(&mut self.counters.bytes, data.len());
        if let State::Draining { until } | State::Waiting { until, .. } = self.state
            && at >= until
        {
            self.tick(at, out);
        }
        self.last = at;
        let mut rest = data;
        while let Some(end) = rest.iter().position(|byte| *byte == b'\n') {
            let (line, after) = rest.split_at(end);
            rest = after.get(1..).unwrap_or_default();
            bump(&mut self.counters.ignored_bytes, 1);
            self.hold(line);
            self.line_end(at, !rest.is_empty(), out);
        }
        self.hold(rest);
    }

    fn hold(&mut self, piece: &[u8]) {
        if self.heard.len().saturating_add(piece.len()) > LINE_BYTES_MAX || self.overlong {
            self.overlong = true;
            bump(&mut self.counters.ignored_bytes, self.heard.len().saturating_add(piece.len()));
            self.heard.clear();
        } else {
            self.heard.extend_from_slice(piece);
        }
    }

    fn drop_line(&mut self) {
        bump(&mut self.counters.ignored_bytes, self.heard.len());
        self.heard.clear();
        self.overlong = false;
    }

    fn line_end(&mut self, at: Instant, more: bool, out: Sink<'_>) {
        let overlong = core::mem::take(&mut self.overlong);
        let bytes = core::mem::take(&mut self.heard);
        bump(&mut self.counters.ignored_bytes, bytes.len());
        let text = core::str::from_utf8(&bytes).map(str::trim).ok().filter(|_| !overlong);
        // An empty line says nothing, and some instruments send back what they are sent.
        if text.is_some_and(|text| text.is_empty() || text == self.sent) {
            return;
        }
        let code = text.and_then(|text| self.marked(text));
        match (self.state, code) {
            (State::Closed, _) => {}
            (State::Draining { .. }, Some(code)) => self.error(code, at, out),
            (State::Draining { .. }, None) => self.fault(PollReason::Unsolicited, None, out),
            // A late answer of the error queue.
            (State::Waiting { .. } | State::Rest { .. }, Some(_)) if self.owed > 0 => self.owed -= 1,
            (State::Waiting { asked: Asked::Init, .. }, _) => self.state = self.rest(at),
            (State::Waiting { asked: Asked::Query(query), .. }, None) => {
                self.answer(query, text.filter(|_| !more), at, out);
            }
            (State::Waiting { asked, .. }, Some(_)) => self.fail(PollReason::Malformed, asked, at, out),
            (State::Rest { .. }, _) => {
                self.wary = true;
                self.fault(PollReason::Unsolicited, None, out);
            }
        }
    }

    /// The code, if the line is a marker's reply; an instrument's identity counts as 0.
    fn marked(&self, line: &str) -> Option<i32> {
        if self.settings.marker == IDENTIFY { is_identity(line).then_some(0) } else { error_code(line) }
    }

    fn error(&mut self, code: i32, at: Instant, out: Sink<'_>) {
        self.owed = self.owed.saturating_sub(1);
        if code != 0 {
            self.drained = self.drained.saturating_add(1);
            self.fault(PollReason::Refused, None, out);
        }
        if self.owed > 0 {
            return;
        }
        if code == 0 || self.drained >= DRAINED_MAX {
            self.wary = false;
            self.drained = 0;
        }
        self.state = self.rest(at);
    }

    fn answer(&mut self, query: usize, text: Option<&str>, at: Instant, out: Sink<'_>) {
        let Some(Query { text: asked, parts, .. }) = self.settings.queries.get(query) else { return };
        let message = text
            .filter(|text| is_numbers(text, *parts))
            .map(|text| [asked.as_bytes(), b"\n", text.as_bytes()].concat());
        let index = u8::try_from(query).ok();
        let packet = index.zip(message).and_then(|(i, message)| packet::wrap(PacketKind::Reply, i, &message));
        let Some(packet) = packet else {
            return self.fail(PollReason::Malformed, Asked::Query(query), at, out);
        };
        self.state = self.rest(at);
        let bytes = text.map_or(0, |text| u64::try_from(text.len()).unwrap_or(0));
        self.counters.ignored_bytes = self.counters.ignored_bytes.saturating_sub(bytes);
        bump(&mut self.counters.answers, 1);
        out(PollOutput::Reply(packet));
    }

    fn fail(&mut self, reason: PollReason, asked: Asked, at: Instant, out: Sink<'_>) {
        self.wary = true;
        self.drop_line();
        let query = match asked {
            Asked::Init => None,
            Asked::Query(query) => Some(query),
        };
        self.fault(reason, query, out);
        self.state = self.rest(at);
    }

    fn fault(&mut self, reason: PollReason, query: Option<usize>, out: Sink<'_>) {
        self.counters.count(reason);
        let request = query.and_then(|query| u8::try_from(query).ok());
        out(PollOutput::Fault(PollFault { reason, request }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The forms of SCPI-99, 21.8.8, and of IEEE 488.2, 8.7; the examples were measured.
    #[test]
    fn an_error_is_no_number_and_a_number_no_error() {
        for (line, code) in [
            ("-113,\"Undefined header\"", Some(-113)),
            ("0,\"No error\"", Some(0)),
            ("+0, \"No error\"", Some(0)),
            ("-222,\"Data out of range; a, b\"", Some(-222)),
            ("0", None),
            ("0,1", None),
            ("x,\"y\"", None),
        ] {
            assert_eq!(error_code(line), code, "{line}");
            assert!(code.is_none() || (1..4).all(|parts| !is_numbers(line, parts)), "{line}");
        }
        assert!(is_identity("maker,model,0,1.2") && is_identity("a, b, c, d"));
        assert!(!is_identity("1,2,3,4") && !is_identity("0,\"No error\"") && !is_identity("ready"));
        assert!(is_numbers("0.0000447", 1) && is_numbers("+4.47E-05,-9.9E37", 2) && is_numbers("12", 1));
        for line in ["", "nan", "inf", "1,", "1 2", "--1", "1e", "0x1", "12.3 V", "1;2"] {
            assert!(!is_numbers(line, 1), "{line}");
        }
    }
}
