//! Splits bytes into frames for callers that only look at frames. Hides the framer's internal signals. Does not
//! decode.

use crate::counters::Fault;
use crate::frame::indexed::{IndexedFrame, IndexedFramer};
use crate::frame::{Chunk, Framer, Framing};
use crate::profile::Profile;

/// The output of a [`FrameSplitter`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameEvent<'f> {
    /// A frame without the bytes that only frame it, and its size on the wire.
    Frame {
        /// Its content.
        frame: &'f [u8],
        /// Its bytes on the wire.
        bytes: u32,
    },
    /// Something was dropped.
    Dropped(Fault),
}

/// Cuts bytes into frames as the decoder does, but resolves no ambiguity between frames, since it does not know their
/// meaning.
#[derive(Clone, Debug)]
pub struct FrameSplitter(Framer);

impl FrameSplitter {
    /// With the framing of a profile.
    #[must_use]
    pub fn of(profile: &Profile) -> Self {
        Self(profile.frame().framer())
    }

    /// For frames of this length whose bytes carry their index.
    #[must_use]
    pub fn indexed(length: usize) -> Self {
        Self(Framer::Indexed(IndexedFramer::new(IndexedFrame { length })))
    }

    /// Takes bytes as received.
    pub fn push(&mut self, data: &[u8], out: &mut dyn FnMut(FrameEvent<'_>)) {
        self.0.push(data, &mut |chunk| take(chunk, out));
    }

    /// Bytes are missing here.
    pub fn gap(&mut self, out: &mut dyn FnMut(FrameEvent<'_>)) {
        self.0.cut(&mut |chunk| take(chunk, out));
    }
}

fn take(chunk: Chunk<'_>, out: &mut dyn FnMut(FrameEvent<'_>)) -> bool {
    match chunk {
        Chunk::Frame { frame, bytes, .. } => out(FrameEvent::Frame { frame, bytes }),
        Chunk::Dropped(fault) => out(FrameEvent::Dropped(fault)),
        Chunk::LineEnd | Chunk::Other(_) | Chunk::Waits => return false,
    }
    true
}

/// The length of a profile's frames, if it is fixed.
#[must_use]
pub fn fixed_length(profile: &Profile) -> Option<usize> {
    match profile.frame() {
        Framing::Fixed(frame) => Some(frame.length),
        Framing::Line(_) | Framing::Counted(_) | Framing::Indexed(_) => None,
    }
}
