//! Loads the requests for a device that speaks only when asked: the `[poll]` table and, for Modbus, the `[decode]`
//! table of kind `registers`, from which the reads are derived. Sends and decodes nothing.

use alloc::string::String;
use alloc::vec::Vec;

use quantity::Duration;

use super::LoadResult;
use super::fixed::{BITS, power};
use super::table::{Node, Table};
use super::words::unit_word;
use crate::decode::fields::BitMeaning;
use crate::decode::registers::{RegisterChannel, RegisterType, RegistersDecode, Scale};
use crate::error::suggest;
use crate::poll::rtu::{BITS_MAX, Block, ModbusTable, REGISTERS_MAX};
use crate::poll::rtu_client::{Read, RtuSettings};

/// Requests are numbered in a byte.
pub(super) const REQUESTS_MAX: usize = 64;
const POLL_MS: i64 = 1_000;
const TIMEOUT_MS: i64 = 500;

/// Period and time-out for all channels that do not set their own.
#[derive(Clone, Copy)]
pub(super) struct Pace {
    pub(super) period: Duration,
    pub(super) timeout: Duration,
}

impl Pace {
    /// `poll_ms` and `timeout_ms` of a table, else those of `outer`.
    pub(super) fn load(table: &Table<'_>, outer: Self) -> LoadResult<Self> {
        let time = |key: &str, range, outer: Duration| {
            table.find(key).map_or(Ok(outer), |node: Node<'_>| node.int(range).map(Duration::from_millis))
        };
        Ok(Self {
            period: time("poll_ms", 20..=3_600_000, outer.period)?,
            timeout: time("timeout_ms", 10..=60_000, outer.timeout)?,
        })
    }

    pub(super) const DEFAULT: Self =
        Self { period: Duration::from_millis(POLL_MS), timeout: Duration::from_millis(TIMEOUT_MS) };
}

/// `quarantine_ms`, by default ten time-outs and at least 2 s (our own choice).
pub(super) fn quarantine(table: &Table<'_>, pace: Pace) -> LoadResult<Duration> {
    let default = (pace.timeout.micros() / 100).max(2_000);
    let ms = table.find("quarantine_ms").map_or(Ok(default), |node| node.int(100..=600_000))?;
    Ok(Duration::from_millis(ms))
}

/// A channel with its position in its table, before it is assigned to a read.
struct Placed {
    channel: RegisterChannel,
    entity: ModbusTable,
    /// First and last address, flags included.
    first: u16,
    last: u16,
    pace: Pace,
    /// May share its read with others.
    joins: bool,
}

/// Both tables of a Modbus device.
pub(super) fn load_modbus(
    poll: &Table<'_>,
    decode: &Table<'_>,
) -> LoadResult<(RtuSettings, RegistersDecode)> {
    poll.only(&["kind", "unit", "marker", "poll_ms", "timeout_ms", "quarantine_ms", "block_max"])?;
    let unit = poll.need("unit", "unit = 17 (the address of the device on its line)")?.int(1..=247)?;
    let pace = Pace::load(poll, Pace::DEFAULT)?;
    let marker = poll.find("marker");
    let marked = marker.map_or(Ok(true), |node| node.word(&[("diagnostics", true), ("none", false)]))?;
    let block_max = poll
        .find("block_max")
        .map_or(Ok(i64::from(REGISTERS_MAX)), |node| node.int(1..=i64::from(REGISTERS_MAX)))?;
    decode.only(&["kind", "channel"])?;
    let node = decode
        .need("channel", "[[decode.channel]] with entity = \"holding\", address = 0, type = \"u16\"")?;
    let mut placed: Vec<Placed> = Vec::new();
    for table in node.tables("[decode.channel]")? {
        let next = load_channel(&table, pace)?;
        if placed.iter().any(|known| known.channel.number == next.channel.number) {
            return Err(table.error(format_args!(
                "channel {} stands twice; each needs its own number, for example number = 1",
                next.channel.number
            )));
        }
        placed.push(next);
    }
    if placed.is_empty() {
        return Err(node.error("no channel is described"));
    }
    let reads = join(&mut placed, u16::try_from(block_max).unwrap_or(1));
    if reads.len() > REQUESTS_MAX {
        return Err(node.error(format_args!(
            "{} reads are needed, and there may be {REQUESTS_MAX}; leave some channels out, or let them share reads",
            reads.len()
        )));
    }
    let decode = RegistersDecode {
        reads: reads.iter().map(|read| read.block).collect(),
        channels: placed.into_iter().map(|placed| placed.channel).collect(),
    };
    let quarantine = quarantine(poll, pace)?;
    let settings = RtuSettings { unit: u8::try_from(unit).unwrap_or(1), marker: marked, quarantine, reads };
    if let (Some(marker), false, Some((a, b))) = (marker, marked, settings.alike()) {
        let at = |i: usize| settings.reads.get(i).map_or(0, |read| read.block.address);
        return Err(marker.error(format_args!(
            "without marker a late reply could be taken for another: the reads at {} and {} are of one length; let their \
             channels share a read, or read one register more with one of them",
            at(a),
            at(b)
        )));
    }
    Ok((settings, decode))
}

/// Assigns reads to all channels: those of one table and period whose positions adjoin or overlap share one.
fn join(placed: &mut [Placed], block_max: u16) -> Vec<Read> {
    let mut order: Vec<usize> = (0..placed.len()).collect();
    let key = |p: &Placed| (p.entity.function(), p.pace.period, p.pace.timeout, p.first, p.last);
    order.sort_by_key(|i| placed.get(*i).map(key));
    let mut reads: Vec<(Read, bool)> = Vec::new();
    for i in order {
        let Some(next) = placed.get_mut(i) else { continue };
        let shared = reads.last_mut().filter(|(read, open)| {
            let block = read.block;
            let end = u32::from(block.address) + u32::from(block.count);
            let span = u32::from(next.last.max(block.address)) + 1 - u32::from(block.address);
            *open
                && next.joins
                && block.entity == next.entity
                && (read.period, read.timeout) == (next.pace.period, next.pace.timeout)
                && u32::from(next.first) <= end
                && span.max(u32::from(block.count)) <= u32::from(block_max)
        });
        match shared {
            Some((read, _)) => {
                let count = next.last.saturating_sub(read.block.address).saturating_add(1);
                read.block.count = read.block.count.max(count);
            }
            None => {
                let count = next.last.saturating_sub(next.first).saturating_add(1);
                let block = Block { entity: next.entity, address: next.first, count };
                reads
                    .push((Read { block, period: next.pace.period, timeout: next.pace.timeout }, next.joins));
            }
        }
        let index = reads.len().saturating_sub(1);
        let address = reads.last().map_or(0, |(read, _)| read.block.address);
        next.channel.read = index;
        next.channel.at = next.channel.at.saturating_sub(address);
        next.channel.bits.iter_mut().for_each(|(at, _, _)| *at = at.saturating_sub(address));
    }
    reads.into_iter().map(|(read, _)| read).collect()
}

const CHANNEL_KEYS: [&str; 16] = [
    "number",
    "entity",
    "address",
    "type",
    "word_order",
    "byte_order",
    "unit",
    "exponent",
    "divisor",
    "counts",
    "no_value",
    "flags",
    "poll_ms",
    "timeout_ms",
    "join",
    "registers",
];

fn load_channel(table: &Table<'_>, pace: Pace) -> LoadResult<Placed> {
    table.only(&CHANNEL_KEYS)?;
    let number = table.find("number").map_or(Ok(0), |node| node.int(0..=255))?;
    let entity = table.need("entity", "entity = \"holding\" (or \"input\", \"coil\", \"discrete\")")?;
    let entity = entity.word(&ModbusTable::WORDS)?;
    let address_node = table.need("address", "address = 0 (counted from 0)")?;
    let address = u16::try_from(address_node.int(0..=65_535)?).unwrap_or(0);
    let kind_node = table.need("type", "type = \"f32\"")?;
    let kind = kind_node.word(&RegisterType::WORDS)?;
    if entity.is_bits() != (kind == RegisterType::Bit) {
        return Err(kind_node.error("coils and discrete inputs have the type \"bit\", registers any other"));
    }
    let little = |key: &str| match table.find(key) {
        None => Ok(false),
        Some(node) if kind == RegisterType::Bit => Err(node.error("a bit has no order")),
        Some(node) => node.word(&[("big", false), ("little", true)]),
    };
    let unit = unit_word(table.need("unit", "unit = \"uF\"")?)?;
    let last = address.checked_add(kind.count() - 1);
    let last = last.ok_or_else(|| address_node.error("the value runs past the last address, 65535"))?;
    let mut placed = Placed {
        channel: RegisterChannel {
            number: u8::try_from(number).unwrap_or(0),
            read: 0,
            at: address,
            kind,
            low_word_first: little("word_order")?,
            low_byte_first: little("byte_order")?,
            unit,
            scale: load_scale(table, kind)?,
            counts: table.find("counts").map(|node| node.int(1..=i64::from(u32::MAX))).transpose()?,
            no_value: load_no_value(table, kind)?,
            bits: Vec::new(),
        },
        entity,
        first: address,
        last,
        pace: Pace::load(table, pace)?,
        joins: table.find("join").is_none() || table.switch("join")?,
    };
    load_flags(table, &mut placed)?;
    load_more(table, &mut placed)?;
    let most = if entity.is_bits() { BITS_MAX } else { REGISTERS_MAX };
    if placed.last - placed.first >= most {
        return Err(address_node.error(format_args!(
            "value and flags stand {} addresses apart; one read takes {most} at most",
            placed.last - placed.first
        )));
    }
    Ok(placed)
}

fn load_scale(table: &Table<'_>, kind: RegisterType) -> LoadResult<Scale> {
    match (table.find("exponent"), table.find("divisor")) {
        (Some(_), Some(node)) => Err(node.error("a channel has either exponent or divisor")),
        (Some(node), None) => power(node).map(Scale::Exponent),
        (None, Some(node)) if matches!(kind, RegisterType::F32 | RegisterType::Bit) => Err(node
            .error("a divisor goes with whole numbers; write exponent, the power of ten of the last digit")),
        (None, Some(node)) => {
            let divisor = node.int(1..=1_000_000)?;
            Ok(Scale::Divisor(u32::try_from(divisor).unwrap_or(1)))
        }
        (None, None) if kind == RegisterType::Bit => Ok(Scale::Exponent(0)),
        (None, None) => Err(table.error(
            "no exponent: write the power of ten of the last digit, exponent = -2, or of whole numbers \
             how many make one unit, divisor = 8",
        )),
    }
}

fn load_no_value(table: &Table<'_>, kind: RegisterType) -> LoadResult<Vec<i64>> {
    let Some(node) = table.find("no_value") else { return Ok(Vec::new()) };
    let range = match kind {
        RegisterType::U16 => 0..=i64::from(u16::MAX),
        RegisterType::I16 => i64::from(i16::MIN)..=i64::from(i16::MAX),
        RegisterType::U32 => 0..=i64::from(u32::MAX),
        RegisterType::I32 => i64::from(i32::MIN)..=i64::from(i32::MAX),
        RegisterType::F32 | RegisterType::Bit => {
            return Err(node.error("goes with whole numbers; a float says it by itself, as not-a-number"));
        }
    };
    node.list()?.into_iter().map(|node| node.int(range.clone())).collect()
}

/// `hold = "40.3"`: register 40, bit 3; of a table of bits `hold = "40"`. They are read together with the value.
fn load_flags(table: &Table<'_>, placed: &mut Placed) -> LoadResult<()> {
    let Some(table) = table.table("flags")? else { return Ok(()) };
    for entry in table.entries() {
        let meaning = BITS.iter().find(|(known, _)| *known == entry.key).map(|(_, m)| *m);
        let meaning: BitMeaning = meaning.ok_or_else(|| {
            let known = BITS.map(|(known, _)| known);
            entry.error(format_args!("unknown flag {:?}; {}", entry.key, suggest(entry.key, &known)))
        })?;
        for node in entry.value.list().unwrap_or_else(|_| alloc::vec![entry.value]) {
            let (at, bit) = load_bit(node, placed.entity)?;
            if placed.channel.bits.iter().any(|(a, b, _)| (*a, *b) == (at, bit)) {
                return Err(node.error("this bit has a meaning already"));
            }
            placed.first = placed.first.min(at);
            placed.last = placed.last.max(at);
            placed.channel.bits.push((at, bit, meaning));
        }
    }
    Ok(())
}

fn load_bit(node: Node<'_>, entity: ModbusTable) -> LoadResult<(u16, u8)> {
    let text = node.str()?;
    let parsed = if entity.is_bits() {
        text.parse().ok().map(|at| (at, 0))
    } else {
        text.split_once('.')
            .and_then(|(at, bit)| Some((at.parse().ok()?, bit.parse::<u8>().ok().filter(|bit| *bit < 16)?)))
    };
    parsed.ok_or_else(|| {
        let example: String = if entity.is_bits() { "\"40\"".into() } else { "\"40.3\"".into() };
        node.error(format_args!(
            "{text:?} is no bit here; write its address (and bit), for example {example}"
        ))
    })
}

/// `registers = 3`: reads this many from `address` on, to give the read a length of its own.
fn load_more(table: &Table<'_>, placed: &mut Placed) -> LoadResult<()> {
    let Some(node) = table.find("registers") else { return Ok(()) };
    let most = if placed.entity.is_bits() { BITS_MAX } else { REGISTERS_MAX };
    let count = u16::try_from(node.int(1..=i64::from(most))?).unwrap_or(1);
    let last = placed.channel.at.checked_add(count - 1);
    let last = last.ok_or_else(|| node.error("runs past the last address, 65535"))?;
    placed.last = placed.last.max(last);
    Ok(())
}

/// The default silence time, and whether a stated one leaves a device time to reply: three rounds at least.
pub(super) fn silence(node: Option<Node<'_>>, paces: impl Iterator<Item = Pace>) -> LoadResult<Duration> {
    let round = paces.map(|pace| pace.period.micros().saturating_add(pace.timeout.micros()) / 1_000).max();
    let least = round.unwrap_or(0).saturating_mul(3);
    let Some(node) = node else { return Ok(Duration::from_millis(least.clamp(3_000, 3_600_000))) };
    let ms = node.int(50..=3_600_000)?;
    if ms < least.min(3_600_000) {
        return Err(node.error(format_args!(
            "{ms} ms is too short for a device that is asked so seldom; write {least} or more (three times poll_ms and \
             timeout_ms), or ask more often"
        )));
    }
    Ok(Duration::from_millis(ms))
}
