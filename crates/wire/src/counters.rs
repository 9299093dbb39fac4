//! What the decoder dropped and why: typed faults and running counts. Does not limit how often faults are reported.

use alloc::vec::Vec;
use core::fmt;

/// A field of a frame that could not be understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Field {
    /// The number: not digits, or outside what the kind of quantity can be.
    Value,
    /// The unit or prefix: not in the profile's table.
    Unit,
    /// The function or mode: not in the table, or at odds with the unit.
    Mode,
    /// A flag that the profile does not name.
    Flags,
    /// A channel that the profile does not name.
    Channel,
    /// The power of ten.
    Exponent,
    /// Several characteristics have this UUID, and the transport does not say which one sent the value.
    Instance,
}

/// Why bytes or a frame were dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// Bytes that are no part of a frame.
    Garbage,
    /// A piece of a frame: joined in its middle, cut by a gap, or broken off by silence.
    Partial,
    /// The checksum does not match.
    Checksum,
    /// A line that does not have the shape of the pattern.
    Pattern,
    /// A line longer than any the profile describes.
    Overlong,
    /// A whole frame whose content is not in the profile. Other channels of the frame are not affected.
    Undecodable(Field),
    /// A value that no other frame confirmed (frames without a checksum).
    Disagreed,
    /// The device was asked and refused.
    Refused,
    /// The profile's decode script failed on a whole frame; [`crate::Decoder::script_error`] says why.
    Script,
    /// A whole frame that the decode script did not read: more arrived in one second than it may read.
    Unread,
    /// Frames lost on the way, recognised by the device's frame numbers; [`DecoderCounters::missed`] says how many.
    Missed,
    /// Bytes that form valid, readable frames in two ways: neither is accepted.
    Ambiguous,
    /// The checksum matches, but a byte that the profile fixes for every frame has another value.
    FixedByte,
}

impl Reason {
    /// The number of reasons; all fields of [`Reason::Undecodable`] count as one.
    pub const COUNT: usize = 13;

    /// Every reason; one field represents all of [`Reason::Undecodable`].
    pub const ALL: [Self; Self::COUNT] = [
        Self::Garbage,
        Self::Partial,
        Self::Checksum,
        Self::Pattern,
        Self::Overlong,
        Self::Undecodable(Field::Value),
        Self::Disagreed,
        Self::Refused,
        Self::Script,
        Self::Unread,
        Self::Missed,
        Self::Ambiguous,
        Self::FixedByte,
    ];

    /// Index in [`Reason::ALL`].
    const fn index(self) -> usize {
        match self {
            Self::Garbage => 0,
            Self::Partial => 1,
            Self::Checksum => 2,
            Self::Pattern => 3,
            Self::Overlong => 4,
            Self::Undecodable(_) => 5,
            Self::Disagreed => 6,
            Self::Refused => 7,
            Self::Script => 8,
            Self::Unread => 9,
            Self::Missed => 10,
            Self::Ambiguous => 11,
            Self::FixedByte => 12,
        }
    }

    /// A short name for lists of counts; all fields of [`Reason::Undecodable`] share one.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Garbage => "garbage",
            Self::Partial => "partial",
            Self::Checksum => "checksum",
            Self::Pattern => "pattern",
            Self::Overlong => "overlong",
            Self::Undecodable(_) => "undecodable",
            Self::Disagreed => "disagreed",
            Self::Refused => "refused",
            Self::Script => "script failed",
            Self::Unread => "unread",
            Self::Missed => "missed",
            Self::Ambiguous => "two ways to cut",
            Self::FixedByte => "demanded byte differs",
        }
    }

    /// The reason as text.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Garbage => "bytes that are no frame",
            Self::Partial => "part of a frame",
            Self::Checksum => "checksum does not hold",
            Self::Pattern => "line does not fit the pattern",
            Self::Overlong => "line too long",
            Self::Undecodable(Field::Value) => "value not understood",
            Self::Undecodable(Field::Unit) => "unit not in the profile",
            Self::Undecodable(Field::Mode) => "function not in the profile, or at odds with the unit",
            Self::Undecodable(Field::Flags) => "flag not in the profile",
            Self::Undecodable(Field::Channel) => "channel not in the profile",
            Self::Undecodable(Field::Exponent) => "power of ten out of range",
            Self::Undecodable(Field::Instance) => {
                "this system's Bluetooth cannot tell which of several characteristics of one UUID sent it; Linux can"
            }
            Self::Disagreed => "no other frame agreed",
            Self::Refused => "the device refused the request",
            Self::Script => "the decode script failed",
            Self::Unread => "more frames than a decode script reads",
            Self::Missed => "frames are missing, by their numbers",
            Self::Ambiguous => "two ways to cut the bytes into frames, and both can be read",
            Self::FixedByte => "a byte is not the one that the profile demands",
        }
    }
}

/// Something was dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Why.
    pub reason: Reason,
    /// Bytes dropped; 0 if a whole frame arrived and only its content was rejected.
    pub bytes: u32,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.reason.words())?;
        if self.bytes == 0 { Ok(()) } else { write!(f, " ({} bytes)", self.bytes) }
    }
}

/// Running counts of a decoder. All of them saturate.
///
/// `bytes` = bytes of whole frames and their line ends + `dropped_bytes` + what the decoder still holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DecoderCounters {
    /// Bytes received.
    pub bytes: u64,
    /// Bytes of whole frames, including line ends.
    pub frame_bytes: u64,
    /// Bytes dropped, for any reason.
    pub dropped_bytes: u64,
    /// Frames that passed the framing (pattern, or sync and checksum).
    pub frames: u64,
    /// Of these, frames of channels that the profile does not name (other characteristics of a device) and frames
    /// that arrived a second time under the same number.
    pub ignored: u64,
    /// Frames that never arrived, counted from gaps in the frame numbers.
    pub missed: u64,
    /// Readings returned.
    pub readings: u64,
    /// Gaps: reported by the link, or silence longer than the profile's `silence_ms`.
    pub gaps: u64,
    drops: [u64; Reason::COUNT],
}

impl DecoderCounters {
    /// How many faults with this reason were reported; every [`Reason::Undecodable`] counts as one reason.
    #[must_use]
    pub fn drops(&self, reason: Reason) -> u64 {
        self.drops.get(reason.index()).copied().unwrap_or(0)
    }

    /// The reasons that occurred, by name, with the number of faults each; the most frequent first.
    #[must_use]
    pub fn by_count(&self) -> Vec<(&'static str, u64)> {
        let mut counts: Vec<_> =
            Reason::ALL.iter().map(|reason| (reason.name(), self.drops(*reason))).collect();
        counts.retain(|(_, count)| *count > 0);
        counts.sort_by_key(|(_, count)| core::cmp::Reverse(*count));
        counts
    }

    /// All faults.
    #[must_use]
    pub fn faults(&self) -> u64 {
        self.drops.iter().fold(0, |sum, n| sum.saturating_add(*n))
    }

    pub(crate) fn count(&mut self, fault: Fault) {
        self.dropped_bytes = self.dropped_bytes.saturating_add(u64::from(fault.bytes));
        if let Some(n) = self.drops.get_mut(fault.reason.index()) {
            *n = n.saturating_add(1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_reason_is_in_the_list_once_and_has_a_name_of_its_own() {
        let mut names: Vec<&str> = Reason::ALL.iter().map(|reason| reason.name()).collect();
        for (place, reason) in Reason::ALL.iter().enumerate() {
            assert_eq!(reason.index(), place, "{}", reason.name());
        }
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), Reason::COUNT);
    }

    #[test]
    fn counts_come_largest_first_and_without_what_did_not_occur() {
        let mut counters = DecoderCounters::default();
        assert_eq!(counters.by_count(), []);
        for (reason, times) in
            [(Reason::Refused, 2), (Reason::Undecodable(Field::Unit), 3), (Reason::Partial, 2)]
        {
            (0..times).for_each(|_| counters.count(Fault { reason, bytes: 0 }));
        }
        counters.count(Fault { reason: Reason::Undecodable(Field::Mode), bytes: 0 });
        assert_eq!(counters.by_count(), [("undecodable", 4), ("partial", 2), ("refused", 2)]);
    }
}
