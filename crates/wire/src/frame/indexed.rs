//! Frames in which every byte carries its index: the high half counts from 1, the low half is data. Does not know
//! what the data mean.
//!
//! There are no sync bytes and no checksum, but a lost, doubled or foreign byte breaks the count and costs only its
//! own frame.

use alloc::vec::Vec;

use super::{Chunk, Out, RUN_BYTES_MAX, count, drop_bytes};
use crate::counters::Reason;

/// The most bytes such a frame can have: as many as half a byte counts.
pub(crate) const INDEXED_BYTES_MAX: usize = 15;

/// The data half of a byte.
pub(crate) const DATA: u8 = 0x0F;

/// The shape of an indexed framing.
#[derive(Clone, Copy, Debug)]
pub(crate) struct IndexedFrame {
    /// Bytes of every frame.
    pub(crate) length: usize,
}

impl IndexedFrame {
    /// A byte as the device sends it; `place` counts from 0.
    pub(crate) fn byte(place: usize, data: u8) -> u8 {
        u8::try_from(place + 1).unwrap_or(0) << 4 | data & DATA
    }
}

/// Cuts bytes into frames and returns only the data halves.
#[derive(Clone, Debug)]
pub(crate) struct IndexedFramer {
    frame: IndexedFrame,
    /// Data of the bytes 1 to `held.len()` of the current frame.
    held: Vec<u8>,
    /// Bytes dropped and not yet reported.
    skipped: u32,
}

impl IndexedFramer {
    pub(crate) fn new(frame: IndexedFrame) -> Self {
        Self { frame, held: Vec::with_capacity(frame.length), skipped: 0 }
    }

    #[cfg(test)]
    pub(crate) fn buffered(&self) -> usize {
        self.held.len()
    }

    pub(crate) fn held(&self) -> usize {
        self.held.len() + self.skipped as usize
    }

    pub(crate) fn cut(&mut self, out: &mut Out<'_>) {
        drop_bytes(out, Reason::Partial, self.skipped + count(self.held.len()));
        self.held.clear();
        self.skipped = 0;
    }

    pub(crate) fn push(&mut self, data: &[u8], out: &mut Out<'_>) {
        for byte in data {
            self.byte(*byte, out);
        }
    }

    fn byte(&mut self, byte: u8, out: &mut Out<'_>) {
        let place = usize::from(byte >> 4);
        if place != self.held.len() + 1 {
            self.skipped = self.skipped.saturating_add(count(self.held.len()));
            self.held.clear();
            if place != 1 {
                self.skipped = self.skipped.saturating_add(1);
                if self.skipped >= RUN_BYTES_MAX {
                    self.report_skipped(out);
                }
                return;
            }
        }
        self.held.push(byte & DATA);
        if self.held.len() == self.frame.length {
            self.report_skipped(out);
            out(Chunk::Frame { frame: &self.held, bytes: count(self.held.len()), waited: false });
            self.held.clear();
        }
    }

    /// Anything shorter than a frame is a partial frame: joined in the middle, or with a byte lost or damaged.
    fn report_skipped(&mut self, out: &mut Out<'_>) {
        let part = (self.skipped as usize) <= self.frame.length;
        drop_bytes(out, if part { Reason::Partial } else { Reason::Garbage }, self.skipped);
        self.skipped = 0;
    }
}
