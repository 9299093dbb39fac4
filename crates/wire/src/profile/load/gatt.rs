//! Loads the decoding of GATT values: which characteristic becomes which channel, and how to read its value. Does not
//! decode.

use alloc::vec::Vec;

use super::LoadResult;
use super::fixed::{CHANNEL_KEYS, Places, load_channel, load_sequence};
use super::table::{Node, Table};
use super::words::unit_word;
use crate::decode::gatt::{
    CharacteristicSelector, Format, GattChannel, GattDecode, InstanceSelector, Statistic,
};
use crate::gatt::{Characteristic, Uuid, text};
use crate::packet::MESSAGE_BYTES_MAX;

/// The most channels of one device, as many as its packets can number.
const CHANNELS_MAX: usize = 256;
/// Keys that select a characteristic and say how to read it.
const KEYS: [&str; 7] = ["service", "characteristic", "instance", "label", "format", "figure", "sequence"];
/// Where fields lie in a value.
const VALUE: Places = Places {
    length: None,
    room: MESSAGE_BYTES_MAX,
    what: "longest message's",
    sync: 0,
    taken: None,
    must: Vec::new(),
    data: 0xFF,
};

/// The `[decode]` table of kind `gatt`. Without channels it accepts whatever describes itself.
pub(super) fn load_decode(table: &Table<'_>) -> LoadResult<GattDecode> {
    table.only(&["kind", "channel"])?;
    let mut channels: Vec<GattChannel> = Vec::new();
    let Some(node) = table.find("channel") else { return Ok(GattDecode { channels }) };
    for table in node.tables("[decode.channel]")? {
        let channel = load(&table)?;
        if channels.iter().any(|known| known.number == channel.number) {
            let message = "a second channel needs its own number, for example number = 1";
            return Err(table
                .find("number")
                .map_or_else(|| table.error(message), |node| node.error(message)));
        }
        let same = |known: &GattChannel| {
            let (known, new) = (&known.named, &channel.named);
            known.characteristic == new.characteristic
                && known.which.same(&new.which)
                && (known.service.is_none() || new.service.is_none() || known.service == new.service)
        };
        if channels.iter().any(same) {
            return Err(table.error(
                "this characteristic is a channel already; say which one is meant: instance = 2, or label = \"...\"",
            ));
        }
        channels.push(channel);
    }
    if channels.is_empty() || channels.len() > CHANNELS_MAX {
        return Err(node.error("a profile has 1 to 256 channels, or no [[decode.channel]] at all"));
    }
    number_the_first(&mut channels);
    Ok(GattDecode { channels })
}

/// A channel with a sibling for the same characteristic is not the sole one but the first.
fn number_the_first(channels: &mut [GattChannel]) {
    let all: Vec<CharacteristicSelector> = channels.iter().map(|channel| channel.named.clone()).collect();
    for channel in channels.iter_mut().filter(|channel| channel.named.which == InstanceSelector::Sole) {
        let beside = |other: &&CharacteristicSelector| {
            other.characteristic == channel.named.characteristic && other.which != InstanceSelector::Sole
        };
        if all.iter().any(|other| beside(&other)) {
            channel.named.which = InstanceSelector::Instance(1);
        }
    }
}

fn load(table: &Table<'_>) -> LoadResult<GattChannel> {
    let known: Vec<&str> = KEYS.iter().chain(&CHANNEL_KEYS).copied().collect();
    table.only(&known)?;
    let number = table.find("number").map_or(Ok(0), |node| node.int(0..=255))?;
    let channel = GattChannel {
        number: u8::try_from(number).unwrap_or(0),
        named: load_named(table)?,
        format: load_format(table)?,
        sequence: table.find("sequence").map(|node| load_sequence(node, &VALUE)).transpose()?,
    };
    validate_described(table, &channel)?;
    Ok(channel)
}

/// The selected characteristic, and which of several with its UUID.
pub(super) fn load_named(table: &Table<'_>) -> LoadResult<CharacteristicSelector> {
    Ok(CharacteristicSelector {
        characteristic: uuid(table.need("characteristic", "characteristic = \"0x2A6E\"")?)?,
        service: table.find("service").map(uuid).transpose()?,
        which: load_which(table)?,
    })
}

fn uuid(node: Node<'_>) -> LoadResult<Uuid> {
    let given = node.str()?;
    Uuid::parse(given).ok_or_else(|| {
        node.error(format_args!(
            "{given:?} is no UUID; write \"0x2A6E\", or all 32 digits with their four hyphens"
        ))
    })
}

fn load_which(table: &Table<'_>) -> LoadResult<InstanceSelector> {
    match (table.find("instance"), table.find("label")) {
        (Some(_), Some(label)) => Err(label.error("say instance or label, not both")),
        (None, Some(node)) => {
            let label = node.str()?;
            match text(label.as_bytes()) {
                Ok(kept) if kept == label => Ok(InstanceSelector::Label(label.into())),
                _ => Err(node.error("a label is what the device says, without blanks around it")),
            }
        }
        (Some(node), None) => Ok(InstanceSelector::Instance(u8::try_from(node.int(1..=255)?).unwrap_or(1))),
        (None, None) => Ok(InstanceSelector::Sole),
    }
}

fn load_format(table: &Table<'_>) -> LoadResult<Format> {
    let words = [("auto", true), ("fields", false)];
    let auto = match table.find("format") {
        Some(node) => node.word(&words)?,
        None => table.find("value").is_none(),
    };
    if !auto {
        if let Some(node) = table.find("figure") {
            return Err(node.error("a figure belongs to format = \"auto\""));
        }
        return load_channel(table, &VALUE).map(Format::Fields);
    }
    for key in ["value", "exponent", "counts", "no_value", "select", "functions", "flags"] {
        if let Some(node) = table.find(key) {
            return Err(
                node.error("belongs to format = \"fields\"; \"auto\" reads the value as it is described")
            );
        }
    }
    Ok(Format::Auto {
        unit: table.find("unit").map(unit_word).transpose()?,
        figure: table.find("figure").map_or(Ok(Statistic::Average), |node| node.word(&Statistic::WORDS))?,
    })
}

/// Rejects what can never be right: a statistic of a characteristic that has none, a unit that the SIG's table
/// contradicts.
fn validate_described(table: &Table<'_>, channel: &GattChannel) -> LoadResult<()> {
    let characteristic = channel.named.characteristic;
    let short = characteristic.short();
    if let (Some(node), false) = (table.find("figure"), matches!(short, Some(0x2AF1 | 0x2B1A))) {
        return Err(node.error("only the statistics of voltage (0x2B1A) and current (0x2AF1) have figures"));
    }
    let Some(unit) = channel.contradicts_table() else { return Ok(()) };
    let name = short.and_then(Characteristic::find).map_or("", |row| row.name);
    let at = table.find("unit").map_or_else(|| table.need("characteristic", ""), Ok)?;
    Err(at.error(format_args!(
        "{characteristic} is {name:?} and has the unit 0x{unit:04X} by definition; this unit is not one of it"
    )))
}
