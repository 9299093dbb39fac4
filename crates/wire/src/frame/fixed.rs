//! Frames of one length that begin with sync bytes and may carry a checksum. Does not look at the other fields.

use alloc::vec::Vec;
use core::ops::Range;

use super::{Chunk, RUN_BYTES_MAX, count, drop_bytes};
use crate::check::CheckKind;
use crate::counters::{Fault, Reason};

/// The most bytes a fixed frame may have in any profile.
pub(crate) const FIXED_BYTES_MAX: usize = 256;

/// A checksum's kind, the bytes it covers, and where it stands.
#[derive(Clone, Debug)]
pub(crate) struct FrameCheck {
    pub(crate) kind: CheckKind,
    pub(crate) covers: Range<usize>,
    pub(crate) at: usize,
}

/// The shape of a fixed framing.
#[derive(Clone, Debug)]
pub(crate) struct FixedFrame {
    pub(crate) sync: Vec<u8>,
    /// Whole length in bytes.
    pub(crate) length: usize,
    pub(crate) check: Option<FrameCheck>,
}

impl FixedFrame {
    fn is_sound(&self, frame: &[u8]) -> bool {
        self.check.as_ref().is_none_or(|check| {
            let stored = frame.get(check.at..check.at + check.kind.width());
            match (frame.get(check.covers.clone()), stored) {
                (Some(covered), Some(stored)) => check.kind.holds(covered, stored),
                _ => false,
            }
        })
    }
}

/// Cuts bytes into frames. What is held always begins like a frame.
#[derive(Clone, Debug)]
pub(crate) struct FixedFramer {
    frame: FixedFrame,
    held: Vec<u8>,
    /// Bytes dropped and not yet reported.
    skipped: u32,
    /// A whole frame has been seen since the start or the last gap.
    synced: bool,
}

impl FixedFramer {
    pub(crate) fn new(frame: FixedFrame) -> Self {
        let held = Vec::with_capacity(frame.length);
        Self { frame, held, skipped: 0, synced: false }
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

    pub(crate) fn push(&mut self, data: &[u8], out: &mut dyn FnMut(Chunk<'_>)) {
        let mut rest = data;
        while !rest.is_empty() {
            let wanted = self.frame.length.saturating_sub(self.held.len());
            let (now, after) = rest.split_at(wanted.min(rest.len()));
            rest = after;
            self.held.extend_from_slice(now);
            self.skipped = self.skipped.saturating_add(self.align(0));
            if self.skipped >= RUN_BYTES_MAX {
                self.report_skipped(out);
            }
            if self.held.len() == self.frame.length {
                self.whole(out);
            }
        }
    }

    fn whole(&mut self, out: &mut dyn FnMut(Chunk<'_>)) {
        self.report_skipped(out);
        if self.frame.is_sound(&self.held) {
            self.synced = true;
            out(Chunk::Frame { frame: &self.held, bytes: count(self.held.len()) });
            self.held.clear();
        } else {
            // A sync pattern may stand inside rubbish: the next good frame may begin anywhere behind its first byte.
            let bytes = self.align(1);
            out(Chunk::Dropped(Fault { reason: Reason::Checksum, bytes }));
        }
    }

    /// Drops bytes, `from` at least, until what is held begins like a frame; how many went.
    fn align(&mut self, from: usize) -> u32 {
        let sync = self.frame.sync.as_slice();
        let begins = |at: &usize| {
            let tail = self.held.get(*at..).unwrap_or_default();
            tail.starts_with(sync) || sync.starts_with(tail)
        };
        let at = (from..self.held.len()).find(begins).unwrap_or(self.held.len());
        self.held.drain(..at);
        count(at)
    }

    fn report_skipped(&mut self, out: &mut dyn FnMut(Chunk<'_>)) {
        let joined = !self.synced && (self.skipped as usize) < self.frame.length;
        drop_bytes(out, if joined { Reason::Partial } else { Reason::Garbage }, self.skipped);
        self.skipped = 0;
    }
}
