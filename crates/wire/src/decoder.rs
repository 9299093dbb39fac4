//! The decoder of one source: bytes or gaps in, readings and faults out. Does not limit how often faults are reported
//! and does not read a clock.

use alloc::boxed::Box;
use alloc::collections::BTreeMap;
use alloc::vec::Vec;

use quantity::{Instant, Reading};

use crate::agree::{Agreement, Decision, Evidence};
use crate::counters::{DecoderCounters, Fault, Reason};
use crate::decode::script::FRAMES_PER_SECOND;
use crate::decode::{Decode, Fit, Numbered};
use crate::frame::{Chunk, Framer};
use crate::profile::Profile;
use crate::script::ScriptError;

/// What a decoder returns.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Item {
    /// A reading. [`Decoder::evidence`] says why it was accepted.
    Reading(Reading),
    /// Something was dropped. A babbling device causes many of these; limiting them is the caller's job.
    Fault(Fault),
}

/// Decodes the bytes of one source as a profile says. Never ends; buffers one raw frame and a few decoded ones at
/// most.
#[derive(Clone, Debug)]
pub struct Decoder {
    framer: Framer,
    /// When the last bytes arrived.
    last_bytes: Option<Instant>,
    meaning: Meaning,
}

/// Everything after the framer.
#[derive(Clone, Debug)]
struct Meaning {
    profile: Profile,
    agreement: Agreement,
    counters: DecoderCounters,
    next_seq: u64,
    /// The current second, and how many of its frames a script has read.
    scripted: (i64, u32),
    script_error: Option<Box<ScriptError>>,
    /// When the frame that waits for its successor was complete.
    whole_at: Instant,
    /// The last number of each frame counter.
    numbers: Vec<(u8, i64)>,
    /// The device's own name for each channel.
    labels: BTreeMap<u8, Box<str>>,
    /// The bytes come from a recording, as fast as they are read.
    recorded: bool,
}

impl Decoder {
    /// A decoder before its first byte. It assumes that it joins the stream in mid-frame.
    #[must_use]
    pub fn new(profile: &Profile) -> Self {
        Self {
            framer: profile.frame().framer(),
            last_bytes: None,
            meaning: Meaning {
                agreement: Agreement::new(profile.agree()),
                profile: profile.clone(),
                counters: DecoderCounters::default(),
                next_seq: 0,
                scripted: (0, 0),
                script_error: None,
                whole_at: Instant::ZERO,
                numbers: Vec::new(),
                labels: BTreeMap::new(),
                recorded: false,
            },
        }
    }

    /// A decoder for recorded bytes without times, such as a raw file. They arrive as fast as they are read, so a
    /// script reads every frame: no device can flood it.
    #[must_use]
    pub fn of_recorded_bytes(profile: &Profile) -> Self {
        let mut decoder = Self::new(profile);
        decoder.meaning.recorded = true;
        decoder
    }

    /// Takes bytes that arrived at `at`. The time of a frame is that of its last byte (for text, of its line end).
    ///
    /// Silence before these bytes that is longer than the profile's `silence_ms` counts as a gap: two halves of
    /// different lines never become one.
    pub fn bytes(&mut self, at: Instant, data: &[u8], sink: &mut dyn FnMut(Item)) {
        if data.is_empty() {
            return;
        }
        if let Some(last) = self.last_bytes.filter(|last| at.since(*last) > self.meaning.profile.silence()) {
            let meaning = &mut self.meaning;
            self.framer.settle(&mut |chunk| meaning.chunk(last, &chunk, sink));
            self.cut(sink);
        }
        self.last_bytes = Some(at);
        let len = u64::try_from(data.len()).unwrap_or(u64::MAX);
        let meaning = &mut self.meaning;
        meaning.counters.bytes = meaning.counters.bytes.saturating_add(len);
        self.framer.push(data, &mut |chunk| meaning.chunk(at, &chunk, sink));
    }

    /// A gap reported by the link: drops the partial frame, counts it and restarts agreement.
    pub fn gap(&mut self, _at: Instant) {
        self.cut(&mut |_| {});
        self.last_bytes = None;
    }

    fn cut(&mut self, sink: &mut dyn FnMut(Item)) {
        let meaning = &mut self.meaning;
        meaning.counters.gaps = meaning.counters.gaps.saturating_add(1);
        self.framer.cut(&mut |chunk| meaning.chunk(Instant::ZERO, &chunk, sink));
        meaning.numbers.clear();
        meaning.disagree(sink);
    }

    /// What was received, decoded and dropped so far.
    #[must_use]
    pub fn counters(&self) -> &DecoderCounters {
        &self.meaning.counters
    }

    /// Why readings are accepted.
    #[must_use]
    pub fn evidence(&self) -> Evidence {
        self.meaning.profile.evidence()
    }

    /// The device's own name for this channel: the User Description of the characteristic that sent its last frame.
    /// `None` if it has none, or none that is text.
    #[must_use]
    pub fn label(&self, channel: u8) -> Option<&str> {
        self.meaning.labels.get(&channel).map(|label| &**label)
    }

    /// Why the decode script last failed, with its line in the profile; `None` if it never did.
    #[must_use]
    pub fn script_error(&self) -> Option<&ScriptError> {
        self.meaning.script_error.as_deref()
    }

    /// Bytes in the framer's buffer.
    #[cfg(test)]
    pub(crate) fn framer_bytes(&self) -> usize {
        self.framer.buffered()
    }

    /// Bytes buffered, or skipped and not yet reported. `bytes = frame_bytes + dropped_bytes + held` always holds.
    #[must_use]
    pub fn held(&self) -> usize {
        self.framer.held()
    }
}

impl Meaning {
    fn fault(&mut self, fault: Fault, sink: &mut dyn FnMut(Item)) {
        self.counters.count(fault);
        sink(Item::Fault(fault));
    }

    /// Takes the framer's output. True if something in the frame could be read.
    fn chunk(&mut self, at: Instant, chunk: &Chunk<'_>, sink: &mut dyn FnMut(Item)) -> bool {
        match *chunk {
            Chunk::LineEnd => self.counters.frame_bytes = self.counters.frame_bytes.saturating_add(1),
            Chunk::Dropped(fault) => {
                self.fault(fault, sink);
                if fault.reason == Reason::Ambiguous {
                    self.disagree(sink);
                }
            }
            Chunk::Other(frame) => return self.can_read(at, frame),
            Chunk::Waits => self.whole_at = at,
            Chunk::Frame { frame, bytes, waited } => {
                let at = if waited { self.whole_at } else { at };
                return self.frame(at, frame, bytes, sink);
            }
        }
        false
    }

    /// Forgets the frames that are waiting for agreement.
    fn disagree(&mut self, sink: &mut dyn FnMut(Item)) {
        for _ in 0..self.agreement.clear() {
            self.fault(Fault { reason: Reason::Disagreed, bytes: 0 }, sink);
        }
    }

    /// Whether anything in a frame can be read. Nothing is returned or counted.
    fn can_read(&mut self, at: Instant, frame: &[u8]) -> bool {
        let mut any = false;
        if self.may_read(at) {
            let _ = self.profile.decode().frame(frame, &mut |decoded| any |= decoded.is_ok());
        }
        any
    }

    /// Whether the script may read another frame in this second.
    fn may_read(&mut self, at: Instant) -> bool {
        if self.recorded || !matches!(self.profile.decode(), Decode::Script(_)) {
            return true;
        }
        let second = at.micros().div_euclid(1_000_000);
        if self.scripted.0 != second {
            self.scripted = (second, 0);
        }
        self.scripted.1 = self.scripted.1.saturating_add(1);
        self.scripted.1 <= FRAMES_PER_SECOND
    }

    fn frame(&mut self, at: Instant, frame: &[u8], bytes: u32, sink: &mut dyn FnMut(Item)) -> bool {
        if !self.may_read(at) {
            self.fault(Fault { reason: Reason::Unread, bytes }, sink);
            return false;
        }
        if self.is_repeated(frame, sink) {
            self.whole(bytes, true);
            return true;
        }
        let mut is_read = false;
        let Self { profile, agreement, counters, next_seq, .. } = self;
        let fit = profile.decode().frame(frame, &mut |decoded| {
            let mut refuse = |reason: Reason| {
                let fault = Fault { reason, bytes: 0 };
                counters.count(fault);
                sink(Item::Fault(fault));
            };
            let decoded = match decoded {
                Ok(decoded) => decoded,
                Err(reason) => return refuse(reason),
            };
            is_read = true;
            agreement.push(at, decoded, &mut |outcome| match outcome {
                Decision::Disagreed => {
                    let fault = Fault { reason: Reason::Disagreed, bytes: 0 };
                    counters.count(fault);
                    sink(Item::Fault(fault));
                }
                Decision::Believed(at, decoded) => {
                    counters.readings = counters.readings.saturating_add(1);
                    let seq = *next_seq;
                    *next_seq = next_seq.saturating_add(1);
                    sink(Item::Reading(profile.reading(at, seq, decoded)));
                }
            });
        });
        self.keep_label(frame, &fit);
        match fit {
            Fit::Fits | Fit::Ignored => self.whole(bytes, fit == Fit::Ignored),
            Fit::Foreign => self.fault(Fault { reason: Reason::Pattern, bytes }, sink),
            Fit::Failed(error) => {
                self.script_error = Some(error);
                self.fault(Fault { reason: Reason::Script, bytes }, sink);
            }
        }
        is_read
    }

    /// Remembers the name of a channel, or forgets it: the packets of one channel may come from another device now.
    fn keep_label(&mut self, frame: &[u8], fit: &Fit) {
        let (Decode::Gatt(gatt), Fit::Fits) = (self.profile.decode(), fit) else { return };
        let Some((channel, label)) = gatt.label(frame) else { return };
        match label {
            None => drop(self.labels.remove(&channel)),
            Some(label) if self.labels.get(&channel).is_some_and(|known| **known == *label) => {}
            Some(label) => drop(self.labels.insert(channel, label.into())),
        }
    }

    /// Counts a whole frame.
    fn whole(&mut self, bytes: u32, ignored: bool) {
        let counters = &mut self.counters;
        counters.frames = counters.frames.saturating_add(1);
        counters.frame_bytes = counters.frame_bytes.saturating_add(u64::from(bytes));
        counters.ignored = counters.ignored.saturating_add(u64::from(ignored));
    }

    /// Whether the device has sent this frame number before. A jump in the numbers says how many frames were lost.
    fn is_repeated(&mut self, frame: &[u8], sink: &mut dyn FnMut(Item)) -> bool {
        let Some(Numbered { source, sequence, number }) = self.profile.decode().numbered(frame) else {
            return false;
        };
        let Some(last) = self.numbers.iter_mut().find(|(known, _)| *known == source) else {
            self.numbers.push((source, number));
            return false;
        };
        let between = sequence.between(last.1, number);
        last.1 = number;
        let missed = between.unwrap_or(0);
        if missed > 0 {
            self.counters.missed = self.counters.missed.saturating_add(missed);
            self.fault(Fault { reason: Reason::Missed, bytes: 0 }, sink);
        }
        between.is_none()
    }
}
