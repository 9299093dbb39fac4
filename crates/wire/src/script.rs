//! The seam to a decode script: what a frame is given to and what it gives back. Knows no script language and runs nothing;
//! crate `script` does.

use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt;

use quantity::{Coupling, Flags, State, Unit};

use crate::counters::Reason;
use crate::decode::Flag;
use crate::decode::fields::{Number, NumberType};

/// Makes the decode script of a profile ready to run. One for the whole program; it may be lent to any number of loaders.
pub trait ScriptCompiler {
    /// Checks and compiles a script.
    ///
    /// # Errors
    /// The first thing that is wrong with it, at its place in the script.
    fn compile(&self, text: &str) -> Result<Arc<dyn FrameScript>, ScriptError>;
}

/// A script that decodes frames. It gives the same for the same frame, ends after a bounded number of steps and takes
/// bounded memory, whatever it says and whatever the frame holds.
pub trait FrameScript: fmt::Debug + Send + Sync {
    /// Decodes one whole frame.
    ///
    /// # Errors
    /// Why the script failed, and where; the frame then gives nothing.
    fn decode(&self, frame: &[u8]) -> Result<Scripted, ScriptError>;
}

/// What a script says of a frame.
#[derive(Clone, Debug, PartialEq)]
pub enum Scripted {
    /// It is whole and holds nothing to read.
    Ignored,
    /// What it shows, each channel by itself: a reading, or why there is none.
    Shown(Vec<Result<Shown, Reason>>),
}

/// One display line of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// Display line, from 0.
    pub channel: u8,
    /// Unit as displayed.
    pub unit: Unit,
    /// Ac or dc, where the device says.
    pub coupling: Option<Coupling>,
    /// What is on the display.
    pub state: State,
    /// Hold, low battery and so on.
    pub flags: Flags,
}

/// The most display lines of one frame.
pub const SHOWN_MAX: usize = 16;

/// What is wrong with a script, or went wrong in it, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScriptError {
    /// Line, from 1; 0 where unknown. In the script, until the profile that holds it hands it out: then in the profile.
    pub line: usize,
    /// Character in the line, from 1; 0 where unknown.
    pub column: usize,
    /// What, why, and what to do next.
    pub message: String,
}

impl fmt::Display for ScriptError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => f.write_str(&self.message),
            line => write!(f, "line {line}: {}", self.message),
        }
    }
}

impl core::error::Error for ScriptError {}

/// A unit as profiles and scripts write it: `uF`, `V ac`.
///
/// # Errors
/// A sentence: no such unit (with the nearest one), or ac and dc where they mean nothing.
pub fn unit(text: &str) -> Result<(Unit, Option<Coupling>), String> {
    crate::profile::parse_unit(text).map(|word| (word.unit, word.coupling))
}

/// How a number is stored in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stored(NumberType);

impl Stored {
    /// Every way, with its name: `u8` to `f32be`, as profiles write them.
    #[must_use]
    pub fn all() -> [(&'static str, Self); NumberType::WORDS.len()] {
        NumberType::WORDS.map(|(word, kind)| (word, Self(kind)))
    }

    /// Whether it is an IEEE 754 single; else an integer.
    #[must_use]
    pub const fn is_float(self) -> bool {
        matches!(self.0, NumberType::Float { .. })
    }

    /// The integer at a byte, the first being 0; `None` for a float or beyond the frame.
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

/// What a float shows on a display whose last digit has this power of ten: not-a-number is no value, infinity an overload.
///
/// # Errors
/// [`Reason::Undecodable`]: more digits than any display has.
pub fn shown_float(value: f64, exponent: i8) -> Result<State, Reason> {
    use crate::decode::{fields, overload};
    match fields::counts_of_float(value, exponent).map_err(Reason::Undecodable)? {
        fields::Counts::None => Ok(State::NoValue),
        fields::Counts::Infinite { negative } => Ok(overload(negative)),
        fields::Counts::Whole(counts) => {
            let number = quantity::Decimal::new(counts, exponent);
            number.map(State::Value).ok_or(Reason::Undecodable(crate::Field::Exponent))
        }
    }
}

/// The checksum kinds by name; the sum of bytes as a number comes from [`checksum`].
pub const CHECK_WORDS: [&str; 5] = {
    let [(a, _), (b, _), (c, _), (d, _), (e, _)] = crate::CheckKind::WORDS;
    [a, b, c, d, e]
};

/// The checksum of this name over the bytes, as a number; `None` for a name that is none.
#[must_use]
pub fn checksum(word: &str, bytes: &[u8]) -> Option<u16> {
    let (_, kind) = crate::CheckKind::WORDS.into_iter().find(|(known, _)| *known == word)?;
    let stored = kind.compute(bytes);
    Some(if kind == crate::CheckKind::Sum16Be {
        u16::from_be_bytes(stored)
    } else {
        u16::from_le_bytes(stored)
    })
}

/// The words for a flag of the display.
pub const FLAG_WORDS: [&str; 5] = {
    let [(a, _), (b, _), (c, _), (d, _), (e, _)] = Flag::WORDS;
    [a, b, c, d, e]
};

/// Sets the flag of this word; false for a word that is none.
pub fn set_flag(flags: &mut Flags, word: &str) -> bool {
    let known = Flag::WORDS.iter().find(|(known, _)| *known == word);
    known.map(|(_, flag)| flag.set(flags)).is_some()
}

/// What seven segments show (bit 0 for `a` at the top, then clockwise, bit 6 for `g` in the middle): 0 to 9, -1 for nothing,
/// -2 for the `L` of an overload, -3 for a dash; `None` where they make no figure.
#[must_use]
pub fn figure(segments: u8) -> Option<i8> {
    use crate::decode::segments::{GLYPHS, Glyph};
    GLYPHS.iter().find(|(lit, _)| *lit == segments).map(|(_, glyph)| match glyph {
        Glyph::Digit(digit) => i8::try_from(*digit).unwrap_or(-1),
        Glyph::Blank => -1,
        Glyph::L => -2,
        Glyph::Dash => -3,
    })
}
