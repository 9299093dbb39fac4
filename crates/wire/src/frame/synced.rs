//! Cuts bytes into frames that begin with sync bytes, of one length or of a length they say. Does not look at other
//! fields than the length and the checksum.

use alloc::vec::Vec;

use super::counted::CountedFrame;
use super::fixed::FixedFrame;
use super::{Chunk, RUN_BYTES_MAX, count, drop_bytes};
use crate::counters::{Fault, Reason};

/// The shape of the frames.
#[derive(Clone, Debug)]
pub(crate) enum Shape {
    Fixed(FixedFrame),
    Counted(CountedFrame),
}

/// How far what is held reaches.
enum Extent {
    /// A frame of so many bytes begins here.
    Whole(usize),
    /// So many bytes tell more.
    Unknown(usize),
    /// No frame begins here.
    None,
}

impl Shape {
    fn sync(&self) -> &[u8] {
        match self {
            Self::Fixed(frame) => &frame.sync,
            Self::Counted(frame) => &frame.sync,
        }
    }

    fn max(&self) -> usize {
        match self {
            Self::Fixed(frame) => frame.length,
            Self::Counted(frame) => frame.max,
        }
    }

    fn extent(&self, held: &[u8]) -> Extent {
        match self {
            Self::Fixed(frame) => Extent::Whole(frame.length),
            Self::Counted(frame) if held.len() < frame.header() => Extent::Unknown(frame.header()),
            Self::Counted(frame) => frame.whole(held).map_or(Extent::None, Extent::Whole),
        }
    }

    fn is_sound(&self, frame: &[u8]) -> bool {
        match self {
            Self::Fixed(shape) => shape.is_sound(frame),
            Self::Counted(shape) => shape.is_sound(frame),
        }
    }

    /// What the decoder sees of a frame: without a checksum whose place moves with the length.
    fn content<'f>(&self, frame: &'f [u8]) -> &'f [u8] {
        match self {
            Self::Fixed(_) => frame,
            Self::Counted(shape) => {
                frame.get(..frame.len().saturating_sub(shape.check_width())).unwrap_or_default()
            }
        }
    }
}

/// Cuts bytes into frames. What is held always begins like a frame.
#[derive(Clone, Debug)]
pub(crate) struct SyncedFramer {
    shape: Shape,
    held: Vec<u8>,
    /// Bytes dropped and not yet reported.
    skipped: u32,
    /// A whole frame has been seen since the start or the last gap.
    synced: bool,
}

impl SyncedFramer {
    pub(crate) fn new(shape: Shape) -> Self {
        let held = Vec::with_capacity(shape.max());
        Self { shape, held, skipped: 0, synced: false }
    }

    #[cfg(test)]
    pub(crate) fn buffered(&self) -> usize {
        self.held.len()
    }

    pub(crate) fn held(&self) -> usize {
        self.held.len() + self.skipped as usize
    }

    pub(crate) fn cut(&mut self, out: &mut dyn FnMut(Chunk<'_>)) {
        drop_bytes(out, Reason::Partial, self.skipped + count(self.held.len()));
        self.held.clear();
        self.skipped = 0;
        self.synced = false;
    }

    /// Takes no more bytes at a time than the frame in hand may have, so how the bytes were split changes nothing.
    pub(crate) fn push(&mut self, data: &[u8], out: &mut dyn FnMut(Chunk<'_>)) {
        let mut rest = data;
        loop {
            let wanted = match self.shape.extent(&self.held) {
                Extent::None => {
                    self.skip(1, out);
                    continue;
                }
                Extent::Whole(length) if length <= self.held.len() => {
                    self.whole(length, out);
                    continue;
                }
                Extent::Whole(length) | Extent::Unknown(length) => length - self.held.len(),
            };
            if rest.is_empty() {
                return;
            }
            let (now, after) = rest.split_at(wanted.min(rest.len()));
            rest = after;
            self.held.extend_from_slice(now);
            self.skip(0, out);
        }
    }

    fn whole(&mut self, length: usize, out: &mut dyn FnMut(Chunk<'_>)) {
        self.report_skipped(out);
        let frame = self.held.get(..length).unwrap_or_default();
        if self.shape.is_sound(frame) {
            self.synced = true;
            out(Chunk::Frame { frame: self.shape.content(frame), bytes: count(length) });
            self.held.drain(..length);
            self.skip(0, out);
        } else {
            // A sync pattern may stand inside rubbish, or a damaged length reach into the next frame: that one may begin
            // anywhere behind the first byte.
            let bytes = self.align(1);
            out(Chunk::Dropped(Fault { reason: Reason::Checksum, bytes }));
        }
    }

    /// Drops bytes, `from` at least, until what is held begins like a frame.
    fn skip(&mut self, from: usize, out: &mut dyn FnMut(Chunk<'_>)) {
        self.skipped = self.skipped.saturating_add(self.align(from));
        while self.skipped >= RUN_BYTES_MAX {
            drop_bytes(out, Reason::Garbage, RUN_BYTES_MAX);
            self.skipped -= RUN_BYTES_MAX;
        }
    }

    /// As `skip`, but reports nothing; how many went.
    fn align(&mut self, from: usize) -> u32 {
        let sync = self.shape.sync();
        let begins = |at: &usize| {
            let tail = self.held.get(*at..).unwrap_or_default();
            tail.starts_with(sync) || sync.starts_with(tail)
        };
        let at = (from..self.held.len()).find(begins).unwrap_or(self.held.len());
        self.held.drain(..at);
        count(at)
    }

    fn report_skipped(&mut self, out: &mut dyn FnMut(Chunk<'_>)) {
        let joined = !self.synced && (self.skipped as usize) < self.shape.max();
        drop_bytes(out, if joined { Reason::Partial } else { Reason::Garbage }, self.skipped);
        self.skipped = 0;
    }
}
