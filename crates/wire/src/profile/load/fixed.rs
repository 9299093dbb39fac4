//! Loads the fixed binary framing of a profile, and the fields decoding of this and the counted one. Does not decode.

use alloc::vec::Vec;
use core::ops::Range;

use super::LoadResult;
use super::table::{Entry, Node, Table};
use super::words::{kind_word, unit_word};
use crate::checksum::ChecksumKind;
use crate::decode::Decode;
use crate::decode::fields::{
    Bit, BitMeaning, ChannelDecode, Exponent, FieldsDecode, Function, Select, Sequence,
};
use crate::error::suggest;
use crate::flag::Flag;
use crate::frame::Framing;
use crate::frame::counted::{COUNTED_BYTES_MAX, CountedFrame};
use crate::frame::fixed::{FIXED_BYTES_MAX, FixedFrame, FrameChecksum};
use crate::number::{Number, NumberType};

/// The `[frame]` table of kind `fixed`.
pub(super) fn load_frame(table: &Table<'_>) -> LoadResult<FixedFrame> {
    table.only(&["kind", "sync", "length", "check", "must"])?;
    let length = table.need("length", "length = 12")?.size(2, FIXED_BYTES_MAX)?;
    let sync = load_sync(table, length - 1)?;
    let checksum = table.table("check")?.map(|t| load_checksum(&t, sync.len(), length)).transpose()?;
    let mut frame = FixedFrame { sync, length, checksum, must: Vec::new() };
    frame.must = load_must(table, &Places::of_fixed(&frame))?;
    Ok(frame)
}

/// `must = { 7 = 0xAA }`: bytes that are the same in every frame.
pub(super) fn load_must(table: &Table<'_>, frame: &Places) -> LoadResult<Vec<(usize, u8)>> {
    let Some(table) = table.table("must")? else { return Ok(Vec::new()) };
    let mut found: Vec<(usize, u8)> = Vec::new();
    for entry in table.entries() {
        let at = match entry.key.strip_prefix("0x") {
            Some(hex) => usize::from_str_radix(hex, 16),
            None => entry.key.parse(),
        };
        let at = at.map_err(|_| {
            entry
                .error(format_args!("{:?} is no place of a byte; write 7 or 0x07, counted from 0", entry.key))
        })?;
        frame.validate(at).map_err(|why| entry.error(why))?;
        if found.iter().any(|(known, _)| *known == at) {
            return Err(entry.error(format_args!("byte {at} stands twice")));
        }
        found.push((at, u8::try_from(entry.value.int(0..=255)?).unwrap_or(0)));
    }
    if found.is_empty() { Err(table.error("no byte is demanded; leave must away")) } else { Ok(found) }
}

/// The sync bytes, at most `max`.
pub(super) fn load_sync(table: &Table<'_>, max: usize) -> LoadResult<Vec<u8>> {
    let node = table.need("sync", "sync = [0xA5, 0x5A]")?;
    let mut sync = Vec::new();
    for byte in node.list()? {
        sync.push(u8::try_from(byte.int(0..=255)?).unwrap_or(0));
    }
    if sync.is_empty() || sync.len() > max {
        return Err(node.error(format_args!("sync has 1 to {max} bytes here, shorter than the frame")));
    }
    Ok(sync)
}

fn load_checksum(table: &Table<'_>, sync: usize, length: usize) -> LoadResult<FrameChecksum> {
    table.only(&["kind", "from", "to", "at"])?;
    let kind = table.need("kind", "kind = \"crc16modbus\"")?.word(&ChecksumKind::WORDS)?;
    let from = table.need("from", "from = 0 (first byte covered)")?.size(0, length - 1)?;
    let to_node = table.need("to", "to = 10 (first byte not covered)")?;
    let to = to_node.size(0, length)?;
    let at_node = table.need("at", "at = 10 (where the checksum stands)")?;
    let at = at_node.size(0, length - 1)?;
    if to <= from {
        return Err(
            to_node.error(format_args!("the check covers nothing: to = {to} must be above from = {from}"))
        );
    }
    let stored = at..at + kind.width();
    if stored.end > length {
        return Err(at_node.error(format_args!(
            "the checksum takes {} bytes from {at} and runs past the frame's {length}",
            kind.width()
        )));
    }
    if overlaps(&stored, &(from..to)) || stored.start < sync {
        return Err(at_node.error("the checksum stands inside the bytes it covers, or in the sync bytes"));
    }
    Ok(FrameChecksum { kind, covers: from..to, at })
}

fn overlaps(a: &Range<usize>, b: &Range<usize>) -> bool {
    a.start < b.end && b.start < a.end
}

/// Where fields may lie in a frame.
pub(super) struct Places {
    /// Bytes of every frame, if they have one length.
    pub(super) length: Option<usize>,
    /// Bytes available to fields, from the start of the frame.
    pub(super) room: usize,
    /// Whose bytes these are, as text.
    pub(super) what: &'static str,
    /// Sync bytes.
    pub(super) sync: usize,
    /// Bytes that are not fields, and what they are.
    pub(super) taken: Option<(Range<usize>, &'static str)>,
    /// Bytes with a fixed value, which carry no information.
    pub(super) must: Vec<usize>,
    /// Bits of a byte that carry data.
    pub(super) data: u8,
}

impl Places {
    pub(super) fn of_fixed(frame: &FixedFrame) -> Self {
        let stored =
            |checksum: &FrameChecksum| (checksum.at..checksum.at + checksum.kind.width(), "the checksum");
        Self {
            length: Some(frame.length),
            room: frame.length,
            what: "frame's",
            sync: frame.sync.len(),
            taken: frame.checksum.as_ref().map(stored),
            must: frame.must.iter().map(|(at, _)| *at).collect(),
            data: 0xFF,
        }
    }

    /// Whether a field may lie in this byte; if not, why.
    pub(super) fn validate(&self, byte: usize) -> Result<(), alloc::string::String> {
        validate_place(&(byte..byte.saturating_add(1)), self)
    }
}

/// The `[decode]` table of kind `fields`.
pub(super) fn load_fields(table: &Table<'_>, frame: &Places) -> LoadResult<FieldsDecode> {
    table.only(&["kind", "channel_at", "sequence", "channel"])?;
    let selector = table.find("channel_at").map(|node| integer(node, frame)).transpose()?;
    let sequence = table.find("sequence").map(|node| load_sequence(node, frame)).transpose()?;
    let node = table.need("channel", "[[decode.channel]] with value = { at = 4, type = \"i16le\" }")?;
    let mut channels: Vec<ChannelDecode> = Vec::new();
    for table in node.tables("[decode.channel]")? {
        table.only(&CHANNEL_KEYS)?;
        let channel = load_channel(&table, frame)?;
        if channels.iter().any(|known| known.number == channel.number) {
            let at = table.find("number").map_or_else(
                || table.error("a second channel needs its own number, for example number = 1"),
                |node| node.error(format_args!("channel {} stands twice", channel.number)),
            );
            return Err(at);
        }
        channels.push(channel);
    }
    if channels.is_empty() {
        return Err(node.error("no channel is described"));
    }
    let frame_numbers: Vec<Number> = selector.into_iter().chain(sequence.map(|s| s.at)).collect();
    name_the_nameless(&mut channels, &frame_numbers, selector.is_some());
    Ok(FieldsDecode { length: frame.length, channel: selector, sequence, channels })
}

/// `{ at = 2, type = "u8", mask = 0x0F }`: a number that increases by one with each frame.
pub(super) fn load_sequence(node: Node<'_>, frame: &Places) -> LoadResult<Sequence> {
    let at = number_at(node, frame, &["at", "type", "mask"])?;
    let NumberType::Integer { bytes, .. } = at.kind else {
        return Err(node.error("a number of frames is an integer, not a float"));
    };
    let most = (1_i64 << (8 * bytes)) - 1;
    let mask = match node.table("sequence")?.find("mask") {
        None => most,
        Some(mask) => {
            let bits = mask.int(1..=most)?;
            if bits & (bits + 1) != 0 {
                return Err(mask.error("a mask of low bits, without gaps: 0x07, 0x0F, 0xFF"));
            }
            bits
        }
    };
    if mask == 1 {
        return Err(node.error("a number of one bit tells nothing; it must count to 3 at least"));
    }
    Ok(Sequence { at, mask })
}

/// Keys of a channel.
pub(super) const CHANNEL_KEYS: [&str; 9] =
    ["number", "value", "exponent", "counts", "no_value", "select", "functions", "unit", "flags"];

/// A channel whose keys have been validated.
pub(super) fn load_channel(table: &Table<'_>, frame: &Places) -> LoadResult<ChannelDecode> {
    let number = table.find("number").map_or(Ok(0), |node| node.int(0..=255))?;
    let value_node = table.need("value", "value = { at = 4, type = \"i16le\" }")?;
    let value = number_at(value_node, frame, &["at", "type"])?;
    let select = load_select(table, frame)?;
    let exponent = match table.find("exponent") {
        Some(node) if node.is_table() => Exponent::At(integer(node, frame)?),
        Some(node) => Exponent::Fixed(power(node)?),
        None if every_function_fixes_it(&select) => Exponent::Fixed(0),
        None => {
            return Err(table.error(
                "no exponent: write the power of ten of the last digit, exponent = -2, \
                 or where it stands, exponent = { at = 3, type = \"i8\" }",
            ));
        }
    };
    if let (NumberType::Float { .. }, Exponent::At(_)) = (value.kind, exponent) {
        return Err(value_node.error("a float needs fixed decimals: exponent = -2 shows two places"));
    }
    let no_value = match table.find("no_value") {
        Some(node) => {
            node.list()?.into_iter().map(|n| n.int(i64::MIN..=i64::MAX)).collect::<LoadResult<_>>()?
        }
        None => Vec::new(),
    };
    let mut channel = ChannelDecode {
        number: u8::try_from(number).unwrap_or(0),
        end: 0,
        value,
        select,
        exponent,
        counts: table.find("counts").map(|node| node.int(1..=i64::from(u32::MAX))).transpose()?,
        no_value,
        bits: load_bits(table, frame)?,
        nameless: Vec::new(),
    };
    channel.end = places(&channel).map(|place| place.end).max().unwrap_or(0);
    Ok(channel)
}

/// Finds the unnamed bits in bytes of flags. Each channel on its own, if a frame carries only one.
fn name_the_nameless(channels: &mut [ChannelDecode], frame_numbers: &[Number], one_a_frame: bool) {
    for index in 0..channels.len() {
        let beside = |(other, _): &(usize, &ChannelDecode)| !one_a_frame || *other == index;
        let visible = || channels.iter().enumerate().filter(beside).map(|(_, channel)| channel);
        let numbers = || visible().flat_map(numbers).chain(frame_numbers.iter().copied());
        let mut nameless: Vec<(usize, u8)> = Vec::new();
        for (bit, _) in channels.get(index).map(|channel| channel.bits.as_slice()).unwrap_or_default() {
            let in_number = numbers().map(place).any(|place| place.contains(&bit.byte));
            if in_number || nameless.iter().any(|(byte, _)| *byte == bit.byte) {
                continue;
            }
            let here = visible().flat_map(|channel| &channel.bits).filter(|(b, _)| b.byte == bit.byte);
            let free = here.fold(u8::MAX, |free, (b, _)| free & !(1 << b.bit));
            nameless.push((bit.byte, free));
        }
        if let Some(channel) = channels.get_mut(index) {
            channel.nameless = nameless;
        }
    }
}

fn place(number: Number) -> Range<usize> {
    number.at..number.at + number.kind.width()
}

/// Positions of all fields of a channel.
fn places(channel: &ChannelDecode) -> impl Iterator<Item = Range<usize>> + '_ {
    numbers(channel).map(place).chain(channel.bits.iter().map(|(bit, _)| bit.byte..bit.byte + 1))
}

/// The numbers of a channel.
fn numbers(channel: &ChannelDecode) -> impl Iterator<Item = Number> + '_ {
    let select = match &channel.select {
        Select::Code { at, .. } => Some(*at),
        Select::Fixed(_) => None,
    };
    let exponent = match channel.exponent {
        Exponent::At(at) => Some(at),
        Exponent::Fixed(_) => None,
    };
    core::iter::once(channel.value).chain(select).chain(exponent)
}

fn every_function_fixes_it(select: &Select) -> bool {
    match select {
        Select::Fixed(function) => function.exponent.is_some(),
        Select::Code { table, .. } => table.iter().all(|(_, function)| function.exponent.is_some()),
    }
}

pub(super) fn power(node: Node<'_>) -> LoadResult<i8> {
    i8::try_from(node.int(-24..=24)?).map_err(|_| node.error("must be -24 to 24"))
}

fn load_select(table: &Table<'_>, frame: &Places) -> LoadResult<Select> {
    match (table.find("select"), table.table("functions")?, table.find("unit")) {
        (None, None, Some(node)) => Ok(Select::Fixed(Function { unit: unit_word(node)?, exponent: None })),
        (Some(node), Some(functions), None) => {
            let at = number_at(node, frame, &["at", "type", "mask"])?;
            if matches!(at.kind, NumberType::Float { .. }) {
                return Err(node.error("a function code is an integer, not a float"));
            }
            let mask = match node.table("select")?.find("mask") {
                Some(mask) => mask.int(1..=i64::from(u32::MAX))?,
                None => -1,
            };
            Ok(Select::Code { at, mask, table: load_functions(&functions, at.kind, mask)? })
        }
        _ => Err(table.error(
            "a channel has either unit = \"uF\", or select = { at = 2, type = \"u8\" } with \
             [decode.channel.functions]",
        )),
    }
}

fn load_functions(table: &Table<'_>, kind: NumberType, mask: i64) -> LoadResult<Vec<(i64, Function)>> {
    let mut found: Vec<(i64, Function)> = Vec::new();
    for entry in table.entries() {
        let code = code(&entry)?;
        if found.iter().any(|(known, _)| *known == code) {
            return Err(entry.error(format_args!("function code {code} stands twice")));
        }
        let NumberType::Integer { bytes, signed, .. } = kind else { continue };
        let span = 1_i64 << (8 * bytes);
        let range = if signed { -span / 2..span / 2 } else { 0..span };
        if !range.contains(&code) || code & mask != code {
            return Err(entry.error(format_args!(
                "function code {code} can never be sent: it does not fit the type or the mask of select"
            )));
        }
        found.push((code, load_function(entry.value)?));
    }
    if found.is_empty() { Err(table.error("no function is listed")) } else { Ok(found) }
}

/// A code as key: `4` or `0x04`.
fn code(entry: &Entry<'_>) -> LoadResult<i64> {
    let parsed = match entry.key.strip_prefix("0x") {
        Some(hex) => i64::from_str_radix(hex, 16),
        None => entry.key.parse(),
    };
    parsed.map_err(|_| entry.error(format_args!("{:?} is no function code; write 4 or 0x04", entry.key)))
}

/// `"V ac"`, or `{ unit = "uF", exponent = -2, quantity = "capacitance" }`.
fn load_function(node: Node<'_>) -> LoadResult<Function> {
    if !node.is_table() {
        return Ok(Function { unit: unit_word(node)?, exponent: None });
    }
    let table = node.table("functions")?;
    table.only(&["unit", "exponent", "quantity"])?;
    let unit = unit_word(table.need("unit", "unit = \"uF\"")?)?;
    if let Some(node) = table.find("quantity") {
        let (kind, coupling) = kind_word(node)?;
        if kind != unit.unit.kind() || (coupling.is_some() && coupling != unit.coupling) {
            return Err(node.error(format_args!(
                "{} is a unit of {}, not of this",
                unit.unit,
                unit.unit.kind()
            )));
        }
    }
    Ok(Function { unit, exponent: table.find("exponent").map(power).transpose()? })
}

/// Position of a number: inside the frame, outside the sync bytes and the checksum.
fn number_at(node: Node<'_>, frame: &Places, known: &[&str]) -> LoadResult<Number> {
    let table = node.table("a place")?;
    table.only(known)?;
    let kind = table.need("type", "type = \"u8\"")?.word(&NumberType::WORDS)?;
    let at_node = table.need("at", "at = 4")?;
    let at = at_node.size(0, COUNTED_BYTES_MAX)?;
    validate_place(&(at..at + kind.width()), frame).map_err(|why| at_node.error(why))?;
    Ok(Number { at, kind })
}

fn integer(node: Node<'_>, frame: &Places) -> LoadResult<Number> {
    let number = number_at(node, frame, &["at", "type"])?;
    match number.kind {
        NumberType::Float { .. } => Err(node.error("must be an integer type, for example \"u8\"")),
        NumberType::Integer { .. } => Ok(number),
    }
}

fn validate_place(place: &Range<usize>, frame: &Places) -> Result<(), alloc::string::String> {
    if place.end > frame.room {
        return Err(alloc::format!(
            "bytes {} to {} run past the {} {} bytes (the first byte is 0)",
            place.start,
            place.end - 1,
            frame.what,
            frame.room
        ));
    }
    if place.start < frame.sync {
        return Err("stands in the sync bytes".into());
    }
    if let Some(at) = frame.must.iter().find(|at| place.contains(at)) {
        return Err(alloc::format!("byte {at} is the same in every frame, as [frame] must says"));
    }
    match &frame.taken {
        Some((taken, what)) if overlaps(place, taken) => Err(alloc::format!("stands in {what}")),
        _ => Ok(()),
    }
}

pub(super) const BITS: [(&str, BitMeaning); 8] = [
    ("hold", BitMeaning::Flag(Flag::Hold)),
    ("low_battery", BitMeaning::Flag(Flag::LowBattery)),
    ("relative", BitMeaning::Flag(Flag::Relative)),
    ("min_max", BitMeaning::Flag(Flag::MinMax)),
    ("overload", BitMeaning::Overload),
    ("no_value", BitMeaning::NoValue),
    ("negative", BitMeaning::Negative),
    ("ignore", BitMeaning::Flag(Flag::Ignore)),
];

/// `hold = "6.1"`, or a list of these if several bits mean it.
fn load_bits(table: &Table<'_>, frame: &Places) -> LoadResult<Vec<(Bit, BitMeaning)>> {
    let Some(table) = table.table("flags")? else { return Ok(Vec::new()) };
    let mut found: Vec<(Bit, BitMeaning)> = Vec::new();
    for entry in table.entries() {
        let meaning = BITS.iter().find(|(known, _)| *known == entry.key).map(|(_, m)| *m);
        let meaning = meaning.ok_or_else(|| {
            let known = BITS.map(|(known, _)| known);
            entry.error(format_args!("unknown flag {:?}; {}", entry.key, suggest(entry.key, &known)))
        })?;
        for node in entry.value.list().unwrap_or_else(|_| alloc::vec![entry.value]) {
            for bit in load_some_bits(node, frame)? {
                if found.iter().any(|(known, _)| *known == bit) {
                    return Err(
                        node.error(format_args!("the bit {}.{} has a meaning already", bit.byte, bit.bit))
                    );
                }
                found.push((bit, meaning));
            }
        }
    }
    Ok(found)
}

/// `"6.1"`, or `"6.*"` for all bits of a byte.
pub(super) fn load_some_bits(node: Node<'_>, frame: &Places) -> LoadResult<Vec<Bit>> {
    let Some(byte) = node.str()?.strip_suffix(".*") else { return Ok(alloc::vec![load_bit(node, frame)?]) };
    let byte = byte
        .parse()
        .map_err(|_| node.error(format_args!("{byte:?} is no byte; write byte.*, for example \"6.*\"")))?;
    frame.validate(byte).map_err(|why| node.error(why))?;
    Ok((0..8).filter(|bit| frame.data >> bit & 1 == 1).map(|bit| Bit { byte, bit }).collect())
}

pub(super) fn load_bit(node: Node<'_>, frame: &Places) -> LoadResult<Bit> {
    let text = node.str()?;
    let bit = text.split_once('.').and_then(|(byte, bit)| {
        let bit = bit.parse::<u8>().ok().filter(|bit| *bit < 8)?;
        Some(Bit { byte: byte.parse().ok().filter(|byte| *byte < COUNTED_BYTES_MAX)?, bit })
    });
    let bit = bit
        .ok_or_else(|| node.error(format_args!("{text:?} is no bit; write byte.bit, for example \"6.1\"")))?;
    frame.validate(bit.byte).map_err(|why| node.error(why))?;
    if frame.data >> bit.bit & 1 == 0 {
        return Err(
            node.error(format_args!("bit {} of a byte counts its place here; bits 0 to 3 are data", bit.bit))
        );
    }
    Ok(bit)
}

/// True if there is a checksum but a field lies outside the bytes it covers.
pub(super) fn has_uncovered_field(frame: &Framing, decode: &Decode) -> bool {
    let covers = match frame {
        Framing::Fixed(FixedFrame { checksum: Some(checksum), .. }) => checksum.covers.clone(),
        Framing::Counted(CountedFrame { checksum: Some((_, from)), .. }) => *from..usize::MAX,
        Framing::Line(_) | Framing::Fixed(_) | Framing::Counted(_) | Framing::Indexed(_) => return false,
    };
    let outside = |place: Range<usize>| place.start < covers.start || place.end > covers.end;
    match decode {
        Decode::Fields(fields) => {
            fields.channel.as_ref().is_some_and(|n| outside(n.at..n.at + n.kind.width()))
                || fields.channels.iter().flat_map(places).any(outside)
        }
        Decode::Segments(display) => display.bits().any(|bit| outside(bit.byte..bit.byte + 1)),
        // A script may read any byte that is not laid down by the framing.
        Decode::Script(_) => match frame {
            Framing::Fixed(FixedFrame { sync, length, checksum: Some(checksum), .. }) => {
                let stored = checksum.at..checksum.at + checksum.kind.width();
                (sync.len()..*length).any(|byte| !stored.contains(&byte) && !checksum.covers.contains(&byte))
            }
            _ => false,
        },
        Decode::Pattern(_) | Decode::Registers(_) | Decode::Scpi(_) | Decode::Gatt(_) => false,
    }
}
