//! Writes a line by a pattern. Does not know binary frames.

use alloc::string::ToString;
use alloc::vec::Vec;

use quantity::{Coupling, Flags, Reading, Sign, State};

use super::{SimulateError, of_channel};
use crate::decode::pattern::{PatternDecode, PatternItem, Slot};
use crate::flag::Flag;
use crate::frame::line::LineFrame;
use crate::unit_spec::UnitSpec;

type Sent<T> = Result<T, SimulateError>;

pub(super) fn encode(frame: &LineFrame, pattern: &PatternDecode, readings: &[Reading]) -> Sent<Vec<u8>> {
    let by_field = has(pattern, Slot::Channel);
    for reading in readings {
        let carried = pattern.pieces.iter().any(|piece| match piece {
            PatternItem::Field { slot: Slot::Value, of, .. } => {
                by_field || of.unwrap_or(0) == reading.channel
            }
            _ => false,
        });
        if !carried || (by_field && readings.len() > 1) {
            return Err(SimulateError::Channel(reading.channel));
        }
    }
    let mut line = Vec::new();
    for (place, piece) in pattern.pieces.iter().enumerate() {
        if pattern.loose && place > 0 {
            line.push(pattern.separator.unwrap_or(b' '));
        }
        match piece {
            PatternItem::Literal(bytes) => line.extend_from_slice(bytes),
            PatternItem::Field { slot: Slot::Skip, width, .. } => {
                line.extend(core::iter::repeat_n(b' ', *width))
            }
            PatternItem::Field { slot, of, width } => {
                // A field without a number belongs to all channels, so any reading will do; a value has its own.
                let reading = match of {
                    None if by_field || *slot != Slot::Value => {
                        readings.first().ok_or(SimulateError::Channel(0))?
                    }
                    _ => of_channel(readings, of.unwrap_or(0))?,
                };
                let text = field(pattern, *slot, reading)?;
                if pattern.loose {
                    line.extend_from_slice(&text);
                } else {
                    pad(&mut line, &text, *width, *slot == Slot::Value)?;
                }
            }
        }
    }
    if let Some(checksum) = frame.checksum {
        let sum = checksum.compute(&line)[0];
        line.push(b'*');
        line.extend_from_slice(alloc::format!("{sum:02X}").as_bytes());
    }
    line.extend_from_slice(b"\r\n");
    Ok(line)
}

fn has(pattern: &PatternDecode, wanted: Slot) -> bool {
    pattern.pieces.iter().any(|piece| matches!(piece, PatternItem::Field { slot, .. } if *slot == wanted))
}

fn pad(line: &mut Vec<u8>, text: &[u8], width: usize, right: bool) -> Sent<()> {
    let room = width.checked_sub(text.len()).ok_or(SimulateError::Value)?;
    let spaces = || core::iter::repeat_n(b' ', room);
    if right {
        line.extend(spaces());
    }
    line.extend_from_slice(text);
    if !right {
        line.extend(spaces());
    }
    Ok(())
}

fn field(pattern: &PatternDecode, slot: Slot, reading: &Reading) -> Sent<Vec<u8>> {
    match slot {
        Slot::Value => value(pattern, reading.state),
        Slot::Mode => words(pattern, reading).map(|(mode, _)| mode.unwrap_or_default().to_vec()),
        Slot::Unit => words(pattern, reading)
            .map(|(_, unit)| unit.get(prefix_len(pattern, unit)..).unwrap_or_default().to_vec()),
        Slot::Prefix => words(pattern, reading)
            .map(|(_, unit)| unit.get(..prefix_len(pattern, unit)).unwrap_or_default().to_vec()),
        Slot::Flags => flags(pattern, reading.flags),
        Slot::Channel => {
            let word = pattern.channels.iter().find(|(_, channel)| *channel == reading.channel);
            word.map(|(word, _)| word.clone()).ok_or(SimulateError::Channel(reading.channel))
        }
        Slot::Skip => Ok(Vec::new()),
    }
}

/// Bytes of a unit word that go to the prefix field: as many as do not fit the unit field.
fn prefix_len(pattern: &PatternDecode, unit: &[u8]) -> usize {
    let room = pattern.pieces.iter().find_map(|piece| match piece {
        PatternItem::Field { slot: Slot::Unit, width, .. } => Some(*width),
        _ => None,
    });
    if has(pattern, Slot::Prefix) { unit.len().saturating_sub(room.unwrap_or(0)) } else { 0 }
}

fn value(pattern: &PatternDecode, state: State) -> Sent<Vec<u8>> {
    match state {
        State::Value(shown) => Ok(shown.to_string().into_bytes()),
        State::Overload(sign) => overload(pattern, sign),
        State::NoValue => pattern.no_value.first().map(|(word, ())| word.clone()).ok_or(SimulateError::Value),
    }
}

fn overload(pattern: &PatternDecode, sign: Sign) -> Sent<Vec<u8>> {
    let word = pattern.overload.iter().find(|(_, s)| *s == sign);
    word.map(|(word, _)| word.clone()).ok_or(SimulateError::Value)
}

/// Mode and unit words that together express the reading's unit and coupling.
fn words<'p>(pattern: &'p PatternDecode, reading: &Reading) -> Sent<(Option<&'p [u8]>, &'p [u8])> {
    let sent = has(pattern, Slot::Unit) || has(pattern, Slot::Prefix);
    let fixed = pattern.fixed_units.iter().filter(|(c, _)| !sent && *c == reading.channel);
    let units = pattern.units.iter().map(|(word, unit)| (word.as_slice(), *unit));
    let units = units.chain(fixed.map(|(_, unit)| ([].as_slice(), *unit)));
    for (unit_word, unit) in units.filter(|(_, unit)| unit.unit == reading.display.unit) {
        if !has(pattern, Slot::Mode) {
            if unit.coupling == reading.display.coupling {
                return Ok((None, unit_word));
            }
            continue;
        }
        let fits = |kind, coupling: Option<Coupling>| {
            kind == unit.unit.kind() && says(coupling, unit, reading.display.coupling)
        };
        if let Some((word, _)) = pattern.modes.iter().find(|(_, mode)| fits(mode.kind, mode.coupling)) {
            return Ok((Some(word), unit_word));
        }
    }
    Err(SimulateError::Unit)
}

/// True if a mode's coupling and a unit's together express the required one.
fn says(mode: Option<Coupling>, unit: UnitSpec, wanted: Option<Coupling>) -> bool {
    mode.or(unit.coupling) == wanted && unit.coupling.or(mode) == wanted
}

fn flags(pattern: &PatternDecode, flags: Flags) -> Sent<Vec<u8>> {
    let mut letters = Vec::new();
    for (_, flag) in Flag::WORDS.iter().filter(|(_, flag)| flag.is_set(flags)) {
        let letter = pattern.flags.iter().find(|(_, known)| known == flag);
        letters.push(letter.map(|(letter, _)| *letter).ok_or(SimulateError::Flags)?);
    }
    Ok(letters)
}
