//! Loads the counted binary framing of a profile: sync bytes, a length, an optional checksum at the end. Does not load
//! fields.

use alloc::vec::Vec;

use super::LoadResult;
use super::fixed::{Places, load_must, load_sync};
use super::table::Table;
use crate::checksum::ChecksumKind;
use crate::frame::counted::{COUNTED_BYTES_MAX, CountedFrame, Counts};
use crate::number::{Number, NumberType};

/// Types that a length may have.
const LENGTH_TYPES: [&str; 3] = ["u8", "u16le", "u16be"];

/// The `[frame]` table of kind `counted`.
pub(super) fn load_frame(table: &Table<'_>) -> LoadResult<CountedFrame> {
    table.only(&["kind", "sync", "length", "min_bytes", "max_bytes", "check", "must"])?;
    let max_node = table.need("max_bytes", "max_bytes = 32 (the longest whole frame)")?;
    let max = max_node.size(3, COUNTED_BYTES_MAX)?;
    let sync = load_sync(table, max - 2)?;
    let (length, counts) = load_length(table, sync.len())?;
    let header = length.at + length.kind.width();
    let checksum = table.table("check")?.map(|t| load_checksum(&t, header)).transpose()?;
    let mut frame = CountedFrame { sync, length, counts, min: 0, max, checksum, must: Vec::new() };
    let least = header + 1 + frame.checksum_width();
    if max < least {
        return Err(max_node.error(format_args!(
            "a frame needs {least} bytes at least: sync and length, one byte, and the checksum"
        )));
    }
    frame.min = table.find("min_bytes").map_or(Ok(least), |node| node.size(least, max))?;
    let most = match length.kind.width() {
        1 => usize::from(u8::MAX),
        _ => usize::from(u16::MAX),
    };
    if frame.min > most.saturating_add(frame.uncounted()) {
        return Err(max_node.error("the length can never say so much; give it the type u16le or u16be"));
    }
    // The shortest frame has the demanded bytes too.
    let shortest =
        Places { room: frame.min - frame.checksum_width(), what: "shortest frame's", ..places(&frame) };
    frame.must = load_must(table, &shortest)?;
    Ok(frame)
}

fn load_length(table: &Table<'_>, sync: usize) -> LoadResult<(Number, Counts)> {
    let hint = "length = { at = 2, type = \"u8\", counts = \"payload\" }";
    let table = table.need("length", hint)?.table("length")?;
    table.only(&["at", "type", "counts"])?;
    let node = table.need("type", "type = \"u8\"")?;
    let words = NumberType::WORDS.map(|(word, kind)| (word, (word, kind)));
    let (word, kind) = node.word(&words)?;
    if !LENGTH_TYPES.contains(&word) {
        return Err(node.error("a length is \"u8\", \"u16le\" or \"u16be\""));
    }
    let at = table.need("at", "at = 2 (the first byte is 0)")?;
    let number = Number { at: at.size(0, COUNTED_BYTES_MAX)?, kind };
    if number.at < sync {
        return Err(at.error("stands in the sync bytes"));
    }
    let counts = table.need("counts", "counts = \"payload\" (or \"rest\", \"whole\")")?;
    Ok((number, counts.word(&Counts::WORDS)?))
}

/// The checksum at the end of the frame. It may exclude the length: a damaged length then moves the checksum's
/// position.
fn load_checksum(table: &Table<'_>, header: usize) -> LoadResult<(ChecksumKind, usize)> {
    table.only(&["kind", "from"])?;
    let kind = table.need("kind", "kind = \"crc16modbus\"")?.word(&ChecksumKind::WORDS)?;
    let from = table.need("from", "from = 2 (first byte covered; it covers all up to itself)")?;
    Ok((kind, from.size(0, header)?))
}

/// Fields lie between the sync bytes and the checksum, outside the length.
pub(super) fn places(frame: &CountedFrame) -> Places {
    Places {
        length: None,
        what: "longest frame's",
        room: frame.max - frame.checksum_width(),
        sync: frame.sync.len(),
        taken: Some((frame.length.at..frame.header(), "the length")),
        must: frame.must.iter().map(|(at, _)| *at).collect(),
        data: 0xFF,
    }
}
