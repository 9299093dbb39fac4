//! Numbers, codes and bits at fixed positions of a binary frame. Does not cut frames from bytes or verify their
//! checksum.

use alloc::vec::Vec;

use quantity::{Decimal, Flags, State};

use super::Decoded;
use crate::counters::Field;
use crate::flag::Flag;
use crate::number::{Counts, Number, NumberType, counts_of_float};
use crate::unit_spec::UnitSpec;

/// One bit of the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Bit {
    pub(crate) byte: usize,
    pub(crate) bit: u8,
}

impl Bit {
    pub(crate) fn is_set(self, frame: &[u8]) -> bool {
        frame.get(self.byte).is_some_and(|byte| byte >> self.bit & 1 == 1)
    }
}

/// What a bit means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum BitMeaning {
    Flag(Flag),
    Overload,
    NoValue,
    /// The number is negative (sign and magnitude).
    Negative,
}

/// A row of the function table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Function {
    pub(crate) unit: UnitSpec,
    /// Power of ten of the last digit, if the function fixes it.
    pub(crate) exponent: Option<i8>,
}

/// What selects the function.
#[derive(Clone, Debug)]
pub(crate) enum Select {
    /// Always the same function.
    Fixed(Function),
    /// A code in the frame, masked, looked up in a table.
    Code { at: Number, mask: i64, table: Vec<(i64, Function)> },
}

/// Where the power of ten of the last digit comes from, unless the function fixes it.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Exponent {
    Fixed(i8),
    At(Number),
}

/// One display line of a frame.
#[derive(Clone, Debug)]
pub(crate) struct ChannelDecode {
    pub(crate) number: u8,
    /// The first byte after its last field.
    pub(crate) end: usize,
    pub(crate) value: Number,
    pub(crate) select: Select,
    pub(crate) exponent: Exponent,
    /// A number above this many counts is an overload.
    pub(crate) counts: Option<i64>,
    /// Raw codes that mean "no value".
    pub(crate) no_value: Vec<i64>,
    pub(crate) bits: Vec<(Bit, BitMeaning)>,
    /// Flag bytes with their unnamed bits: a frame in which one of these is set is rejected.
    pub(crate) nameless: Vec<(usize, u8)>,
}

/// A number that increases by one with each frame and wraps after its maximum.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Sequence {
    pub(crate) at: Number,
    /// The low bits that count.
    pub(crate) mask: i64,
}

impl Sequence {
    pub(crate) fn read(self, frame: &[u8]) -> Option<i64> {
        self.at.integer(frame).map(|number| number & self.mask)
    }

    /// Frames that must have come between these two; `None` when they are one frame sent twice.
    pub(crate) fn between(self, last: i64, now: i64) -> Option<u64> {
        let step = now.wrapping_sub(last) & self.mask;
        u64::try_from(step).ok()?.checked_sub(1)
    }
}

/// A frame's fields.
#[derive(Clone, Debug)]
pub(crate) struct FieldsDecode {
    /// Bytes of every frame; `None` where frames say their length, and carry the channels that find room in them.
    pub(crate) length: Option<usize>,
    /// Says which channel a frame speaks of; without it every frame carries all channels.
    pub(crate) channel: Option<Number>,
    /// The number that the device gives its frames.
    pub(crate) sequence: Option<Sequence>,
    pub(crate) channels: Vec<ChannelDecode>,
}

impl FieldsDecode {
    pub(crate) fn frame(&self, frame: &[u8], out: &mut dyn FnMut(Result<Decoded, Field>)) -> bool {
        if self.length.is_some_and(|length| frame.len() != length) {
            return false;
        }
        let Some(number) = self.channel else {
            let mut carried = self.channels.iter().filter(|channel| channel.end <= frame.len()).peekable();
            let any = carried.peek().is_some();
            carried.for_each(|channel| out(channel.decode(frame)));
            return any;
        };
        let number = number.integer(frame);
        let known = self.channels.iter().find(|channel| Some(i64::from(channel.number)) == number);
        out(known.map_or(Err(Field::Channel), |channel| channel.decode_whole(frame)));
        true
    }
}

impl ChannelDecode {
    fn has(&self, meaning: BitMeaning, frame: &[u8]) -> bool {
        self.bits.iter().any(|(bit, m)| *m == meaning && bit.is_set(frame))
    }

    pub(crate) fn decode_whole(&self, frame: &[u8]) -> Result<Decoded, Field> {
        if self.end <= frame.len() { self.decode(frame) } else { Err(Field::Value) }
    }

    fn decode(&self, frame: &[u8]) -> Result<Decoded, Field> {
        let function = self.function(frame)?;
        let exponent = match (function.exponent, self.exponent) {
            (Some(fixed), _) | (None, Exponent::Fixed(fixed)) => fixed,
            (None, Exponent::At(number)) => {
                number.integer(frame).and_then(|n| i8::try_from(n).ok()).ok_or(Field::Exponent)?
            }
        };
        if self.nameless.iter().any(|(at, bits)| frame.get(*at).is_some_and(|byte| byte & bits != 0)) {
            return Err(Field::Flags);
        }
        let mut flags = Flags::default();
        for (bit, meaning) in &self.bits {
            if let (BitMeaning::Flag(flag), true) = (meaning, bit.is_set(frame)) {
                flag.set(&mut flags);
            }
        }
        let state = self.state(frame, exponent)?;
        let UnitSpec { unit, coupling } = function.unit;
        match state {
            State::Value(number) if !unit.is_possible(number) => Err(Field::Value),
            _ => Ok(Decoded { channel: self.number, unit, coupling, state, flags, accuracy: None }),
        }
    }

    fn function(&self, frame: &[u8]) -> Result<Function, Field> {
        match &self.select {
            Select::Fixed(function) => Ok(*function),
            Select::Code { at, mask, table } => {
                let code = at.integer(frame).ok_or(Field::Mode)? & mask;
                table.iter().find(|(known, _)| *known == code).map(|(_, f)| *f).ok_or(Field::Mode)
            }
        }
    }

    fn state(&self, frame: &[u8], exponent: i8) -> Result<State, Field> {
        let negative_bit = self.has(BitMeaning::Negative, frame);
        let counts = match self.value.kind {
            NumberType::Integer { .. } => {
                let raw = self.value.integer(frame).ok_or(Field::Value)?;
                if self.no_value.contains(&raw) {
                    return Ok(State::NoValue);
                }
                Counts::Whole(raw)
            }
            NumberType::Float { .. } => {
                counts_of_float(self.value.float(frame).ok_or(Field::Value)?, exponent)?
            }
        };
        if self.has(BitMeaning::NoValue, frame) {
            return Ok(State::NoValue);
        }
        let counts = match counts {
            Counts::None => return Ok(State::NoValue),
            Counts::Infinite { negative } => return Ok(State::overload(negative)),
            Counts::Whole(raw) if negative_bit => -raw,
            Counts::Whole(raw) => raw,
        };
        let beyond = self.counts.is_some_and(|limit| counts.unsigned_abs() > limit.unsigned_abs());
        if beyond || self.has(BitMeaning::Overload, frame) {
            return Ok(State::overload(counts < 0 || (counts == 0 && negative_bit)));
        }
        Decimal::new(counts, exponent).map(State::Value).ok_or(Field::Exponent)
    }
}
