//! Loads the line framing and the pattern decoding of a profile. Does not decode.

use alloc::vec::Vec;

use quantity::Sign;

use super::LoadResult;
use super::table::{Entry, Node, Table};
use super::words::{kind_word, unit_word};
use crate::checksum::ChecksumKind;
use crate::decode::pattern::{Mode, PatternDecode, PatternItem, Slot, Words, trim};
use crate::error::suggest;
use crate::flag::Flag;
use crate::frame::line::{CHECKSUM_BYTES, LINE_BYTES_MAX, LineFrame};

const SLOTS: [(&str, Slot); 7] = [
    ("value", Slot::Value),
    ("prefix", Slot::Prefix),
    ("unit", Slot::Unit),
    ("mode", Slot::Mode),
    ("flags", Slot::Flags),
    ("channel", Slot::Channel),
    ("skip", Slot::Skip),
];

/// The `[frame]` table of kind `line`.
pub(super) fn load_frame(table: &Table<'_>, pattern: &PatternDecode) -> LoadResult<LineFrame> {
    table.only(&["kind", "check", "max_bytes"])?;
    let checksum = load_checksum(table)?;
    let checksum_bytes = if checksum.is_some() { CHECKSUM_BYTES } else { 0 };
    let least = if pattern.loose { 1 } else { pattern.width() } + checksum_bytes;
    if least > LINE_BYTES_MAX {
        return Err(table.error(format_args!("the pattern is wider than {LINE_BYTES_MAX} bytes")));
    }
    let default = if pattern.loose { 128 } else { least };
    let max_bytes = table.find("max_bytes").map_or(Ok(default), |node| node.size(least, LINE_BYTES_MAX))?;
    Ok(LineFrame { max_bytes, checksum })
}

/// Like `load_frame`, for lines that no pattern describes.
pub(super) fn load_any_frame(table: &Table<'_>) -> LoadResult<LineFrame> {
    table.only(&["kind", "check", "max_bytes"])?;
    let checksum = load_checksum(table)?;
    let max_bytes =
        table.find("max_bytes").map_or(Ok(128), |node| node.size(1 + CHECKSUM_BYTES, LINE_BYTES_MAX))?;
    Ok(LineFrame { max_bytes, checksum })
}

fn load_checksum(table: &Table<'_>) -> LoadResult<Option<ChecksumKind>> {
    table
        .find("check")
        .map(|node| node.word(&[("sum8", ChecksumKind::Sum8), ("xor8", ChecksumKind::Xor8)]))
        .transpose()
}

/// The device's bytes for a text of the profile.
#[derive(Clone, Copy)]
enum Encoding {
    Utf8,
    Latin1,
}

impl Encoding {
    fn bytes(self, text: &str) -> Result<Vec<u8>, &'static str> {
        let bytes = match self {
            Self::Utf8 => text.as_bytes().to_vec(),
            Self::Latin1 => text
                .chars()
                .map(|c| u8::try_from(u32::from(c)).map_err(|_| "a character is not in Latin-1"))
                .collect::<Result<_, _>>()?,
        };
        if bytes.iter().any(|b| matches!(b, b'\r' | b'\n')) {
            return Err("CR and LF end a line and cannot stand inside one");
        }
        Ok(bytes)
    }
}

/// The `[decode]` table of kind `pattern`.
pub(super) fn load_pattern(table: &Table<'_>) -> LoadResult<PatternDecode> {
    table.only(&[
        "kind",
        "pattern",
        "loose",
        "separator",
        "scientific",
        "encoding",
        "overload",
        "no_value",
        "modes",
        "units",
        "flags",
        "channels",
        "fixed_units",
    ])?;
    let encoding = table.find("encoding").map_or(Ok(Encoding::Utf8), |node| {
        node.word(&[("utf8", Encoding::Utf8), ("latin1", Encoding::Latin1)])
    })?;
    let separator = table.find("separator").map(separator).transpose()?;
    let loose = table.switch("loose")? || separator.is_some();
    let node = table.need("pattern", "pattern = \"{mode:3} {value:7} {unit:4}\"")?;
    let tokens = loose.then_some(separator.map_or(' ', char::from));
    let pieces = load_pieces(node, tokens, encoding)?;
    let no_value = list(table, "no_value", encoding)?.into_iter().map(|(bytes, _)| (bytes, ())).collect();
    let overload = list(table, "overload", encoding)?
        .into_iter()
        .map(|(bytes, text)| (bytes, if text.starts_with('-') { Sign::Negative } else { Sign::Positive }))
        .collect();
    let decode = PatternDecode {
        loose,
        separator,
        scientific: table.switch("scientific")?,
        overload,
        no_value,
        modes: words(table, "modes", encoding, |node| {
            kind_word(node).map(|(kind, coupling)| Mode { kind, coupling })
        })?,
        units: words(table, "units", encoding, unit_word)?,
        flags: load_flags(table, encoding)?,
        channels: words(table, "channels", encoding, channel)?,
        fixed_units: load_fixed_units(table)?,
        pieces,
    };
    validate_words(table, &decode)?;
    validate_fields(table, node, &decode)?;
    Ok(decode)
}

/// One separator that no number, unit or sign contains.
fn separator(node: Node<'_>) -> LoadResult<u8> {
    match node.str()?.as_bytes() {
        [mark @ (b',' | b';' | b'|' | b'\t')] => Ok(*mark),
        _ => Err(node
            .error("a separator is one of \",\", \";\", \"|\" and \"\\t\"; blanks are loose = true alone")),
    }
}

fn channel(node: Node<'_>) -> LoadResult<u8> {
    u8::try_from(node.int(0..=255)?).map_err(|_| node.error("a channel is 0 to 255"))
}

fn key_bytes(entry: &Entry<'_>, encoding: Encoding) -> LoadResult<Vec<u8>> {
    let bytes = encoding.bytes(entry.key).map_err(|why| entry.error(why))?;
    if trim(&bytes) == bytes { Ok(bytes) } else { Err(entry.error("leave the padding spaces away")) }
}

/// A table of device words.
fn words<'t, T>(
    table: &Table<'t>,
    key: &str,
    encoding: Encoding,
    meaning: impl Fn(Node<'t>) -> LoadResult<T>,
) -> LoadResult<Words<T>> {
    let Some(table) = table.table(key)? else { return Ok(Vec::new()) };
    let entries = table.entries();
    entries.iter().map(|e| Ok((key_bytes(e, encoding)?, meaning(e.value)?))).collect()
}

/// A list of device words, each with its text.
fn list<'t>(table: &Table<'t>, key: &str, encoding: Encoding) -> LoadResult<Vec<(Vec<u8>, &'t str)>> {
    let Some(node) = table.find(key) else { return Ok(Vec::new()) };
    let mut found: Vec<(Vec<u8>, &'t str)> = Vec::new();
    for node in node.list()? {
        let text = node.str()?.trim_matches(' ');
        let bytes = encoding.bytes(text).map_err(|why| node.error(why))?;
        if found.iter().any(|(known, _)| *known == bytes) {
            return Err(node.error(format_args!("{text:?} stands twice")));
        }
        found.push((bytes, text));
    }
    Ok(found)
}

fn load_flags(table: &Table<'_>, encoding: Encoding) -> LoadResult<Vec<(u8, Flag)>> {
    let Some(table) = table.table("flags")? else { return Ok(Vec::new()) };
    let letter = |entry: &Entry<'_>| match key_bytes(entry, encoding)?.as_slice() {
        [letter] => Ok(*letter),
        _ => Err(entry.error(format_args!("a flag is one letter, not {:?}", entry.key))),
    };
    table.entries().iter().map(|e| Ok((letter(e)?, e.value.word(&Flag::WORDS)?))).collect()
}

fn load_fixed_units(table: &Table<'_>) -> LoadResult<Vec<(u8, crate::unit_spec::UnitSpec)>> {
    let Some(table) = table.table("fixed_units")? else { return Ok(Vec::new()) };
    let mut found: Vec<(u8, _)> = Vec::new();
    for entry in table.entries() {
        let number: u8 =
            entry.key.parse().map_err(|_| entry.error("the key is a channel number, 0 for the only one"))?;
        if found.iter().any(|(known, _)| *known == number) {
            return Err(entry.error(format_args!("channel {number} stands twice")));
        }
        found.push((number, unit_word(entry.value)?));
    }
    Ok(found)
}

/// Splits `{value.1:6}` texts; `{{` and `}}` are braces.
fn load_pieces(node: Node<'_>, tokens: Option<char>, encoding: Encoding) -> LoadResult<Vec<PatternItem>> {
    let text = node.str()?;
    let mut pieces = Vec::new();
    let mut literal = alloc::string::String::new();
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        match c {
            '{' | '}' if rest.peek() == Some(&c) => {
                rest.next();
                literal.push(c);
            }
            '}' => return Err(node.error("a } without its {; a brace itself is written }}")),
            '{' => {
                push_literal(&mut pieces, &mut literal, tokens, encoding).map_err(|why| node.error(why))?;
                let field: alloc::string::String = rest.by_ref().take_while(|c| *c != '}').collect();
                pieces.push(load_field(node, &field, tokens.is_some())?);
            }
            c => literal.push(c),
        }
    }
    push_literal(&mut pieces, &mut literal, tokens, encoding).map_err(|why| node.error(why))?;
    Ok(pieces)
}

/// A loose pattern's literals are tokens; spaces and separators between tokens are ignored there.
fn push_literal(
    pieces: &mut Vec<PatternItem>,
    literal: &mut alloc::string::String,
    tokens: Option<char>,
    encoding: Encoding,
) -> Result<(), &'static str> {
    let text = core::mem::take(literal);
    if let Some(separator) = tokens {
        for token in text.split(separator).map(str::trim).filter(|t| !t.is_empty()) {
            pieces.push(PatternItem::Literal(encoding.bytes(token)?));
        }
    } else if !text.is_empty() {
        pieces.push(PatternItem::Literal(encoding.bytes(&text)?));
    }
    Ok(())
}

fn load_field(node: Node<'_>, field: &str, loose: bool) -> LoadResult<PatternItem> {
    let (name, width) = field.split_once(':').map_or((field, None), |(name, width)| (name, Some(width)));
    let (name, of) = name.split_once('.').map_or((name, None), |(name, of)| (name, Some(of)));
    let slot = SLOTS.iter().find(|(known, _)| *known == name).map(|(_, slot)| *slot).ok_or_else(|| {
        node.error(format_args!("unknown field {name:?}; {}", suggest(name, &SLOTS.map(|(known, _)| known))))
    })?;
    let of = of
        .map(|text| {
            text.parse::<u8>().map_err(|_| node.error(format_args!("{text:?} is no channel, 0 to 255")))
        })
        .transpose()?;
    let width = match (width, loose) {
        (None, true) => 0,
        (Some(_), true) => {
            return Err(node.error(format_args!("a loose pattern has no widths; write {{{name}}}")));
        }
        (None, false) => {
            return Err(node.error(format_args!(
                "field {name:?} has no width; write {{{name}:7}} for 7 bytes, or loose = true, which is weaker"
            )));
        }
        (Some(text), false) => {
            let width = text.parse::<usize>().ok().filter(|n| (1..=64).contains(n));
            width.ok_or_else(|| node.error(format_args!("width {text:?} must be 1 to 64")))?
        }
    };
    Ok(PatternItem::Field { slot, of, width })
}

/// Every word must fit its field and mean one thing.
fn validate_words(table: &Table<'_>, decode: &PatternDecode) -> LoadResult<()> {
    for (word, _) in &decode.overload {
        if decode.no_value.iter().any(|(other, ())| other == word) {
            return Err(table.error("a word stands in overload and in no_value; it can mean one"));
        }
    }
    let numbers = decode.overload.iter().map(|(w, _)| w).chain(decode.no_value.iter().map(|(w, ())| w));
    for word in numbers.clone() {
        if word.iter().any(u8::is_ascii_digit)
            && word.iter().all(|b| b.is_ascii_digit() || b"+-. ".contains(b))
        {
            return Err(
                table.error("a word of overload or no_value reads as a number; it could hide a reading")
            );
        }
    }
    if decode.loose {
        return Ok(());
    }
    let width = |slot: Slot| {
        decode.pieces.iter().filter_map(move |piece| match piece {
            PatternItem::Field { slot: s, width, .. } if *s == slot => Some(*width),
            _ => None,
        })
    };
    let longest = |words: &mut dyn Iterator<Item = &Vec<u8>>| words.map(Vec::len).max().unwrap_or(0);
    let pairs = [
        ("overload or no_value", Slot::Value, longest(&mut numbers.clone())),
        ("modes", Slot::Mode, longest(&mut decode.modes.iter().map(|(w, _)| w))),
        ("channels", Slot::Channel, longest(&mut decode.channels.iter().map(|(w, _)| w))),
    ];
    for (name, slot, longest) in pairs {
        if width(slot).any(|width| longest > width) {
            return Err(
                table.error(format_args!("a word of {name} is wider ({longest} bytes) than its field"))
            );
        }
    }
    let room = width(Slot::Unit).min().unwrap_or(0) + width(Slot::Prefix).min().unwrap_or(0);
    let longest = longest(&mut decode.units.iter().map(|(w, _)| w));
    if room > 0 && longest > room {
        return Err(table.error(format_args!("a word of units is wider ({longest} bytes) than its field")));
    }
    Ok(())
}

/// The fields present and the tables given must match.
fn validate_fields(table: &Table<'_>, pattern: Node<'_>, decode: &PatternDecode) -> LoadResult<()> {
    let fields = || {
        decode.pieces.iter().filter_map(|piece| match piece {
            PatternItem::Field { slot, of, .. } => Some((*slot, *of)),
            PatternItem::Literal(_) => None,
        })
    };
    let has = |slot: Slot| fields().any(|(s, _)| s == slot);
    if !has(Slot::Value) {
        return Err(pattern.error("the pattern has no {value} field"));
    }
    for (i, (slot, of)) in fields().enumerate() {
        if slot != Slot::Skip && fields().take(i).any(|earlier| earlier == (slot, of)) {
            return Err(pattern.error("a field stands twice; give each its channel, for example {value.1:6}"));
        }
        if of.is_some() && has(Slot::Channel) {
            return Err(pattern.error("a pattern has a {channel} field or numbered fields, not both"));
        }
        let values = || fields().filter(|(slot, _)| *slot == Slot::Value).map(|(_, of)| of);
        if of.is_some() && slot != Slot::Skip && !values().any(|value| value == of) {
            return Err(pattern.error("a numbered field belongs to no value; give a {value} the same number"));
        }
        if slot == Slot::Value && of == Some(0) && values().any(|value| value.is_none()) {
            return Err(pattern.error("{value} and {value.0} are the same channel"));
        }
    }
    for (key, slot, empty) in [
        ("modes", Slot::Mode, decode.modes.is_empty()),
        ("flags", Slot::Flags, decode.flags.is_empty()),
        ("channels", Slot::Channel, decode.channels.is_empty()),
    ] {
        validate_pair(table, pattern, key, has(slot), empty)?;
    }
    validate_pair(table, pattern, "units", has(Slot::Unit) || has(Slot::Prefix), decode.units.is_empty())?;
    validate_units(pattern, decode, &fields().collect::<Vec<_>>())
}

/// A field needs its table, and a table its field.
fn validate_pair(
    table: &Table<'_>,
    pattern: Node<'_>,
    key: &str,
    field: bool,
    empty: bool,
) -> LoadResult<()> {
    match (field, empty, table.find(key)) {
        (true, true, _) => Err(pattern.error(format_args!(
            "the pattern has a field for {key}, but [decode.{key}] says nothing; list the words the device sends"
        ))),
        (false, _, Some(node)) => {
            Err(node.error(format_args!("[decode.{key}] has no field in the pattern; add the field or remove it")))
        }
        _ => Ok(()),
    }
}

/// Every channel has a unit, from a field or fixed.
fn validate_units(
    pattern: Node<'_>,
    decode: &PatternDecode,
    fields: &[(Slot, Option<u8>)],
) -> LoadResult<()> {
    let sent = |of: Option<u8>| {
        let of_unit = |(slot, f): &(Slot, Option<u8>)| {
            matches!(slot, Slot::Unit | Slot::Prefix) && (*f == of || f.is_none())
        };
        fields.iter().any(of_unit)
    };
    let fixed = |channel: u8| decode.fixed_units.iter().any(|(known, _)| *known == channel);
    let by_field = fields.iter().any(|(slot, _)| *slot == Slot::Channel);
    for (_, of) in fields.iter().filter(|(slot, _)| *slot == Slot::Value) {
        let channels: Vec<u8> = if by_field {
            decode.channels.iter().map(|(_, c)| *c).collect()
        } else {
            alloc::vec![of.unwrap_or(0)]
        };
        for channel in channels {
            if !sent(*of) && !fixed(channel) {
                return Err(pattern.error(format_args!(
                    "channel {channel} has no unit: add a {{unit}} field, or [decode.fixed_units] with {channel} = \"uF\""
                )));
            }
        }
    }
    Ok(())
}
