//! Units, numbers, checksums, flags and seven-segment digits by the names that profiles and scripts use. Does not cut
//! frames from bytes; `splitter` does.

use alloc::string::String;

use quantity::{Coupling, Decimal, Flags, State, Unit};

use crate::checksum::ChecksumKind;
use crate::counters::{Field, Reason};
use crate::flag::Flag;
use crate::glyph::{GLYPHS, Glyph};
use crate::number::{Counts, Number, NumberType, counts_of_float};
use crate::unit_spec::parse_unit;

/// Parses a unit as profiles and scripts write it: `uF`, `V ac`.
///
/// # Errors
/// A sentence: no such unit (with the nearest one), or AC or DC where it makes no sense.
pub fn unit(text: &str) -> Result<(Unit, Option<Coupling>), String> {
    parse_unit(text).map(|word| (word.unit, word.coupling))
}

/// The encoding of a number in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NumberEncoding(NumberType);

impl NumberEncoding {
    /// Every encoding with its name as profiles write it: `u8` to `f32be`.
    #[must_use]
    pub fn all() -> [(&'static str, Self); NumberType::WORDS.len()] {
        NumberType::WORDS.map(|(word, kind)| (word, Self(kind)))
    }

    /// Its width in bytes.
    #[must_use]
    pub const fn width(self) -> usize {
        self.0.width()
    }

    /// Whether it is an integer in two's complement.
    #[must_use]
    pub const fn is_signed(self) -> bool {
        matches!(self.0, NumberType::Integer { signed: true, .. })
    }

    /// Whether its high byte comes first.
    #[must_use]
    pub const fn is_big_endian(self) -> bool {
        match self.0 {
            NumberType::Integer { big_endian, .. } | NumberType::Float { big_endian } => big_endian,
        }
    }

    /// Whether it is an IEEE 754 single; otherwise an integer.
    #[must_use]
    pub const fn is_float(self) -> bool {
        matches!(self.0, NumberType::Float { .. })
    }

    /// The integer at a byte, counted from 0; `None` for a float or beyond the frame.
    #[must_use]
    pub fn integer(self, frame: &[u8], at: usize) -> Option<i64> {
        Number { at, kind: self.0 }.integer(frame)
    }

    /// The float at a byte; `None` for an integer or beyond the frame.
    #[must_use]
    pub fn float(self, frame: &[u8], at: usize) -> Option<f64> {
        Number { at, kind: self.0 }.float(frame)
    }
}

/// What a float shows on a display whose last digit has this power of ten. NaN is no value, infinity an overload.
///
/// # Errors
/// [`Reason::Undecodable`]: more digits than any display has.
pub fn display_float(value: f64, exponent: i8) -> Result<State, Reason> {
    match counts_of_float(value, exponent).map_err(Reason::Undecodable)? {
        Counts::None => Ok(State::NoValue),
        Counts::Infinite { negative } => Ok(State::overload(negative)),
        Counts::Whole(counts) => {
            let number = Decimal::new(counts, exponent);
            number.map(State::Value).ok_or(Reason::Undecodable(Field::Exponent))
        }
    }
}

/// The names of the checksums; [`checksum`] computes them as numbers.
pub const CHECKSUM_NAMES: [&str; 5] = {
    let [(a, _), (b, _), (c, _), (d, _), (e, _)] = ChecksumKind::WORDS;
    [a, b, c, d, e]
};

/// The checksum of this name over the bytes, as a number; `None` for an unknown name.
#[must_use]
pub fn checksum(word: &str, bytes: &[u8]) -> Option<u16> {
    let (_, kind) = ChecksumKind::WORDS.into_iter().find(|(known, _)| *known == word)?;
    let stored = kind.compute(bytes);
    Some(if kind == ChecksumKind::Sum16Be { u16::from_be_bytes(stored) } else { u16::from_le_bytes(stored) })
}

/// The names of the display's flags.
pub const FLAG_NAMES: [&str; 5] = {
    let [(a, _), (b, _), (c, _), (d, _), (e, _)] = Flag::WORDS;
    [a, b, c, d, e]
};

/// Sets the flag of this name; false for an unknown name.
pub fn set_flag(flags: &mut Flags, word: &str) -> bool {
    let known = Flag::WORDS.iter().find(|(known, _)| *known == word);
    known.map(|(_, flag)| flag.set(flags)).is_some()
}

/// The character shown by seven segments (bit 0 for `a` at the top, then clockwise, bit 6 for `g` in the middle): 0
/// to 9, -1 for a blank, -2 for the `L` of an overload, -3 for a dash; `None` if they form none of these.
#[must_use]
pub fn figure(segments: u8) -> Option<i8> {
    GLYPHS.iter().find(|(lit, _)| *lit == segments).map(|(_, glyph)| match glyph {
        Glyph::Digit(digit) => i8::try_from(*digit).unwrap_or(-1),
        Glyph::Blank => -1,
        Glyph::L => -2,
        Glyph::Dash => -3,
    })
}
