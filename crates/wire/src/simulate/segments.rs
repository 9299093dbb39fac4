//! Lights the segments of a display for a reading. Does not frame the bytes; `fixed` and the indexed frame do.

use alloc::string::ToString;

use quantity::{Reading, Sign, State};

use super::SimulateError;
use crate::decode::fields::Bit;
use crate::decode::segments::{Digit, Function, Row, SegmentsDecode, Units};
use crate::flag::Flag;
use crate::glyph::{GLYPHS, Glyph};

type Sent<T> = Result<T, SimulateError>;

/// Sets the bits of the one reading that a display shows.
pub(super) fn fill(frame: &mut [u8], display: &SegmentsDecode, readings: &[Reading]) -> Sent<()> {
    let [reading] = readings else { return Err(SimulateError::Channel(0)) };
    if reading.channel != 0 {
        return Err(SimulateError::Channel(reading.channel));
    }
    match reading.state {
        State::Value(shown) => {
            let text = shown.to_string();
            let text = text.strip_prefix('-').unwrap_or(&text);
            let (whole, places) = text.split_once('.').unwrap_or((text, ""));
            let digits =
                whole.bytes().chain(places.bytes()).map(|digit| Glyph::Digit(digit.wrapping_sub(b'0')));
            show(frame, display, digits)?;
            if !places.is_empty() && !matches!(display.units, Units::Rows(_)) {
                let left = display.digits.len().checked_sub(places.len()).ok_or(SimulateError::Value)?;
                let point = display.points.iter().find(|(_, known)| *known == left);
                light(frame, Some(point.ok_or(SimulateError::Value)?.0))?;
            }
            sign(frame, display, shown.mantissa() < 0)?;
        }
        State::Overload(side) => {
            show(frame, display, [Glyph::Digit(0), Glyph::L].into_iter())?;
            sign(frame, display, side == Sign::Negative)?;
        }
        State::NoValue => show(frame, display, [Glyph::Dash, Glyph::Dash].into_iter())?,
    }
    function(frame, display, reading)?;
    for (_, flag) in Flag::WORDS.iter().filter(|(_, flag)| flag.is_set(reading.flags)) {
        let sign = display.flags.iter().find(|sign| sign.meaning == *flag);
        light(frame, Some(sign.ok_or(SimulateError::Flags)?.bit))?;
    }
    Ok(())
}

/// Figures to the right end of the display.
fn show<I>(frame: &mut [u8], display: &SegmentsDecode, figures: I) -> Sent<()>
where
    I: Iterator<Item = Glyph> + Clone,
{
    let blank = display.digits.len().checked_sub(figures.clone().count()).ok_or(SimulateError::Value)?;
    for (digit, figure) in display.digits.iter().skip(blank).zip(figures) {
        draw(frame, digit, figure)?;
    }
    Ok(())
}

fn draw(frame: &mut [u8], digit: &Digit, figure: Glyph) -> Sent<()> {
    let (lit, _) = GLYPHS.iter().find(|(_, glyph)| *glyph == figure).ok_or(SimulateError::Value)?;
    for (_, bit) in digit.segments.iter().enumerate().filter(|(i, _)| lit >> i & 1 == 1) {
        light(frame, *bit)?;
    }
    Ok(())
}

fn sign(frame: &mut [u8], display: &SegmentsDecode, negative: bool) -> Sent<()> {
    if negative { light(frame, display.minus) } else { Ok(()) }
}

fn function(frame: &mut [u8], display: &SegmentsDecode, reading: &Reading) -> Sent<()> {
    if let Units::Rows(rows) = &display.units {
        let decimals = match reading.state {
            State::Value(shown) => Some(u8::try_from(-i16::from(shown.exponent())).unwrap_or(0)),
            State::Overload(_) | State::NoValue => None,
        };
        let wanted = |row: &&Row| {
            let unit = row.unit.unit == reading.display.unit && row.unit.coupling == reading.display.coupling;
            unit && (decimals.is_none() || row.decimals == decimals)
        };
        let row = rows.iter().find(wanted).ok_or(SimulateError::Unit)?;
        return row.lit.iter().try_for_each(|bit| light(frame, Some(*bit)));
    }
    let fixed = match &display.units {
        Units::Fixed(word) if word.unit == reading.display.unit => word.coupling,
        Units::Fixed(_) | Units::Rows(_) => return Err(SimulateError::Unit),
        Units::Lit { units, prefixes, table } => {
            let row = table.iter().find(|(_, _, word)| word.unit == reading.display.unit);
            let (unit, prefix, _) = row.ok_or(SimulateError::Unit)?;
            light(frame, units.get(*unit).copied())?;
            prefix.map_or(Ok(()), |prefix| light(frame, prefixes.get(prefix).copied()))?;
            None
        }
    };
    match reading.display.coupling {
        wanted if wanted == fixed => Ok(()),
        None => Err(SimulateError::Unit),
        Some(coupling) => {
            let sign = display.functions.iter().find(|sign| sign.meaning == Function::Coupling(coupling));
            light(frame, Some(sign.ok_or(SimulateError::Unit)?.bit))
        }
    }
}

fn light(frame: &mut [u8], bit: Option<Bit>) -> Sent<()> {
    let bit = bit.ok_or(SimulateError::Value)?;
    *frame.get_mut(bit.byte).ok_or(SimulateError::Value)? |= 1 << bit.bit;
    Ok(())
}
