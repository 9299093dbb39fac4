//! Frames of a fixed length that start with sync bytes and may carry a checksum. Does not look at other fields or cut
//! frames from bytes; `synced` does.

use alloc::vec::Vec;
use core::ops::Range;

use crate::checksum::ChecksumKind;

/// The most bytes a fixed frame may have in any profile.
pub(crate) const FIXED_BYTES_MAX: usize = 256;

/// The kind of checksum, the bytes it covers, and its position.
#[derive(Clone, Debug)]
pub(crate) struct FrameChecksum {
    pub(crate) kind: ChecksumKind,
    pub(crate) covers: Range<usize>,
    pub(crate) at: usize,
}

/// The shape of a fixed framing.
#[derive(Clone, Debug)]
pub(crate) struct FixedFrame {
    pub(crate) sync: Vec<u8>,
    /// Whole length in bytes.
    pub(crate) length: usize,
    pub(crate) checksum: Option<FrameChecksum>,
    /// Bytes with a fixed value in every frame: position and value.
    pub(crate) must: Vec<(usize, u8)>,
}

impl FixedFrame {
    /// Whether a wrongly cut frame may pass.
    pub(crate) fn is_doubtful(&self) -> bool {
        self.checksum.as_ref().is_none_or(|checksum| checksum.kind.is_doubtful())
    }

    pub(crate) fn checksum_holds(&self, frame: &[u8]) -> bool {
        self.checksum.as_ref().is_none_or(|checksum| {
            let stored = frame.get(checksum.at..checksum.at + checksum.kind.width());
            match (frame.get(checksum.covers.clone()), stored) {
                (Some(covered), Some(stored)) => checksum.kind.holds(covered, stored),
                _ => false,
            }
        })
    }
}
