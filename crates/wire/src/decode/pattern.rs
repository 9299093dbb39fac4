//! Decodes text lines by a pattern of fixed-width fields (or, weaker, of tokens between spaces). Does not cut lines
//! from bytes or verify their checksum.

use alloc::vec::Vec;

use quantity::{Coupling, Decimal, Flags, Kind, Sign, State};

use super::Decoded;
use crate::counters::Field;
use crate::flag::Flag;
use crate::unit_spec::UnitSpec;

/// What a field of a pattern holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Slot {
    Value,
    Prefix,
    Unit,
    Mode,
    Flags,
    Channel,
    /// Bytes without meaning.
    Skip,
}

/// One part of a pattern.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum PatternItem {
    /// Literal bytes.
    Literal(Vec<u8>),
    /// A field; `of` is its channel (`{value.1:6}`), `None` for all channels.
    Field { slot: Slot, of: Option<u8>, width: usize },
}

impl PatternItem {
    pub(crate) fn width(&self) -> usize {
        match self {
            Self::Literal(bytes) => bytes.len(),
            Self::Field { width, .. } => *width,
        }
    }
}

/// A mode word: the kind of quantity, and AC or DC if it says so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Mode {
    pub(crate) kind: Kind,
    pub(crate) coupling: Option<Coupling>,
}

/// The device's words, as bytes, with their meaning.
pub(crate) type Words<T> = Vec<(Vec<u8>, T)>;

/// The shape of a line and its words.
#[derive(Clone, Debug)]
pub(crate) struct PatternDecode {
    pub(crate) pieces: Vec<PatternItem>,
    /// Tokens between spaces instead of fixed widths.
    pub(crate) loose: bool,
    /// The separator between the tokens of a loose line, if it is not blanks: a comma, a semicolon, a tab.
    pub(crate) separator: Option<u8>,
    /// Numbers may carry an exponent (`4.470e-05`).
    pub(crate) scientific: bool,
    pub(crate) overload: Words<Sign>,
    pub(crate) no_value: Words<()>,
    pub(crate) modes: Words<Mode>,
    pub(crate) units: Words<UnitSpec>,
    pub(crate) flags: Vec<(u8, Flag)>,
    pub(crate) channels: Words<u8>,
    /// Units of channels that send none.
    pub(crate) fixed_units: Vec<(u8, UnitSpec)>,
}

/// A field found in a line.
struct Found<'l> {
    slot: Slot,
    of: Option<u8>,
    text: &'l [u8],
}

impl PatternDecode {
    /// Width of a line in bytes, without its line end and checksum.
    pub(crate) fn width(&self) -> usize {
        self.pieces.iter().map(PatternItem::width).sum()
    }

    pub(crate) fn frame(&self, line: &[u8], out: &mut dyn FnMut(Result<Decoded, Field>)) -> bool {
        let found = if self.loose { self.split_tokens(line) } else { self.split_widths(line) };
        let Some(found) = found else { return false };
        for value in found.iter().filter(|f| f.slot == Slot::Value) {
            out(self.decode(&found, value));
        }
        true
    }

    fn split_widths<'l>(&self, line: &'l [u8]) -> Option<Vec<Found<'l>>> {
        let mut rest = line;
        let mut found = Vec::with_capacity(self.pieces.len());
        for piece in &self.pieces {
            let (text, after) = rest.split_at_checked(piece.width())?;
            rest = after;
            match piece {
                PatternItem::Literal(bytes) if bytes.as_slice() != text => return None,
                PatternItem::Literal(_) => {}
                PatternItem::Field { slot, of, .. } => found.push(Found { slot: *slot, of: *of, text }),
            }
        }
        rest.is_empty().then_some(found)
    }

    /// Tokens in the order of the fields; a flags field at the end may be missing. With a separator, every token
    /// counts, even an empty one; any number of blanks counts as one.
    fn split_tokens<'l>(&self, line: &'l [u8]) -> Option<Vec<Found<'l>>> {
        let is_end = |b: &u8| self.separator.map_or(*b == b' ' || *b == b'\t', |separator| *b == separator);
        let mut tokens = line.split(is_end).map(trim).filter(|t| self.separator.is_some() || !t.is_empty());
        let mut found = Vec::with_capacity(self.pieces.len());
        for (i, piece) in self.pieces.iter().enumerate() {
            let token = tokens.next();
            match piece {
                PatternItem::Literal(bytes) if token != Some(bytes.as_slice()) => return None,
                PatternItem::Literal(_) => {}
                PatternItem::Field { slot, of, .. } => {
                    let last = i + 1 == self.pieces.len();
                    let may_miss = last && *slot == Slot::Flags && self.separator.is_none();
                    let text = if may_miss { token.unwrap_or_default() } else { token? };
                    found.push(Found { slot: *slot, of: *of, text });
                }
            }
        }
        tokens.next().is_none().then_some(found)
    }

    fn decode(&self, found: &[Found<'_>], value: &Found<'_>) -> Result<Decoded, Field> {
        let field = |slot: Slot| -> Option<&[u8]> {
            let of = |of: Option<u8>| found.iter().find(|f| f.slot == slot && f.of == of).map(|f| f.text);
            value.of.and_then(|channel| of(Some(channel))).or_else(|| of(None))
        };
        let channel = match field(Slot::Channel) {
            Some(text) => word(&self.channels, trim(text)).ok_or(Field::Channel)?,
            None => value.of.unwrap_or(0),
        };
        let unit = self.unit(field(Slot::Prefix), field(Slot::Unit), channel)?;
        let coupling = match field(Slot::Mode) {
            Some(text) => {
                let mode = word(&self.modes, trim(text)).ok_or(Field::Mode)?;
                join_coupling(mode, unit).ok_or(Field::Mode)?
            }
            None => unit.coupling,
        };
        let flags = field(Slot::Flags).map_or(Ok(Flags::default()), |text| self.flags(text))?;
        let state = self.state(value.text)?;
        match state {
            State::Value(number) if !unit.unit.is_possible(number) => Err(Field::Value),
            _ => Ok(Decoded { channel, unit: unit.unit, coupling, state, flags, accuracy: None }),
        }
    }

    fn unit(&self, prefix: Option<&[u8]>, unit: Option<&[u8]>, channel: u8) -> Result<UnitSpec, Field> {
        if prefix.is_none() && unit.is_none() {
            let fixed = self.fixed_units.iter().find(|(of, _)| *of == channel);
            return fixed.map(|(_, unit)| *unit).ok_or(Field::Unit);
        }
        let mut text: Vec<u8> = trim(prefix.unwrap_or_default()).to_vec();
        text.extend_from_slice(trim(unit.unwrap_or_default()));
        word(&self.units, &text).ok_or(Field::Unit)
    }

    /// Letters anywhere in the field, each at most once.
    fn flags(&self, text: &[u8]) -> Result<Flags, Field> {
        let mut flags = Flags::default();
        for (i, letter) in text.iter().enumerate().filter(|(_, letter)| **letter != b' ') {
            let (_, flag) = self.flags.iter().find(|(known, _)| known == letter).ok_or(Field::Flags)?;
            if text.iter().take(i).any(|earlier| earlier == letter) {
                return Err(Field::Flags);
            }
            flag.set(&mut flags);
        }
        Ok(flags)
    }

    fn state(&self, text: &[u8]) -> Result<State, Field> {
        let text = trim(text);
        if let Some(sign) = word(&self.overload, text) {
            return Ok(State::overload(sign == Sign::Negative));
        }
        if word(&self.no_value, text).is_some() {
            return Ok(State::NoValue);
        }
        number(text, self.scientific).map(State::Value).ok_or(Field::Value)
    }
}

/// AC or DC from mode and unit together; `None` if they contradict each other.
fn join_coupling(mode: Mode, unit: UnitSpec) -> Option<Option<Coupling>> {
    let agree = match (mode.coupling, unit.coupling) {
        (Some(a), Some(b)) => a == b,
        _ => true,
    };
    (agree && mode.kind == unit.unit.kind()).then_some(mode.coupling.or(unit.coupling))
}

fn word<T: Copy>(words: &Words<T>, text: &[u8]) -> Option<T> {
    words.iter().find(|(known, _)| known.as_slice() == text).map(|(_, meaning)| *meaning)
}

/// Without surrounding spaces; tabs and other whitespace are not padding.
#[must_use]
pub fn trim(mut text: &[u8]) -> &[u8] {
    while let [b' ', rest @ ..] = text {
        text = rest;
    }
    while let [rest @ .., b' '] = text {
        text = rest;
    }
    text
}

/// Digits with an optional sign (spaces may follow the sign) and a decimal point. A point needs a digit on at least
/// one side; an exponent is accepted only if the profile allows it.
fn number(text: &[u8], scientific: bool) -> Option<Decimal> {
    let (sign, digits) = match text {
        [sign @ (b'-' | b'+'), digits @ ..] => (Some(*sign), trim(digits)),
        _ => (None, text),
    };
    if !digits.first().is_some_and(|b| b.is_ascii_digit() || *b == b'.') {
        return None;
    }
    if !scientific && !digits.iter().all(|b| b.is_ascii_digit() || *b == b'.') {
        return None;
    }
    let mut whole: Vec<u8> = sign.into_iter().collect();
    whole.extend_from_slice(digits);
    Decimal::parse(core::str::from_utf8(&whole).ok()?).ok()
}
