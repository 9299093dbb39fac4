//! Replies of a Modbus device -> readings. Each packet holds a request and its reply and is independent of others.
//! Sends no requests and does not verify unit or CRC; the poller has done so.
//!
//! | bytes of the message | |
//! |---|---|
//! | 0-4 | the request: function, address, count (high byte first) |
//! | 5 | function of the reply; with bit 7 a refusal |
//! | 6 | bytes of data that follow; of a refusal, the exception code and the end |
//! | 7.. | registers, high byte first as the standard sends them; or bits, the first in bit 0 |

use alloc::vec::Vec;

use quantity::{Accuracy, Decimal, Flags, State};

use super::Decoded;
use super::fields::BitMeaning;
use crate::counters::{Field, Reason};
use crate::number::{Counts, counts_of_float};
use crate::packet::{self, PacketKind};
use crate::poll::rtu::{Block, EXCEPTION};
use crate::unit_spec::UnitSpec;

/// How a number is stored in its registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum RegisterType {
    U16,
    I16,
    U32,
    I32,
    F32,
    /// One coil or discrete input: 0 or 1.
    Bit,
}

impl RegisterType {
    /// Names as a profile writes them.
    pub(crate) const WORDS: [(&'static str, Self); 6] = [
        ("u16", Self::U16),
        ("i16", Self::I16),
        ("u32", Self::U32),
        ("i32", Self::I32),
        ("f32", Self::F32),
        ("bit", Self::Bit),
    ];

    /// The number of registers, or bits, that it takes.
    pub(crate) const fn count(self) -> u16 {
        match self {
            Self::U16 | Self::I16 | Self::Bit => 1,
            Self::U32 | Self::I32 | Self::F32 => 2,
        }
    }
}

/// The scale of a raw number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scale {
    /// The power of ten of its last digit.
    Exponent(i8),
    /// This many make one unit. Shown to the first decimal place that is finer than a step.
    Divisor(u32),
}

/// One display line of a device.
#[derive(Clone, Debug)]
pub(crate) struct RegisterChannel {
    pub(crate) number: u8,
    /// Index of its read.
    pub(crate) read: usize,
    /// Registers (or bits) of the read before the value.
    pub(crate) at: u16,
    pub(crate) kind: RegisterType,
    /// Both words swapped: the low one comes first.
    pub(crate) low_word_first: bool,
    /// The bytes of each register swapped.
    pub(crate) low_byte_first: bool,
    pub(crate) unit: UnitSpec,
    pub(crate) scale: Scale,
    pub(crate) counts: Option<i64>,
    pub(crate) no_value: Vec<i64>,
    /// Register of the read and its bit (in a table of bits: the bit, and 0), and its meaning.
    pub(crate) bits: Vec<(u16, u8, BitMeaning)>,
}

/// The replies of all reads.
#[derive(Clone, Debug)]
pub(crate) struct RegistersDecode {
    pub(crate) reads: Vec<Block>,
    pub(crate) channels: Vec<RegisterChannel>,
}

/// Half a step, if a step is not one last digit.
fn step_accuracy(channel: &RegisterChannel) -> Option<Accuracy> {
    match channel.scale {
        Scale::Divisor(divisor) if decimal_places(divisor).is_none_or(|(_, exact)| !exact) => {
            let half = 0.5 / f64::from(divisor);
            Some(Accuracy { fixed: Some((half, channel.unit.unit)), ..Accuracy::default() })
        }
        Scale::Divisor(_) | Scale::Exponent(_) => None,
    }
}

/// Decimal places, so that the last digit is no coarser than a step of 1 / `divisor`, and whether it equals the step.
fn decimal_places(divisor: u32) -> Option<(u8, bool)> {
    (0..=10_u8).find_map(|places| {
        let steps = 10_u64.pow(u32::from(places));
        (steps >= u64::from(divisor)).then_some((places, steps == u64::from(divisor)))
    })
}

impl RegistersDecode {
    pub(crate) fn frame(&self, frame: &[u8], out: &mut dyn FnMut(Result<Decoded, Reason>)) -> bool {
        let Some(packet) = packet::open(PacketKind::Reply, frame) else { return false };
        let read = usize::from(packet.index);
        let Some(block) = self.reads.get(read) else { return false };
        let Some(content) = packet.message.strip_prefix(block.head().as_slice()) else { return false };
        let function = block.entity.function();
        let data = match content {
            [f, _code] if *f == function | EXCEPTION => {
                out(Err(Reason::Refused));
                return true;
            }
            [f, count, data @ ..] if *f == function && usize::from(*count) == data.len() => data,
            _ => return false,
        };
        if data.len() != block.data_bytes() {
            return false;
        }
        let is_bits = block.entity.is_bits();
        for channel in self.channels.iter().filter(|channel| channel.read == read) {
            out(channel.decode(data, is_bits).map_err(Reason::Undecodable));
        }
        true
    }
}

impl RegisterChannel {
    fn decode(&self, data: &[u8], is_bits: bool) -> Result<Decoded, Field> {
        let mut flags = Flags::default();
        let (mut over, mut none, mut negative) = (false, false, false);
        for (at, bit, meaning) in &self.bits {
            if !is_set(data, is_bits, *at, *bit).ok_or(Field::Flags)? {
                continue;
            }
            match meaning {
                BitMeaning::Flag(flag) => flag.set(&mut flags),
                BitMeaning::Overload => over = true,
                BitMeaning::NoValue => none = true,
                BitMeaning::Negative => negative = true,
            }
        }
        let state = match self.counts_of(data, is_bits)? {
            _ if none => State::NoValue,
            Counts::None => State::NoValue,
            Counts::Infinite { negative: below } => State::overload(below != negative),
            Counts::Whole(raw) => {
                let counts = if negative { -raw } else { raw };
                let beyond = self.counts.is_some_and(|limit| counts.unsigned_abs() > limit.unsigned_abs());
                if over || beyond {
                    State::overload(counts < 0 || (counts == 0 && negative))
                } else {
                    State::Value(self.digits(counts)?)
                }
            }
        };
        let UnitSpec { unit, coupling } = self.unit;
        match state {
            State::Value(number) if !unit.is_possible(number) => Err(Field::Value),
            _ => Ok(Decoded {
                channel: self.number,
                unit,
                coupling,
                state,
                flags,
                accuracy: step_accuracy(self),
            }),
        }
    }

    fn counts_of(&self, data: &[u8], is_bits: bool) -> Result<Counts, Field> {
        let raw = match self.kind {
            RegisterType::Bit => i64::from(is_set(data, is_bits, self.at, 0).ok_or(Field::Value)?),
            RegisterType::U16 => i64::from(u16::from_be_bytes(self.word(data, 0).ok_or(Field::Value)?)),
            RegisterType::I16 => i64::from(i16::from_be_bytes(self.word(data, 0).ok_or(Field::Value)?)),
            RegisterType::U32 => i64::from(u32::from_be_bytes(self.double(data).ok_or(Field::Value)?)),
            RegisterType::I32 => i64::from(i32::from_be_bytes(self.double(data).ok_or(Field::Value)?)),
            RegisterType::F32 => {
                let value = f32::from_be_bytes(self.double(data).ok_or(Field::Value)?);
                let Scale::Exponent(exponent) = self.scale else { return Err(Field::Exponent) };
                return counts_of_float(f64::from(value), exponent);
            }
        };
        Ok(if self.no_value.contains(&raw) { Counts::None } else { Counts::Whole(raw) })
    }

    /// A register of the value, high byte first.
    fn word(&self, data: &[u8], offset: u16) -> Option<[u8; 2]> {
        let at = 2 * usize::from(self.at.checked_add(offset)?);
        let bytes: [u8; 2] = data.get(at..at + 2)?.try_into().ok()?;
        Some(if self.low_byte_first { [bytes[1], bytes[0]] } else { bytes })
    }

    fn double(&self, data: &[u8]) -> Option<[u8; 4]> {
        let (first, second) = (self.word(data, 0)?, self.word(data, 1)?);
        let (high, low) = if self.low_word_first { (second, first) } else { (first, second) };
        Some([high[0], high[1], low[0], low[1]])
    }

    /// The digits of a raw number; halves are rounded away from zero.
    fn digits(&self, counts: i64) -> Result<Decimal, Field> {
        let (counts, exponent) = match self.scale {
            Scale::Exponent(exponent) => (counts, exponent),
            Scale::Divisor(divisor) => {
                let (places, _) = decimal_places(divisor).ok_or(Field::Exponent)?;
                let divisor = i64::from(divisor);
                let scaled = counts.checked_mul(10_i64.pow(u32::from(places))).ok_or(Field::Value)?;
                let magnitude = (scaled.saturating_abs().saturating_add(divisor / 2)) / divisor;
                (scaled.signum() * magnitude, -places.cast_signed())
            }
        };
        Decimal::new(counts, exponent).ok_or(Field::Exponent)
    }
}

/// A bit of a register (bit 0 is the lowest), or of a table of bits.
fn is_set(data: &[u8], is_bits: bool, at: u16, bit: u8) -> Option<bool> {
    let at = usize::from(at);
    if is_bits {
        return data.get(at / 8).map(|byte| byte >> (at % 8) & 1 == 1);
    }
    let register = u16::from_be_bytes(data.get(2 * at..2 * at + 2)?.try_into().ok()?);
    Some(register >> (bit & 15) & 1 == 1)
}
