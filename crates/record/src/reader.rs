//! Reads a recording line by line: the header, then events in order, each with its line number. Holds one line at a
//! time, however long the recording is. Does not open files; it receives a stream of bytes.

use alloc::borrow::ToOwned;
use alloc::collections::{BTreeSet, VecDeque};
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt;

use pipeline::Event;
use quantity::Instant;
use visit::round;
use wire::script::ScriptCompiler;

use crate::line::{BytesLine, LineEvent, RecordingHeader, VERSION, VERSION_OLDEST};
use crate::lines::{LINE_BYTES_MAX, Line, Lines};
use crate::plain_bytes::PlainBytes;
use crate::skipped::{SkipReason, SkippedLines};
use crate::stream::ByteStream;
use crate::{plain_lines, senml};

/// A recording, read and validated, with all its events.
#[derive(Debug)]
pub struct Recording {
    /// The first line.
    pub header: RecordingHeader,
    /// The settings the round had.
    pub settings: round::Settings,
    /// Events in order.
    pub events: Vec<Recorded>,
    /// Lines that were skipped, and why.
    pub skipped: SkippedLines,
}

/// One event with its place.
#[derive(Debug)]
pub struct Recorded {
    /// 1-based line.
    pub line: usize,
    /// When.
    pub at: Instant,
    /// What; `None` if other rules came into force.
    pub event: Option<Event>,
}

/// An item of a recording after its header.
#[derive(Debug)]
pub enum Item {
    /// An event.
    Event(Recorded),
    /// A skipped line: its number, from 1, and why.
    Skipped(usize, SkipReason),
}

/// What is wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadError {
    /// 1-based line.
    pub line: usize,
    /// What and why.
    pub message: String,
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, plain_lines(&self.message, "    "))
    }
}

impl core::error::Error for ReadError {}

/// Reads a whole recording. `scripts` compiles the decode scripts of its profiles.
///
/// # Errors
/// As for [`Reader::new`] and [`Reader::next_item`].
pub fn read(source: impl ByteStream, scripts: &dyn ScriptCompiler) -> Result<Recording, ReadError> {
    let mut reader = Reader::new(source, scripts)?;
    let (header, settings) = (reader.header().clone(), reader.settings());
    let mut recording = Recording { header, settings, events: Vec::new(), skipped: SkippedLines::default() };
    while let Some(item) = reader.next_item()? {
        match item {
            Item::Event(event) => recording.events.push(event),
            Item::Skipped(line, why) => recording.skipped.push(line, why),
        }
    }
    Ok(recording)
}

/// A recording being read.
pub struct Reader<'s, R> {
    lines: Lines<R>,
    scripts: &'s dyn ScriptCompiler,
    header: RecordingHeader,
    settings: round::Settings,
    known: Known,
    /// Events of the last line read that were not returned yet.
    waiting: VecDeque<Recorded>,
}

/// What the lines so far contained.
#[derive(Default)]
struct Known {
    /// Devices that joined.
    joined: BTreeSet<String>,
    /// Devices whose readings came as SenML.
    read: BTreeSet<String>,
    last: Instant,
}

impl<'s, R: ByteStream> Reader<'s, R> {
    /// Reads the header: the first line that is not blank.
    ///
    /// # Errors
    /// [`ReadError`] with the line if it is not a header, or one of another version.
    pub fn new(source: R, scripts: &'s dyn ScriptCompiler) -> Result<Self, ReadError> {
        let mut lines = Lines::new(source);
        let (header, settings) = read_header(&mut lines)?;
        let (known, waiting) = (Known::default(), VecDeque::new());
        Ok(Self { lines, scripts, header, settings, known, waiting })
    }

    /// The first line.
    #[must_use]
    pub fn header(&self) -> &RecordingHeader {
        &self.header
    }

    /// The settings the round had.
    #[must_use]
    pub fn settings(&self) -> round::Settings {
        self.settings
    }

    /// The next item; `None` at the end. Blank lines are ignored. A line that is an array is a SenML pack and is
    /// accepted whole or not at all.
    ///
    /// Skipped are a last line without a line end that is not complete JSON, and any line that is not UTF-8 or longer
    /// than [`LINE_BYTES_MAX`]. What such a line contained is unknown, so each device has a gap after it: its bytes
    /// may be missing.
    ///
    /// # Errors
    /// [`ReadError`] with the line: not JSON, an unknown key or event, an impossible value, time running backwards,
    /// or bytes that cannot be read. Do not use what follows after an error.
    pub fn next_item(&mut self) -> Result<Option<Item>, ReadError> {
        loop {
            if let Some(event) = self.waiting.pop_front() {
                return Ok(Some(Item::Event(event)));
            }
            let next = self.lines.number().saturating_add(1);
            let line = self.lines.next().map_err(|error| unreadable(next, &error))?;
            let Some((number, line)) = line else { return Ok(None) };
            let (text, ended) = match line {
                Line::Text { text, .. } if text.trim().is_empty() => continue,
                Line::Text { text, ended } => (text, ended),
                Line::NotText { cut: true } => return Ok(Some(Item::Skipped(number, SkipReason::CutOff))),
                Line::NotText { cut: false } => return Ok(Some(self.lost(number, SkipReason::NotText))),
                Line::TooLong => return Ok(Some(self.lost(number, SkipReason::TooLong))),
            };
            let events = match events_of(text, self.scripts) {
                Ok(events) => events,
                Err(Fault::NotJson(_)) if !ended => {
                    return Ok(Some(Item::Skipped(number, SkipReason::CutOff)));
                }
                Err(Fault::NotJson(why)) => return Err(fault(number, &format!("not JSON: {why}"))),
                Err(Fault::Wrong(why)) => return Err(fault(number, &why)),
            };
            let (at, event) = match events {
                Events::One(at, event) => (at, event),
                Events::Pack(pack) => {
                    for (at, event) in pack {
                        self.known.take(at, Some(&event)).map_err(|why| fault(number, &why))?;
                        self.waiting.push_back(Recorded { line: number, at, event: Some(event) });
                    }
                    continue;
                }
            };
            self.known.take(at, event.as_ref()).map_err(|why| fault(number, &why))?;
            return Ok(Some(Item::Event(Recorded { line: number, at, event })));
        }
    }

    /// A line lost in the middle: a gap for each device.
    fn lost(&mut self, line: usize, why: SkipReason) -> Item {
        let devices = self.known.joined.union(&self.known.read).cloned();
        let gap = |device| Recorded { line, at: self.known.last, event: Some(Event::Gap { device }) };
        self.waiting.extend(devices.map(gap));
        Item::Skipped(line, why)
    }
}

impl Known {
    /// Queues an event as the next one.
    fn take(&mut self, at: Instant, event: Option<&Event>) -> Result<(), String> {
        match event {
            Some(Event::Joined { device, .. }) => {
                self.joined.insert(device.clone());
            }
            // Bytes of a device that has not joined would be dropped without a word.
            Some(Event::Bytes { device, .. }) if !self.joined.contains(device) => {
                return Err(format!(
                    "device {device:?} has not joined; a line with \"event\":\"joined\" must come before its bytes"
                ));
            }
            Some(Event::Round(round::Event::Reading { device, .. })) if !self.read.contains(device) => {
                self.read.insert(device.clone());
            }
            _ => {}
        }
        if at < self.last {
            let (at, last) = (at.seconds(), self.last.seconds());
            return Err(format!("time runs backwards: {at} s after {last} s"));
        }
        self.last = at;
        Ok(())
    }
}

fn read_header(lines: &mut Lines<impl ByteStream>) -> Result<(RecordingHeader, round::Settings), ReadError> {
    loop {
        let next = lines.number().saturating_add(1);
        let line = lines.next().map_err(|error| unreadable(next, &error))?;
        let (number, text) = match line {
            None => return Err(fault(1, "the recording is empty")),
            Some((_, Line::Text { text, .. })) if text.trim().is_empty() => continue,
            Some((number, Line::Text { text, .. })) => (number, text),
            Some((number, Line::NotText { .. })) => {
                return Err(fault(number, "the header is not UTF-8 text; is this a recording?"));
            }
            Some((number, Line::TooLong)) => {
                let why = format!("the header is longer than {LINE_BYTES_MAX} bytes; is this a recording?");
                return Err(fault(number, &why));
            }
        };
        let header: RecordingHeader = serde_json::from_str(text).map_err(|e| {
            let begins = format!("it begins {{\"cliplead_recording\":{VERSION},...}}");
            fault(number, &format!("not the header of a recording ({e}); {begins}"))
        })?;
        if !(VERSION_OLDEST..=VERSION).contains(&header.cliplead_recording) {
            let found = header.cliplead_recording;
            let why = format!(
                "recording version {found} is not known here (this program reads {VERSION_OLDEST} to {VERSION})"
            );
            return Err(fault(number, &why));
        }
        let settings = header.settings().map_err(|why| fault(number, &why))?;
        return Ok((header, settings));
    }
}

/// The content of one line.
enum Events {
    /// One event; `None` if other rules came into force.
    One(Instant, Option<Event>),
    /// The readings of a SenML pack.
    Pack(Vec<(Instant, Event)>),
}

/// Why a line yields no event.
enum Fault {
    NotJson(String),
    Wrong(String),
}

fn events_of(text: &str, scripts: &dyn ScriptCompiler) -> Result<Events, Fault> {
    if let Some(line) = PlainBytes::parse(text) {
        let (device, data) = (line.device.to_owned(), line.data);
        return Ok(Events::One(Instant::from_micros(line.t), Some(Event::Bytes { device, data })));
    }
    if let Some(line) = BytesLine::parse(text) {
        // The same written otherwise; it is read without a tree of values in between.
        return Ok(Events::One(time(line.t)?, Some(line.event().map_err(Fault::Wrong)?)));
    }
    let value: serde_json::Value = serde_json::from_str(text).map_err(|e| Fault::NotJson(e.to_string()))?;
    if value.is_array() {
        let readings = senml::pack(&value).map_err(|e| Fault::Wrong(format!("SenML: {e}")))?;
        let event = |(device, reading): (String, quantity::Reading)| {
            (reading.at, Event::Round(round::Event::Reading { device, reading }))
        };
        return Ok(Events::Pack(readings.into_iter().map(event).collect()));
    }
    let line: LineEvent = serde_json::from_value(value).map_err(|e| Fault::Wrong(e.to_string()))?;
    let at = time(line.time_us())?;
    Ok(Events::One(at, line.event(scripts).map_err(Fault::Wrong)?))
}

fn time(t: i64) -> Result<Instant, Fault> {
    if t < 0 {
        return Err(Fault::Wrong(format!("t is {t}; time counts microseconds from the start")));
    }
    Ok(Instant::from_micros(t))
}

fn unreadable(line: usize, error: &impl fmt::Display) -> ReadError {
    fault(line, &format!("cannot be read: {error}"))
}

fn fault(line: usize, message: &str) -> ReadError {
    ReadError { line, message: message.to_owned() }
}

#[cfg(test)]
mod tests;
