//! The envelope for data that does not arrive as a stream: a Bluetooth notification, the reply to a request. Whoever
//! talks to such a device wraps each whole message; from then on it is ordinary bytes, to be recorded, replayed,
//! framed and validated. Holds the layout and its writer; `frame::synced` finds packets in a stream. Does not know
//! what a message means.
//!
//! | bytes | field |
//! |---|---|
//! | 0-1 | sync `C7 5E` |
//! | 2 | kind of message, see [`PacketKind`] |
//! | 3 | index: which request, or which characteristic of a link |
//! | 4-5 | bytes of the message, low byte first, 0 to 512 |
//! | 6.. | the message |
//! | last two | CRC-16 of all bytes from 2 on (`crc16modbus`) |
//!
//! Packets are independent: losing one affects no other. The layout is this project's own and part of the recording
//! format. It may gain new kinds; it does not change otherwise.

use alloc::vec::Vec;

use crate::checksum::ChecksumKind;
use crate::frame::counted::{CountedFrame, Counts};
use crate::number::{Number, NumberType};

const SYNC: [u8; 2] = [0xC7, 0x5E];
const HEADER_BYTES: usize = 6;
const CHECKSUM_BYTES: usize = 2;

/// The most bytes in a message: as many as in the longest GATT attribute (Bluetooth Core, Vol 3, Part F, 3.2.9).
pub const MESSAGE_BYTES_MAX: usize = 512;

/// The kind of message in a packet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum PacketKind {
    /// The value of a GATT characteristic, with its descriptors.
    Gatt,
    /// The reply to a request.
    Reply,
}

impl PacketKind {
    const fn code(self) -> u8 {
        match self {
            Self::Gatt => 1,
            Self::Reply => 2,
        }
    }
}

/// A packet as the decoder sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Packet<'f> {
    pub(crate) index: u8,
    pub(crate) message: &'f [u8],
}

/// Wraps a message. `None` if it is longer than [`MESSAGE_BYTES_MAX`]; the caller drops and counts it.
#[must_use]
pub fn wrap(kind: PacketKind, index: u8, message: &[u8]) -> Option<Vec<u8>> {
    let length = u16::try_from(message.len()).ok().filter(|_| message.len() <= MESSAGE_BYTES_MAX)?;
    let mut packet = Vec::with_capacity(HEADER_BYTES + message.len() + CHECKSUM_BYTES);
    packet.extend_from_slice(&SYNC);
    packet.extend_from_slice(&[kind.code(), index]);
    packet.extend_from_slice(&length.to_le_bytes());
    packet.extend_from_slice(message);
    let checksum = ChecksumKind::Crc16Modbus.compute(packet.get(SYNC.len()..).unwrap_or_default());
    packet.extend_from_slice(&checksum);
    Some(packet)
}

/// How packets are cut from bytes.
pub(crate) fn framing() -> CountedFrame {
    let kind = NumberType::Integer { bytes: 2, signed: false, big_endian: false };
    CountedFrame {
        sync: SYNC.to_vec(),
        length: Number { at: 4, kind },
        counts: Counts::Payload,
        min: HEADER_BYTES + CHECKSUM_BYTES,
        max: HEADER_BYTES + MESSAGE_BYTES_MAX + CHECKSUM_BYTES,
        checksum: Some((ChecksumKind::Crc16Modbus, SYNC.len())),
        must: Vec::new(),
    }
}

/// Unwraps a frame found by `framing`, which has already verified and removed the checksum. `None` if it is of
/// another kind.
pub(crate) fn open(kind: PacketKind, frame: &[u8]) -> Option<Packet<'_>> {
    let (head, message) = frame.split_at_checked(HEADER_BYTES)?;
    let (code, index) = (*head.get(2)?, *head.get(3)?);
    (code == kind.code()).then_some(Packet { index, message })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Chunk, Framing};
    use alloc::vec;

    fn cut(data: &[u8], split: usize) -> Vec<(u8, Vec<u8>)> {
        let mut framer = Framing::Counted(framing()).framer();
        let mut seen = vec![];
        for part in data.chunks(split) {
            framer.push(part, &mut |chunk| {
                if let Chunk::Frame { frame, .. } = chunk {
                    let packet = open(PacketKind::Reply, frame).unwrap();
                    seen.push((packet.index, packet.message.to_vec()));
                }
                false
            });
        }
        seen
    }

    #[test]
    fn what_is_wrapped_comes_out_however_it_is_split() {
        let messages: [&[u8]; 4] = [b"", b"1", &[0xC7, 0x5E, 2, 0, 1, 0, 0xC7], &[0xC7; MESSAGE_BYTES_MAX]];
        let mut data = b"rubbish\xC7\x5E".to_vec();
        for (index, message) in (0_u8..).zip(messages) {
            data.extend(wrap(PacketKind::Reply, index, message).unwrap());
            data.extend(b"\xC7");
        }
        for split in [1, 2, 7, 64, data.len()] {
            let seen = cut(&data, split);
            let want: Vec<_> = (0_u8..).zip(messages.map(<[u8]>::to_vec)).collect();
            assert_eq!(seen, want, "split {split}");
        }
    }

    #[test]
    fn a_changed_bit_gives_no_packet() {
        let good = wrap(PacketKind::Reply, 3, b"44.70").unwrap();
        for bit in 0..good.len() * 8 {
            let mut bad = good.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(cut(&bad, 5), [], "bit {bit}");
        }
    }

    #[test]
    fn too_long_a_message_is_refused_and_another_kind_not_opened() {
        assert_eq!(wrap(PacketKind::Gatt, 0, &[0; MESSAGE_BYTES_MAX + 1]), None);
        let packet = wrap(PacketKind::Gatt, 0, b"x").unwrap();
        assert_eq!(open(PacketKind::Reply, &packet[..packet.len() - CHECKSUM_BYTES]), None);
    }
}
