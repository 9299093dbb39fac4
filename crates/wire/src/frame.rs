//! Bytes -> frames. One variant per framing; each buffers one frame at most and resynchronises after any garbage.
//! Does not know what a frame means.

pub(crate) mod counted;
pub(crate) mod fixed;
pub(crate) mod indexed;
pub(crate) mod line;
pub(crate) mod synced;

use crate::counters::{Fault, Reason};
use synced::Shape;

/// How frames are cut from bytes.
#[derive(Clone, Debug)]
pub(crate) enum Framing {
    /// Lines of text.
    Line(line::LineFrame),
    /// Frames of a fixed length.
    Fixed(fixed::FixedFrame),
    /// Frames with a length field.
    Counted(counted::CountedFrame),
    /// Frames whose bytes carry their index.
    Indexed(indexed::IndexedFrame),
}

impl Framing {
    /// The longest frame.
    pub(crate) fn max_bytes(&self) -> usize {
        match self {
            Self::Line(frame) => frame.max_bytes,
            Self::Fixed(frame) => frame.length,
            Self::Counted(frame) => frame.max,
            Self::Indexed(frame) => frame.length,
        }
    }

    /// The most bytes that a framer ever holds.
    pub(crate) fn held_max(&self) -> usize {
        let is_doubtful = match self {
            Self::Line(_) | Self::Indexed(_) => false,
            Self::Fixed(frame) => frame.is_doubtful(),
            Self::Counted(frame) => frame.is_doubtful(),
        };
        if is_doubtful { 2 * self.max_bytes() } else { self.max_bytes() }
    }

    pub(crate) fn has_checksum(&self) -> bool {
        match self {
            Self::Line(frame) => frame.checksum.is_some(),
            Self::Fixed(frame) => frame.checksum.is_some(),
            Self::Counted(frame) => frame.checksum.is_some(),
            Self::Indexed(_) => false,
        }
    }

    pub(crate) fn framer(&self) -> Framer {
        match self {
            Self::Line(frame) => Framer::Line(line::LineFramer::new(*frame)),
            Self::Fixed(frame) => Framer::Synced(synced::SyncedFramer::new(Shape::Fixed(frame.clone()))),
            Self::Counted(frame) => Framer::Synced(synced::SyncedFramer::new(Shape::Counted(frame.clone()))),
            Self::Indexed(frame) => Framer::Indexed(indexed::IndexedFramer::new(*frame)),
        }
    }
}

/// What a framer returns.
pub(crate) enum Chunk<'f> {
    /// A frame (without line end, line checksum, the checksum after a counted frame, or the indices of indexed bytes)
    /// and the number of bytes it took on the wire. `waited` if [`Chunk::Waits`] announced when it was complete.
    Frame { frame: &'f [u8], bytes: u32, waited: bool },
    /// The current frame is complete and waits for the bytes after it, which decide whether it really is a frame.
    Waits,
    /// Another way to cut the bytes: a complete frame with a matching checksum, inside or next to the current one.
    /// Asks whether it can be read; nothing in it is returned.
    Other(&'f [u8]),
    /// A line end.
    LineEnd,
    /// Something dropped.
    Dropped(Fault),
}

/// Receives the framer's output. Returns true if something in the frame could be read.
pub(crate) type Out<'o> = dyn FnMut(Chunk<'_>) -> bool + 'o;

/// A running framer.
#[derive(Clone, Debug)]
pub(crate) enum Framer {
    Line(line::LineFramer),
    Synced(synced::SyncedFramer),
    Indexed(indexed::IndexedFramer),
}

impl Framer {
    pub(crate) fn push(&mut self, data: &[u8], out: &mut Out<'_>) {
        match self {
            Self::Line(framer) => framer.push(data, out),
            Self::Synced(framer) => framer.push(data, out),
            Self::Indexed(framer) => framer.push(data, out),
        }
    }

    /// Drops what is buffered and starts over, as if joining the stream in mid-frame.
    pub(crate) fn cut(&mut self, out: &mut Out<'_>) {
        match self {
            Self::Line(framer) => framer.cut(out),
            Self::Synced(framer) => framer.cut(out),
            Self::Indexed(framer) => framer.cut(out),
        }
    }

    /// No more bytes will arrive: returns a frame that was only waiting for them.
    pub(crate) fn settle(&mut self, out: &mut Out<'_>) {
        match self {
            Self::Synced(framer) => framer.settle(out),
            Self::Line(_) | Self::Indexed(_) => {}
        }
    }

    /// Bytes in the buffer.
    #[cfg(test)]
    pub(crate) fn buffered(&self) -> usize {
        match self {
            Self::Line(framer) => framer.buffered(),
            Self::Synced(framer) => framer.buffered(),
            Self::Indexed(framer) => framer.buffered(),
        }
    }

    /// Bytes held or skipped and not yet reported.
    pub(crate) fn held(&self) -> usize {
        match self {
            Self::Line(framer) => framer.held(),
            Self::Synced(framer) => framer.held(),
            Self::Indexed(framer) => framer.held(),
        }
    }
}

/// A run of dropped bytes is reported at least this often, so that an endless one is noticed.
pub(crate) const RUN_BYTES_MAX: u32 = 4096;

/// Reports `bytes` dropped bytes, if any.
pub(crate) fn drop_bytes(out: &mut Out<'_>, reason: Reason, bytes: u32) {
    if bytes > 0 {
        out(Chunk::Dropped(Fault { reason, bytes }));
    }
}

/// A length as the counters store it; the frame or the run bounds every length here.
pub(crate) fn count(len: usize) -> u32 {
    u32::try_from(len).unwrap_or(u32::MAX)
}
