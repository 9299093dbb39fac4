//! Writes a binary frame, of one length or counted, by its fields. Does not know lines.

use alloc::vec::Vec;

use quantity::{Reading, Sign, State};

use super::{SimulateError, of_channel};
use crate::decode::fields::{Bit, BitMeaning, ChannelDecode, Exponent, FieldsDecode, Function, Select};
use crate::flag::Flag;
use crate::frame::counted::CountedFrame;
use crate::frame::fixed::FixedFrame;
use crate::number::{Number, NumberType};

type Sent<T> = Result<T, SimulateError>;

pub(super) fn encode(shape: &FixedFrame, fields: &FieldsDecode, readings: &[Reading]) -> Sent<Vec<u8>> {
    framed(shape, |frame| fill(frame, fields, readings))
}

/// A frame that `fill` writes into: sync bytes before, the checksum after.
pub(super) fn framed(shape: &FixedFrame, fill: impl FnOnce(&mut [u8]) -> Sent<()>) -> Sent<Vec<u8>> {
    let mut frame = begun(&shape.sync, shape.length, &shape.must);
    fill(&mut frame)?;
    if let Some(checksum) = &shape.checksum {
        let sum = checksum.kind.compute(frame.get(checksum.covers.clone()).unwrap_or_default());
        copy(&mut frame, checksum.at, sum.get(..checksum.kind.width()).unwrap_or_default())?;
    }
    Ok(frame)
}

/// A frame as short as the channels of the readings allow; every channel that fits into it needs a reading too.
pub(super) fn encode_counted(
    shape: &CountedFrame,
    fields: &FieldsDecode,
    readings: &[Reading],
) -> Sent<Vec<u8>> {
    let wanted = fields.channels.iter().filter(|c| readings.iter().any(|r| r.channel == c.number));
    let end = wanted.map(|channel| channel.end).max().unwrap_or(0);
    framed_counted(shape, end, |frame| fill(frame, fields, readings))
}

/// Like `framed`; fields end at `end`.
pub(super) fn framed_counted(
    shape: &CountedFrame,
    end: usize,
    fill: impl FnOnce(&mut [u8]) -> Sent<()>,
) -> Sent<Vec<u8>> {
    let body = end.max(shape.min - shape.checksum_width());
    let mut frame = begun(&shape.sync, body, &shape.must);
    fill(&mut frame)?;
    let counted =
        (body + shape.checksum_width()).checked_sub(shape.uncounted()).ok_or(SimulateError::Value)?;
    put(&mut frame, shape.length, i64::try_from(counted).map_err(|_| SimulateError::Value)?)?;
    if let Some((kind, from)) = shape.checksum {
        let sum = kind.compute(frame.get(from..).unwrap_or_default());
        frame.extend(sum.iter().take(kind.width()));
    }
    Ok(frame)
}

/// Sync bytes, then zeros up to `length`, except for the fixed bytes.
fn begun(sync: &[u8], length: usize, must: &[(usize, u8)]) -> Vec<u8> {
    let mut frame = sync.to_vec();
    frame.resize(length, 0);
    for (at, byte) in must {
        if let Some(to) = frame.get_mut(*at) {
            *to = *byte;
        }
    }
    frame
}

/// Writes the readings of all channels that the frame has room for.
fn fill(frame: &mut [u8], fields: &FieldsDecode, readings: &[Reading]) -> Sent<()> {
    for reading in readings {
        let known = fields.channels.iter().any(|channel| channel.number == reading.channel);
        if !known || (fields.channel.is_some() && readings.len() > 1) {
            return Err(SimulateError::Channel(reading.channel));
        }
    }
    let room = frame.len();
    for channel in fields.channels.iter().filter(|channel| channel.end <= room) {
        if let (Some(at), Some(reading)) = (fields.channel, readings.first()) {
            if channel.number == reading.channel {
                put(frame, at, i64::from(channel.number))?;
                write(frame, channel, reading)?;
            }
        } else {
            write(frame, channel, of_channel(readings, channel.number)?)?;
        }
    }
    Ok(())
}

pub(super) fn write(frame: &mut [u8], channel: &ChannelDecode, reading: &Reading) -> Sent<()> {
    let wanted =
        |f: &Function| f.unit.unit == reading.display.unit && f.unit.coupling == reading.display.coupling;
    let shown = match reading.state {
        State::Value(shown) => Some(shown),
        State::Overload(_) | State::NoValue => None,
    };
    let fits = |f: &Function| wanted(f) && shown.is_none_or(|d| f.exponent.is_none_or(|e| e == d.exponent()));
    let function = match &channel.select {
        Select::Fixed(function) if wanted(function) => *function,
        Select::Fixed(_) => return Err(SimulateError::Unit),
        Select::Code { at, table, .. } => {
            let row = table.iter().find(|(_, f)| fits(f));
            let (code, function) = row.ok_or(SimulateError::Unit)?;
            put(frame, *at, *code)?;
            *function
        }
    };
    if let Some(shown) = shown {
        match (function.exponent, channel.exponent) {
            (Some(fixed), _) | (None, Exponent::Fixed(fixed)) if fixed != shown.exponent() => {
                return Err(SimulateError::Value);
            }
            (None, Exponent::At(at)) => put(frame, at, i64::from(shown.exponent()))?,
            _ => {}
        }
    }
    write_state(frame, channel, reading.state)?;
    for (_, flag) in Flag::WORDS.iter().filter(|(_, flag)| flag.is_set(reading.flags)) {
        set(frame, channel, BitMeaning::Flag(*flag)).ok_or(SimulateError::Flags)?;
    }
    Ok(())
}

fn write_state(frame: &mut [u8], channel: &ChannelDecode, state: State) -> Sent<()> {
    let signed = channel.bits.iter().any(|(_, meaning)| *meaning == BitMeaning::Negative);
    match state {
        State::Value(shown) => {
            let counts = shown.mantissa();
            if channel.counts.is_some_and(|limit| counts.unsigned_abs() > limit.unsigned_abs()) {
                return Err(SimulateError::Value);
            }
            put_value(frame, channel.value, if signed { counts.abs() } else { counts }, shown.to_f64())?;
            if signed && counts < 0 {
                set(frame, channel, BitMeaning::Negative).ok_or(SimulateError::Value)?;
            }
            Ok(())
        }
        State::Overload(sign) => {
            let negative = sign == Sign::Negative;
            let one = if negative && !signed { -1 } else { 0 };
            put_value(frame, channel.value, one, if negative { f64::NEG_INFINITY } else { f64::INFINITY })?;
            if negative && signed {
                set(frame, channel, BitMeaning::Negative).ok_or(SimulateError::Value)?;
            }
            if matches!(channel.value.kind, NumberType::Integer { .. }) {
                set(frame, channel, BitMeaning::Overload).ok_or(SimulateError::Value)?;
            }
            Ok(())
        }
        State::NoValue => match (channel.value.kind, channel.no_value.first()) {
            (NumberType::Float { .. }, _) => put_value(frame, channel.value, 0, f64::NAN),
            (NumberType::Integer { .. }, Some(code)) => put(frame, channel.value, *code),
            (NumberType::Integer { .. }, None) => {
                set(frame, channel, BitMeaning::NoValue).ok_or(SimulateError::Value)
            }
        },
    }
}

fn put_value(frame: &mut [u8], at: Number, counts: i64, value: f64) -> Sent<()> {
    match at.kind {
        NumberType::Integer { .. } => put(frame, at, counts),
        NumberType::Float { big_endian } => {
            #[allow(clippy::cast_possible_truncation)] // the device sends a single
            let single = value as f32;
            let bytes = if big_endian { single.to_be_bytes() } else { single.to_le_bytes() };
            copy(frame, at.at, &bytes)
        }
    }
}

/// Writes an integer over zeros, so that masked fields may share a byte.
fn put(frame: &mut [u8], at: Number, value: i64) -> Sent<()> {
    let NumberType::Integer { bytes, signed, big_endian } = at.kind else { return Err(SimulateError::Value) };
    let span = 1_i64 << (8 * bytes);
    let range = if signed { -span / 2..span / 2 } else { 0..span };
    if !range.contains(&value) {
        return Err(SimulateError::Value);
    }
    let all = value.to_le_bytes();
    let mut wanted: Vec<u8> = all.iter().take(bytes).copied().collect();
    if big_endian {
        wanted.reverse();
    }
    copy(frame, at.at, &wanted)
}

fn copy(frame: &mut [u8], at: usize, bytes: &[u8]) -> Sent<()> {
    let room = frame.get_mut(at..at + bytes.len()).ok_or(SimulateError::Value)?;
    room.iter_mut().zip(bytes).for_each(|(to, from)| *to |= from);
    Ok(())
}

fn set(frame: &mut [u8], channel: &ChannelDecode, wanted: BitMeaning) -> Option<()> {
    let (Bit { byte, bit }, _) = channel.bits.iter().find(|(_, meaning)| *meaning == wanted)?;
    *frame.get_mut(*byte)? |= 1 << bit;
    Some(())
}
