//! Loads the indexed framing of a profile: bytes that say their place. Does not load what the data light up.

use alloc::vec::Vec;

use super::fixed::Places;
use super::table::Table;
use crate::error::ProfileError;
use crate::frame::indexed::{DATA, INDEXED_BYTES_MAX, IndexedFrame};

/// The `[frame]` table of kind `indexed`.
pub(super) fn load_frame(table: &Table<'_>) -> Result<IndexedFrame, ProfileError> {
    table.only(&["kind", "length"])?;
    let length = table.need("length", "length = 14 (the bytes count from 1 to this)")?;
    Ok(IndexedFrame { length: length.size(2, INDEXED_BYTES_MAX)? })
}

/// Bits are in the low half of every byte.
pub(super) fn places(frame: &IndexedFrame) -> Places {
    Places {
        length: Some(frame.length),
        room: frame.length,
        what: "frame's",
        sync: 0,
        taken: None,
        must: Vec::new(),
        data: DATA,
    }
}
