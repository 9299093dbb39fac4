//! Frames that start with sync bytes and contain their length; the checksum, if any, comes last. Does not look at
//! other fields or cut frames from bytes; `synced` does.
//!
//! A damaged length that is too large swallows what follows, at most one frame of maximum length; then the checksum
//! fails and the swallowed frames are found inside the buffer. They carry the time at which they were found.

use alloc::vec::Vec;

use crate::checksum::ChecksumKind;
use crate::number::Number;

/// The most bytes a counted frame may have in any profile.
pub(crate) const COUNTED_BYTES_MAX: usize = 1024;

/// What the length counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Counts {
    /// The bytes between the length and the checksum.
    Payload,
    /// The bytes after the length, including the checksum.
    Rest,
    /// All bytes, including the sync bytes.
    Whole,
}

impl Counts {
    /// Names as a profile writes them.
    pub(crate) const WORDS: [(&'static str, Self); 3] =
        [("payload", Self::Payload), ("rest", Self::Rest), ("whole", Self::Whole)];
}

/// The shape of a counted framing.
#[derive(Clone, Debug)]
pub(crate) struct CountedFrame {
    pub(crate) sync: Vec<u8>,
    /// Position of the length field.
    pub(crate) length: Number,
    pub(crate) counts: Counts,
    /// Fewest and most bytes of a whole frame.
    pub(crate) min: usize,
    pub(crate) max: usize,
    /// The kind of checksum and the first byte it covers. It covers everything from there and comes last.
    pub(crate) checksum: Option<(ChecksumKind, usize)>,
    /// Bytes with a fixed value in every frame: position and value.
    pub(crate) must: Vec<(usize, u8)>,
}

impl CountedFrame {
    /// Bytes up to and including the length.
    pub(crate) fn header(&self) -> usize {
        self.length.at + self.length.kind.width()
    }

    /// Bytes of the checksum.
    pub(crate) fn checksum_width(&self) -> usize {
        self.checksum.map_or(0, |(kind, _)| kind.width())
    }

    /// Bytes of the whole frame that the length does not count.
    pub(crate) fn uncounted(&self) -> usize {
        match self.counts {
            Counts::Payload => self.header() + self.checksum_width(),
            Counts::Rest => self.header(),
            Counts::Whole => 0,
        }
    }

    /// The whole length of a frame that starts with `head`; `None` if no frame has that length.
    pub(crate) fn whole(&self, head: &[u8]) -> Option<usize> {
        let said = usize::try_from(self.length.integer(head)?).ok()?;
        said.checked_add(self.uncounted()).filter(|whole| (self.min..=self.max).contains(whole))
    }

    /// Whether a wrongly cut frame may pass.
    pub(crate) fn is_doubtful(&self) -> bool {
        self.checksum.is_none_or(|(kind, _)| kind.is_doubtful())
    }

    pub(crate) fn checksum_holds(&self, frame: &[u8]) -> bool {
        self.checksum.is_none_or(|(kind, from)| {
            let split = frame.len().checked_sub(kind.width()).and_then(|at| frame.split_at_checked(at));
            split.is_some_and(|(body, stored)| {
                body.get(from..).is_some_and(|covered| kind.holds(covered, stored))
            })
        })
    }
}
