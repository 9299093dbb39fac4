//! Modbus RTU frames: read requests, the diagnostics echo, and what is wrong with a reply. Reads only (functions 1 to
//! 4 and 8); nothing here writes to a device. Does not know when to send or what a register means.
//!
//! Sources: MODBUS Application Protocol V1.1b3 (functions, exceptions), MODBUS over Serial Line V1.02 (frame, CRC,
//! times).
//!
//! Why not the crate `rmodbus` (0.13, Apache-2.0, maintained, no_std): its client takes any other function for an
//! exception, does not compare the byte count with the request, and underflows on a short reply. Those are exactly
//! the tests that keep wrong values out. Its server side is the reference of our tests.

use alloc::vec::Vec;

use super::PollReason;
use crate::checksum::ChecksumKind;

/// The most registers, and coils or discrete inputs, of one request (V1.1b3, 6.1 to 6.4).
pub(crate) const REGISTERS_MAX: u16 = 125;
pub(crate) const BITS_MAX: u16 = 2000;
/// Bytes of a request, and of the diagnostics echo.
pub(crate) const REQUEST_BYTES: usize = 8;
/// Bytes of an exception.
const EXCEPTION_BYTES: usize = 5;
/// The bit of the function that marks an exception.
pub(crate) const EXCEPTION: u8 = 0x80;
/// Diagnostics; sub-function 0 echoes the data (V1.1b3, 6.8).
const DIAGNOSTICS: u8 = 8;
/// Exceptions: the device does not support the function; or the sub-function or data.
const ILLEGAL_FUNCTION: u8 = 1;
const ILLEGAL_VALUE: u8 = 3;

/// The four tables of a device.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ModbusTable {
    Coil,
    Discrete,
    Holding,
    Input,
}

impl ModbusTable {
    /// Names as a profile writes them.
    pub(crate) const WORDS: [(&'static str, Self); 4] = [
        ("coil", Self::Coil),
        ("discrete", Self::Discrete),
        ("holding", Self::Holding),
        ("input", Self::Input),
    ];

    pub(crate) const fn function(self) -> u8 {
        match self {
            Self::Coil => 1,
            Self::Discrete => 2,
            Self::Holding => 3,
            Self::Input => 4,
        }
    }

    pub(crate) const fn is_bits(self) -> bool {
        matches!(self, Self::Coil | Self::Discrete)
    }
}

/// One read: a number of registers or bits of one table, from a zero-based address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Block {
    pub(crate) entity: ModbusTable,
    pub(crate) address: u16,
    pub(crate) count: u16,
}

impl Block {
    /// Function, address and count, as in the request and at the start of the packet.
    pub(crate) fn head(self) -> [u8; 5] {
        let [address_high, address_low] = self.address.to_be_bytes();
        let [count_high, count_low] = self.count.to_be_bytes();
        [self.entity.function(), address_high, address_low, count_high, count_low]
    }

    /// Bytes of data in the reply.
    pub(crate) fn data_bytes(self) -> usize {
        let count = usize::from(self.count);
        if self.entity.is_bits() { count.div_ceil(8) } else { 2 * count }
    }

    /// Bytes of the whole reply.
    pub(crate) fn reply_bytes(self) -> usize {
        EXCEPTION_BYTES + self.data_bytes()
    }

    pub(crate) fn request(self, unit: u8) -> Vec<u8> {
        frame(unit, &self.head())
    }
}

fn frame(unit: u8, content: &[u8]) -> Vec<u8> {
    let mut frame = Vec::with_capacity(REQUEST_BYTES);
    frame.push(unit);
    frame.extend_from_slice(content);
    let checksum = ChecksumKind::Crc16Modbus.compute(&frame);
    frame.extend_from_slice(&checksum);
    frame
}

/// Diagnostics, sub-function 0, with a number that the device echoes; request and reply are the same bytes.
pub(crate) fn marker(unit: u8, number: u16) -> Vec<u8> {
    let [high, low] = number.to_be_bytes();
    frame(unit, &[DIAGNOSTICS, 0, 0, high, low])
}

/// Whether the last two bytes are the CRC of the bytes before.
fn is_sound(frame: &[u8]) -> bool {
    let split = frame.len().checked_sub(2).and_then(|at| frame.split_at_checked(at));
    split.is_some_and(|(body, stored)| ChecksumKind::Crc16Modbus.holds(body, stored))
}

/// A marker's reply at the start of `bytes`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum MarkerReply {
    /// Its number.
    Echo(u16),
    /// The device does not support the function.
    Unknown,
    /// The device cannot reply now.
    Failed,
}

/// The marker's reply at the start of `bytes`, and its length. Only with a valid CRC.
pub(crate) fn marker_reply_at(unit: u8, bytes: &[u8]) -> Option<(MarkerReply, usize)> {
    if let Some(&[u, DIAGNOSTICS, 0, 0, high, low, a, b]) = bytes.get(..REQUEST_BYTES)
        && u == unit
        && is_sound(&[u, DIAGNOSTICS, 0, 0, high, low, a, b])
    {
        return Some((MarkerReply::Echo(u16::from_be_bytes([high, low])), REQUEST_BYTES));
    }
    let &[u, function, code, ..] = bytes.get(..EXCEPTION_BYTES)? else { return None };
    let whole = bytes.get(..EXCEPTION_BYTES)?;
    if u != unit || function != DIAGNOSTICS | EXCEPTION || !is_sound(whole) {
        return None;
    }
    let mark = if matches!(code, ILLEGAL_FUNCTION | ILLEGAL_VALUE) {
        MarkerReply::Unknown
    } else {
        MarkerReply::Failed
    };
    Some((mark, EXCEPTION_BYTES))
}

/// Whether `bytes` may be the beginning of a marker's reply.
pub(crate) fn may_be_marker_reply(unit: u8, bytes: &[u8]) -> bool {
    match bytes {
        [] => true,
        [u] => *u == unit,
        [u, function, ..] => {
            let whole = if *function == DIAGNOSTICS { REQUEST_BYTES } else { EXCEPTION_BYTES };
            *u == unit && function & !EXCEPTION == DIAGNOSTICS && bytes.len() < whole
        }
    }
}

/// What the bytes received since a request amount to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Reply {
    /// Incomplete so far.
    Incomplete,
    /// The whole, valid reply; `refused`: an exception.
    Whole { refused: bool },
    /// Not the reply to this request.
    Bad(PollReason),
}

/// Compares `bytes` with the reply to `block`: unit, function, byte count, CRC, and nothing after it.
pub(crate) fn reply(unit: u8, block: Block, bytes: &[u8]) -> Reply {
    let function = block.entity.function();
    let refused = match bytes {
        [] => return Reply::Incomplete,
        [u, ..] if *u != unit => return Reply::Bad(PollReason::WrongUnit),
        [_] => return Reply::Incomplete,
        [_, f, ..] if *f == function | EXCEPTION => true,
        [_, f, ..] if *f == function => false,
        _ => return Reply::Bad(PollReason::Malformed),
    };
    let whole = if refused { EXCEPTION_BYTES } else { block.reply_bytes() };
    if let (false, Some(count)) = (refused, bytes.get(2))
        && usize::from(*count) != block.data_bytes()
    {
        return Reply::Bad(PollReason::Malformed);
    }
    match bytes.len().cmp(&whole) {
        core::cmp::Ordering::Less => Reply::Incomplete,
        core::cmp::Ordering::Greater => Reply::Bad(PollReason::Malformed),
        core::cmp::Ordering::Equal if is_sound(bytes) => Reply::Whole { refused },
        core::cmp::Ordering::Equal => Reply::Bad(PollReason::Checksum),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BLOCK: Block = Block { entity: ModbusTable::Holding, address: 0x6B, count: 3 };

    /// MODBUS Application Protocol V1.1b3, 6.3: the worked example reads registers 108 to 110 (from memory).
    #[test]
    fn a_request_and_its_reply_are_those_of_the_standard() {
        assert_eq!(BLOCK.request(0x11)[..6], [0x11, 0x03, 0x00, 0x6B, 0x00, 0x03]);
        let good = frame(0x11, &[3, 6, 0x02, 0x2B, 0, 0, 0, 0x64]);
        assert_eq!(reply(0x11, BLOCK, &good), Reply::Whole { refused: false });
        for end in 0..good.len() {
            assert_eq!(reply(0x11, BLOCK, &good[..end]), Reply::Incomplete, "{end}");
        }
        for bit in 0..good.len() * 8 {
            let mut bad = good.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert!(matches!(reply(0x11, BLOCK, &bad), Reply::Bad(_) | Reply::Incomplete), "bit {bit}");
        }
        let longer = [good.as_slice(), &[0]].concat();
        assert_eq!(reply(0x11, BLOCK, &longer), Reply::Bad(PollReason::Malformed));
        assert_eq!(reply(0x11, BLOCK, &frame(0x11, &[0x83, 2])), Reply::Whole { refused: true });
        assert_eq!(reply(0x12, BLOCK, &good), Reply::Bad(PollReason::WrongUnit));
    }

    /// V1.1b3, 6.8: the example of sub-function 0 sends A5 37 and gets the same back.
    #[test]
    fn a_marker_is_its_own_answer() {
        let sent = marker(0x11, 0xA537);
        assert_eq!(sent[..6], [0x11, 8, 0, 0, 0xA5, 0x37]);
        assert_eq!(marker_reply_at(0x11, &sent), Some((MarkerReply::Echo(0xA537), 8)));
        assert_eq!(marker_reply_at(0x12, &sent), None);
        assert_eq!(marker_reply_at(0x11, &frame(0x11, &[0x88, 1])), Some((MarkerReply::Unknown, 5)));
        assert_eq!(marker_reply_at(0x11, &frame(0x11, &[0x88, 6])), Some((MarkerReply::Failed, 5)));
        for end in 0..sent.len() {
            assert!(may_be_marker_reply(0x11, &sent[..end]) && marker_reply_at(0x11, &sent[..end]).is_none());
        }
    }

    /// The request's CRC against another codec: `rmodbus` builds the same bytes.
    #[test]
    fn requests_are_those_of_another_codec() {
        use rmodbus::{ModbusProto, client::ModbusRequest};
        for unit in [1_u8, 17, 247] {
            for (address, count) in [(0_u16, 1_u16), (0x6B, 3), (0xFFFF, 1), (300, 125)] {
                let mut theirs = ModbusRequest::new(unit, ModbusProto::Rtu);
                for entity in ModbusTable::WORDS.map(|(_, entity)| entity) {
                    let mut bytes: Vec<u8> = Vec::new();
                    match entity {
                        ModbusTable::Coil => theirs.generate_get_coils(address, count, &mut bytes),
                        ModbusTable::Discrete => theirs.generate_get_discretes(address, count, &mut bytes),
                        ModbusTable::Holding => theirs.generate_get_holdings(address, count, &mut bytes),
                        ModbusTable::Input => theirs.generate_get_inputs(address, count, &mut bytes),
                    }
                    .unwrap();
                    assert_eq!(Block { entity, address, count }.request(unit), bytes);
                }
            }
        }
    }
}
