//! Loads the decoding of a seven-segment display: which bit lights what. Does not decode.

use alloc::format;
use alloc::vec::Vec;

use quantity::{Coupling, Unit};

use super::LoadResult;
use super::fixed::{Places, load_bit, load_some_bits};
use super::table::{Entry, Node, Table};
use super::words::unit_word;
use crate::decode::fields::Bit;
use crate::decode::segments::{Annunciator, Digit, Function, Row, SegmentsDecode, Units};
use crate::error::suggest;
use crate::flag::Flag;
use crate::glyph::{DIGITS_MAX, SEGMENTS};

const FUNCTIONS: [(&str, Function); 3] = [
    ("ac", Function::Coupling(Coupling::Ac)),
    ("dc", Function::Coupling(Coupling::Dc)),
    ("other", Function::Other),
];

/// Unit prefixes as a display shows them, with the letter that our units use.
const PREFIXES: [&str; 6] = ["p", "n", "u", "m", "k", "M"];

/// The `[decode]` table of kind `segments`.
pub(super) fn load_decode(table: &Table<'_>, frame: &Places) -> LoadResult<SegmentsDecode> {
    table.only(&["kind", "digits", "minus", "unit", "units", "prefixes", "modes", "functions", "flags"])?;
    let mut bits = Bits { frame, taken: Vec::new() };
    let (digits, points) = load_digits(table, &mut bits)?;
    let minus = table.find("minus").map(|node| bits.one(node)).transpose()?;
    let units = match table.find("functions") {
        None => load_units(table, &mut bits)?,
        Some(node) => {
            for key in ["unit", "units", "prefixes", "modes"] {
                if let Some(other) = table.find(key) {
                    return Err(
                        other.error("functions say the units; they stand in its place, not beside it")
                    );
                }
            }
            if !points.is_empty() {
                return Err(node.error("functions say the decimals; a digit then names no point of its own"));
            }
            Units::Rows(Vec::new())
        }
    };
    let functions = load_signs(table, "modes", &FUNCTIONS, &mut bits)?;
    let flags = load_signs(table, "flags", &Flag::WORDS, &mut bits)?;
    // Rows share their signs, so they come when all other bits are taken.
    let units = match table.find("functions") {
        None => units,
        Some(node) => Units::Rows(load_rows(node, &mut bits)?),
    };
    let (known, end) = known(&bits.taken, frame);
    Ok(SegmentsDecode { digits, points, minus, units, functions, flags, known, end })
}

/// The bits that already have a meaning; each has only one.
struct Bits<'f> {
    frame: &'f Places,
    taken: Vec<Bit>,
}

impl Bits<'_> {
    fn one(&mut self, node: Node<'_>) -> LoadResult<Bit> {
        let bit = load_bit(node, self.frame)?;
        self.take(bit, node)?;
        Ok(bit)
    }

    fn take(&mut self, bit: Bit, node: Node<'_>) -> LoadResult<()> {
        if self.taken.contains(&bit) {
            return Err(node.error(format_args!("the bit {}.{} has a meaning already", bit.byte, bit.bit)));
        }
        self.taken.push(bit);
        Ok(())
    }

    /// `"6.1"`, `"6.*"` for all bits of a byte, or a list of these.
    fn some(&mut self, node: Node<'_>) -> LoadResult<Vec<Bit>> {
        let mut found = Vec::new();
        for node in node.list().unwrap_or_else(|_| alloc::vec![node]) {
            for bit in load_some_bits(node, self.frame)? {
                self.take(bit, node)?;
                found.push(bit);
            }
        }
        Ok(found)
    }
}

type Points = Vec<(Bit, usize)>;

fn load_digits(table: &Table<'_>, bits: &mut Bits<'_>) -> LoadResult<(Vec<Digit>, Points)> {
    let hint =
        "digits = [{ a = \"1.0\", b = \"2.0\", ..., g = \"2.1\", point_after = \"4.3\" }], left to right";
    let node = table.need("digits", hint)?;
    let tables = node.tables("decode.digits")?;
    if tables.is_empty() || tables.len() > DIGITS_MAX {
        return Err(node.error(format_args!("a display has 1 to {DIGITS_MAX} digits here")));
    }
    let (mut digits, mut points): (_, Points) = (Vec::new(), Vec::new());
    for (i, digit) in tables.iter().enumerate() {
        let known: Vec<&str> = SEGMENTS.iter().copied().chain(["point_before", "point_after"]).collect();
        digit.only(&known)?;
        digits.push(load_digit(digit, bits)?);
        for (key, left) in [("point_before", i), ("point_after", i + 1)] {
            let Some(node) = digit.find(key) else { continue };
            if points.iter().any(|(_, known)| *known == left) {
                return Err(
                    node.error("there is a point at this place already, named at the digit beside it")
                );
            }
            points.push((bits.one(node)?, left));
        }
    }
    Ok((digits, points))
}

/// A whole digit, or a narrow one that shows only 1.
fn load_digit(table: &Table<'_>, bits: &mut Bits<'_>) -> LoadResult<Digit> {
    let mut digit = Digit::default();
    for (segment, key) in digit.segments.iter_mut().zip(SEGMENTS) {
        *segment = table.find(key).map(|node| bits.one(node)).transpose()?;
    }
    match digit.segments {
        [Some(_), Some(_), Some(_), Some(_), Some(_), Some(_), Some(_)]
        | [None, Some(_), Some(_), None, None, None, None] => Ok(digit),
        _ => Err(table.error(
            "a digit has seven segments, a to g clockwise from the top with g in the middle; \
             only one that shows nothing but 1 has b and c alone",
        )),
    }
}

fn load_units(table: &Table<'_>, bits: &mut Bits<'_>) -> LoadResult<Units> {
    let (node, units) = match (table.find("unit"), table.table("units")?) {
        (None, Some(units)) => (table.find("units"), units),
        (Some(node), None) => {
            if let Some(prefixes) = table.find("prefixes") {
                return Err(prefixes.error("one unit for ever has no prefixes; say the unit with its prefix"));
            }
            return Ok(Units::Fixed(unit_word(node)?));
        }
        _ => {
            return Err(table.error(
                "a display has one of unit = \"uF\", [decode.units] with the bit of each unit, F = \"13.2\", and functions = [...]",
            ));
        }
    };
    let mut words: Vec<(Unit, Bit)> = Vec::new();
    for entry in units.entries() {
        let unit = Unit::parse(entry.key).map_err(|error| entry.error(error))?;
        words.push((unit, bits.one(entry.value)?));
    }
    if words.is_empty() {
        return Err(node.map_or_else(|| units.error("no unit"), |node| node.error("no unit is listed")));
    }
    let prefixes = load_prefixes(table, bits)?;
    let mut rows = Vec::new();
    for (u, (unit, _)) in words.iter().enumerate() {
        rows.push((u, None, *unit));
        for (p, (entry, _)) in prefixes.iter().enumerate() {
            let joined = Unit::parse(&format!("{}{}", entry.key, unit.symbol()));
            rows.extend(
                joined.ok().filter(|joined| joined.kind() == unit.kind()).map(|unit| (u, Some(p), unit)),
            );
        }
    }
    for (p, (entry, _)) in prefixes.iter().enumerate() {
        if !rows.iter().any(|(_, prefix, _)| *prefix == Some(p)) {
            return Err(entry.error(format_args!("{:?} goes before no unit of [decode.units]", entry.key)));
        }
    }
    Ok(Units::Lit {
        units: words.iter().map(|(_, bit)| *bit).collect(),
        prefixes: prefixes.iter().map(|(_, bit)| *bit).collect(),
        table: rows
            .into_iter()
            .map(|(u, p, unit)| (u, p, crate::unit_spec::UnitSpec { unit, coupling: None }))
            .collect(),
    })
}

fn load_prefixes<'t>(table: &Table<'t>, bits: &mut Bits<'_>) -> LoadResult<Vec<(Entry<'t>, Bit)>> {
    let Some(table) = table.table("prefixes")? else { return Ok(Vec::new()) };
    let mut found = Vec::new();
    for entry in table.entries() {
        if !PREFIXES.contains(&entry.key) {
            // No guess: the nearest letter is another power of ten.
            return Err(entry.error(format_args!(
                "unknown prefix {:?}; known here: {}",
                entry.key,
                PREFIXES.join(", ")
            )));
        }
        let bit = bits.one(entry.value)?;
        found.push((entry, bit));
    }
    Ok(found)
}

/// `{ unit = "uF", decimals = 2, lit = ["10.1", "11.1"] }`, one for each set of annunciators.
fn load_rows(node: Node<'_>, bits: &mut Bits<'_>) -> LoadResult<Vec<Row>> {
    let others = bits.taken.clone();
    let mut rows: Vec<Row> = Vec::new();
    for table in node.tables("decode.functions")? {
        table.only(&["unit", "decimals", "lit"])?;
        let unit = unit_word(table.need("unit", "unit = \"uF\"")?)?;
        let most = i64::try_from(DIGITS_MAX).unwrap_or(0);
        let decimals = table.find("decimals").map(|node| node.int(0..=most)).transpose()?;
        let list = table.need("lit", "lit = [\"10.1\", \"11.1\"]")?;
        let mut lit: Vec<Bit> = Vec::new();
        for node in list.list()? {
            let bit = load_bit(node, bits.frame)?;
            if others.contains(&bit) || lit.contains(&bit) {
                return Err(
                    node.error(format_args!("the bit {}.{} has a meaning already", bit.byte, bit.bit))
                );
            }
            lit.push(bit);
        }
        lit.sort_unstable_by_key(|bit| (bit.byte, bit.bit));
        if rows.iter().any(|row| row.lit == lit) {
            return Err(list.error("these signs stand twice; they can mean one function"));
        }
        rows.push(Row { unit, decimals: decimals.and_then(|decimals| u8::try_from(decimals).ok()), lit });
    }
    if rows.is_empty() {
        return Err(node.error("no function is listed"));
    }
    for bit in rows.iter().flat_map(|row| &row.lit) {
        if !bits.taken.contains(bit) {
            bits.taken.push(*bit);
        }
    }
    Ok(rows)
}

/// A table of annunciators: word = bit, or bits.
fn load_signs<T: Copy>(
    table: &Table<'_>,
    key: &str,
    words: &[(&str, T)],
    bits: &mut Bits<'_>,
) -> LoadResult<Vec<Annunciator<T>>> {
    let Some(table) = table.table(key)? else { return Ok(Vec::new()) };
    let mut found = Vec::new();
    for entry in table.entries() {
        let meaning = words.iter().find(|(known, _)| *known == entry.key).map(|(_, meaning)| *meaning);
        let meaning = meaning.ok_or_else(|| {
            let known: Vec<&str> = words.iter().map(|(known, _)| *known).collect();
            entry.error(format_args!(
                "unknown word {:?} in [decode.{key}]; {}",
                entry.key,
                suggest(entry.key, &known)
            ))
        })?;
        found.extend(bits.some(entry.value)?.into_iter().map(|bit| Annunciator { bit, meaning }));
    }
    Ok(found)
}

/// The bits that may be set in each byte, and the first byte after the last bit with a meaning.
fn known(bits: &[Bit], frame: &Places) -> (Vec<u8>, usize) {
    let mut known: Vec<u8> =
        (0..frame.room).map(|byte| if frame.validate(byte).is_ok() { 0 } else { 0xFF }).collect();
    for bit in bits {
        if let Some(byte) = known.get_mut(bit.byte) {
            *byte |= 1 << bit.bit;
        }
    }
    (known, bits.iter().map(|bit| bit.byte + 1).max().unwrap_or(0))
}
