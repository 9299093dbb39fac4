//! Segments of a display -> what it shows: digits, decimal point, sign, annunciators. Does not cut frames from bytes.
//!
//! A frame with an unnamed bit set, segments that form no digit, two decimal points, two units or a blank between
//! digits is rejected whole: a damaged bit that is recognisable as damage must not become another reading.

use alloc::vec::Vec;

use quantity::{Coupling, Decimal, Flags, State};

use super::Decoded;
use super::fields::Bit;
use crate::counters::Field;
use crate::flag::Flag;
use crate::glyph::{DIGITS_MAX, GLYPHS, Glyph};
use crate::unit_spec::UnitSpec;

/// Bits of one digit; a segment that a narrow digit does not have is never lit.
#[derive(Clone, Debug, Default)]
pub(crate) struct Digit {
    pub(crate) segments: [Option<Bit>; 7],
}

impl Digit {
    fn glyph(&self, frame: &[u8]) -> Option<Glyph> {
        let lit = self
            .segments
            .iter()
            .enumerate()
            .fold(0_u8, |lit, (i, bit)| lit | u8::from(bit.is_some_and(|bit| bit.is_set(frame))) << i);
        GLYPHS.iter().find(|(segments, _)| *segments == lit).map(|(_, glyph)| *glyph)
    }
}

/// What an annunciator of the function means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Function {
    Coupling(Coupling),
    /// A function whose number is not in its usual unit: a diode's drop in volts.
    Other,
}

/// An annunciator of the display and its meaning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Annunciator<T> {
    pub(crate) bit: Bit,
    pub(crate) meaning: T,
}

/// How the unit is found.
#[derive(Clone, Debug)]
pub(crate) enum Units {
    /// Always the same unit.
    Fixed(UnitSpec),
    /// One lit unit and at most one lit prefix; the table lists the valid pairs by their indices.
    Lit { units: Vec<Bit>, prefixes: Vec<Bit>, table: Vec<(usize, Option<usize>, UnitSpec)> },
    /// All annunciators besides digits, minus and flags, points included: each set that may be lit, and no other.
    Rows(Vec<Row>),
}

/// One set of lit annunciators.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Row {
    pub(crate) unit: UnitSpec,
    /// Digits after the point; without it, no number goes with this set.
    pub(crate) decimals: Option<u8>,
    pub(crate) lit: Vec<Bit>,
}

/// Position of the decimal point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Places {
    /// The number of digits left of it, if one is lit.
    Lit(Option<usize>),
    /// This many digits after it.
    Told(u8),
    /// There is no number.
    None,
}

/// A display.
#[derive(Clone, Debug)]
pub(crate) struct SegmentsDecode {
    /// From left to right.
    pub(crate) digits: Vec<Digit>,
    /// Points, each with the number of digits left of it.
    pub(crate) points: Vec<(Bit, usize)>,
    pub(crate) minus: Option<Bit>,
    pub(crate) units: Units,
    pub(crate) functions: Vec<Annunciator<Function>>,
    pub(crate) flags: Vec<Annunciator<Flag>>,
    /// Bits of each byte that may be set; all bits of bytes that do not belong to the display.
    pub(crate) known: Vec<u8>,
    /// The first byte after the last bit.
    pub(crate) end: usize,
}

impl SegmentsDecode {
    pub(crate) fn frame(&self, frame: &[u8], out: &mut dyn FnMut(Result<Decoded, Field>)) -> bool {
        if frame.len() < self.end {
            return false;
        }
        out(self.decode(frame));
        true
    }

    /// The positions of all bits.
    pub(crate) fn bits(&self) -> impl Iterator<Item = Bit> + '_ {
        let segments = self.digits.iter().flat_map(|digit| digit.segments.iter().flatten()).copied();
        let points = self.points.iter().map(|(bit, _)| *bit);
        let units = match &self.units {
            Units::Fixed(_) | Units::Rows(_) => [].iter().chain(&[]),
            Units::Lit { units, prefixes, .. } => units.iter().chain(prefixes),
        };
        let rows = match &self.units {
            Units::Rows(rows) => rows.as_slice(),
            Units::Fixed(_) | Units::Lit { .. } => &[],
        };
        let rows = rows.iter().flat_map(|row| &row.lit).copied();
        let functions = self.functions.iter().map(|function| function.bit);
        let flags = self.flags.iter().map(|flag| flag.bit);
        segments
            .chain(points)
            .chain(self.minus)
            .chain(units.copied())
            .chain(rows)
            .chain(functions)
            .chain(flags)
    }

    fn decode(&self, frame: &[u8]) -> Result<Decoded, Field> {
        let strange = |(i, byte): (usize, &u8)| byte & !self.known.get(i).copied().unwrap_or(0) != 0;
        if frame.iter().enumerate().any(strange) {
            return Err(Field::Flags);
        }
        let coupling = self.coupling(frame)?;
        let (unit, places) = self.unit(frame)?;
        let coupling = match (coupling, unit.coupling) {
            (Some(lit), Some(fixed)) if lit != fixed => return Err(Field::Mode),
            (lit, fixed) => lit.or(fixed),
        };
        if coupling.is_some() && !unit.unit.kind().takes_coupling() {
            return Err(Field::Mode);
        }
        let mut flags = Flags::default();
        for flag in self.flags.iter().filter(|flag| flag.bit.is_set(frame)) {
            flag.meaning.set(&mut flags);
        }
        let state = self.state(frame, places)?;
        match state {
            State::Value(number) if !unit.unit.is_possible(number) => Err(Field::Value),
            _ => Ok(Decoded { channel: 0, unit: unit.unit, coupling, state, flags, accuracy: None }),
        }
    }

    /// AC or DC; both at once is a third quantity, which no word here denotes.
    fn coupling(&self, frame: &[u8]) -> Result<Option<Coupling>, Field> {
        let mut lit = self.functions.iter().filter(|function| function.bit.is_set(frame));
        match (lit.next(), lit.next()) {
            (None, _) => Ok(None),
            (Some(Annunciator { meaning: Function::Coupling(coupling), .. }), None) => Ok(Some(*coupling)),
            _ => Err(Field::Mode),
        }
    }

    fn unit(&self, frame: &[u8]) -> Result<(UnitSpec, Places), Field> {
        let (units, prefixes, table) = match &self.units {
            Units::Fixed(unit) => return Ok((*unit, Places::Lit(self.point(frame)?))),
            Units::Rows(rows) => {
                let row = rows.iter().find(|row| lit_alone(row, rows, frame)).ok_or(Field::Mode)?;
                return Ok((row.unit, row.decimals.map_or(Places::None, Places::Told)));
            }
            Units::Lit { units, prefixes, table } => (units, prefixes, table),
        };
        let unit = one_lit(units, frame).map_err(|()| Field::Unit)?.ok_or(Field::Unit)?;
        let prefix = one_lit(prefixes, frame).map_err(|()| Field::Unit)?;
        let row = table.iter().find(|(u, p, _)| *u == unit && *p == prefix);
        let (_, _, word) = row.ok_or(Field::Unit)?;
        Ok((*word, Places::Lit(self.point(frame)?)))
    }

    /// Digits left of the lit point; two points are an error.
    fn point(&self, frame: &[u8]) -> Result<Option<usize>, Field> {
        let mut lit = self.points.iter().filter(|(bit, _)| bit.is_set(frame)).map(|(_, left)| *left);
        match (lit.next(), lit.next()) {
            (point, None) => Ok(point),
            _ => Err(Field::Value),
        }
    }

    fn state(&self, frame: &[u8], places: Places) -> Result<State, Field> {
        let mut shown = [Glyph::Blank; DIGITS_MAX];
        for (glyph, digit) in shown.iter_mut().zip(&self.digits) {
            *glyph = digit.glyph(frame).ok_or(Field::Value)?;
        }
        let shown = shown.get(..self.digits.len()).unwrap_or_default();
        let negative = self.minus.is_some_and(|bit| bit.is_set(frame));
        let first = shown.iter().position(|glyph| *glyph != Glyph::Blank).ok_or(Field::Value)?;
        let text = shown.get(first..).unwrap_or_default();
        match text {
            // Whatever follows an overload's letters, and the position of the point, mean nothing.
            [Glyph::Digit(0), Glyph::L, rest @ ..] if rest.iter().all(|glyph| *glyph == Glyph::Blank) => {
                Ok(State::overload(negative))
            }
            [Glyph::Dash, Glyph::Dash, rest @ ..]
                if rest.iter().all(|glyph| matches!(glyph, Glyph::Dash | Glyph::Blank)) =>
            {
                Ok(State::NoValue)
            }
            _ => number(text, first, places, negative),
        }
    }
}

/// Digits up to the right end of the display, after `first` blanks.
fn number(text: &[Glyph], first: usize, places: Places, negative: bool) -> Result<State, Field> {
    let mut counts = 0_i64;
    for glyph in text {
        let Glyph::Digit(digit) = glyph else { return Err(Field::Value) };
        counts = counts * 10 + i64::from(*digit);
    }
    let places = match places {
        Places::None => return Err(Field::Exponent),
        Places::Told(decimals) => usize::from(decimals),
        Places::Lit(None) => 0,
        // A point among the blanks belongs to no number.
        Places::Lit(Some(left)) => {
            text.len().checked_sub(left.checked_sub(first).ok_or(Field::Value)?).ok_or(Field::Value)?
        }
    };
    let exponent = i8::try_from(places).map_err(|_| Field::Exponent)?;
    let counts = if negative { -counts } else { counts };
    Decimal::new(counts, -exponent).map(State::Value).ok_or(Field::Exponent)
}

/// Whether exactly this row's annunciators are lit, of all that any row has.
fn lit_alone(row: &Row, rows: &[Row], frame: &[u8]) -> bool {
    let others = rows.iter().flat_map(|other| &other.lit).filter(|bit| !row.lit.contains(bit));
    row.lit.iter().all(|bit| bit.is_set(frame)) && !others.into_iter().any(|bit| bit.is_set(frame))
}

/// The index of the only lit bit; an error if several are lit.
fn one_lit(bits: &[Bit], frame: &[u8]) -> Result<Option<usize>, ()> {
    let mut lit = bits.iter().enumerate().filter(|(_, bit)| bit.is_set(frame)).map(|(i, _)| i);
    match (lit.next(), lit.next()) {
        (one, None) => Ok(one),
        _ => Err(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each figure drawn as it looks: `_` and `|` at the places of a to g, three rows of three.
    #[test]
    fn figures_look_like_what_they_are() {
        let drawn = |figure: &str| {
            let lit = |i: usize| u8::from(figure.as_bytes()[i] != b' ');
            let order = [1, 5, 8, 7, 6, 3, 4];
            order.iter().enumerate().fold(0, |bits, (i, place)| bits | lit(*place) << i)
        };
        for (figure, shows) in [
            (" _ | ||_|", Glyph::Digit(0)),
            ("     |  |", Glyph::Digit(1)),
            (" _  _||_ ", Glyph::Digit(2)),
            (" _  _| _|", Glyph::Digit(3)),
            ("   |_|  |", Glyph::Digit(4)),
            (" _ |_  _|", Glyph::Digit(5)),
            (" _ |_ |_|", Glyph::Digit(6)),
            ("   |_ |_|", Glyph::Digit(6)),
            (" _   |  |", Glyph::Digit(7)),
            (" _ | |  |", Glyph::Digit(7)),
            (" _ |_||_|", Glyph::Digit(8)),
            (" _ |_| _|", Glyph::Digit(9)),
            (" _ |_|  |", Glyph::Digit(9)),
            ("   |  |_ ", Glyph::L),
            ("    _    ", Glyph::Dash),
            ("         ", Glyph::Blank),
        ] {
            let found = GLYPHS.iter().filter(|(segments, _)| *segments == drawn(figure)).collect::<Vec<_>>();
            assert_eq!(found.len(), 1, "{figure:?}");
            assert_eq!(found[0].1, shows, "{figure:?}");
        }
        assert_eq!(GLYPHS.len(), 16);
    }
}
