//! Loads the queries for a SCPI instrument: `[poll]` of kind `scpi` and `[decode]` of kind `scpi`, from which the
//! queries are derived. Sends and decodes nothing.

use alloc::string::String;
use alloc::vec::Vec;

use super::LoadResult;
use super::fixed::power;
use super::poll::{Pace, REQUESTS_MAX, quarantine};
use super::table::{Node, Table};
use super::words::unit_word;
use crate::decode::scpi::{ScpiChannel, ScpiDecode};
use crate::poll::scpi::{IDENTIFY, QUERY_BYTES_MAX, Query, ScpiSettings};

/// The most numbers in one reply.
const PARTS_MAX: usize = 32;

/// Both tables.
pub(super) fn load(poll: &Table<'_>, decode: &Table<'_>) -> LoadResult<(ScpiSettings, ScpiDecode)> {
    poll.only(&["kind", "init", "marker", "poll_ms", "timeout_ms", "quarantine_ms"])?;
    let pace = Pace::load(poll, Pace::DEFAULT)?;
    let marker = poll.find("marker").map_or(Ok("SYST:ERR?"), marker)?;
    let init = match poll.find("init") {
        Some(node) => {
            node.list()?.into_iter().map(|node| line(node).map(String::from)).collect::<LoadResult<_>>()?
        }
        None => Vec::new(),
    };
    decode.only(&["kind", "channel"])?;
    let node = decode.need("channel", "[[decode.channel]] with query = \"MEAS:CAP?\", unit = \"uF\"")?;
    let mut queries: Vec<Query> = Vec::new();
    let mut channels: Vec<ScpiChannel> = Vec::new();
    for table in node.tables("[decode.channel]")? {
        let channel = load_channel(&table, pace, marker, &mut queries)?;
        if channels.iter().any(|known| known.number == channel.number) {
            return Err(table.error(format_args!(
                "channel {} stands twice; each needs its own number, for example number = 1",
                channel.number
            )));
        }
        channels.push(channel);
    }
    if channels.is_empty() || queries.len() > REQUESTS_MAX {
        return Err(node.error(format_args!("there may be 1 to {REQUESTS_MAX} queries")));
    }
    let texts = queries.iter().map(|query| (query.text.clone(), query.parts)).collect();
    let quarantine = quarantine(poll, pace)?;
    let settings = ScpiSettings { init, marker: marker.into(), timeout: pace.timeout, quarantine, queries };
    Ok((settings, ScpiDecode { queries: texts, channels }))
}

fn load_channel(
    table: &Table<'_>,
    pace: Pace,
    marker: &str,
    queries: &mut Vec<Query>,
) -> LoadResult<ScpiChannel> {
    table.only(&[
        "number",
        "query",
        "part",
        "parts",
        "unit",
        "scale",
        "exponent",
        "poll_ms",
        "timeout_ms",
    ])?;
    let number = table.find("number").map_or(Ok(0), |node| node.int(0..=255))?;
    let node = table.need("query", "query = \"MEAS:CAP?\"")?;
    let text = query(node)?;
    if text == marker {
        return Err(node.error("this is the marker, whose answers are no readings"));
    }
    let part = table.find("part").map_or(Ok(0), |node| node.size(0, PARTS_MAX - 1))?;
    let stated = table.find("parts").map(|node| node.size(part + 1, PARTS_MAX)).transpose()?;
    let pace = Pace::load(table, pace)?;
    let query = match queries.iter().position(|known| known.text == text) {
        Some(index) => index,
        None => {
            queries.push(Query { text: text.into(), parts: 1, period: pace.period, timeout: pace.timeout });
            queries.len() - 1
        }
    };
    if let Some(known) = queries.get_mut(query) {
        if (known.period, known.timeout) != (pace.period, pace.timeout) {
            return Err(node.error("this query is sent already, at another pace; one query has one pace"));
        }
        known.parts = known.parts.max(part + 1).max(stated.unwrap_or(1));
    }
    Ok(ScpiChannel {
        number: u8::try_from(number).unwrap_or(0),
        query,
        part,
        unit: unit_word(table.need("unit", "unit = \"uF\"")?)?,
        scale: table.find("scale").map_or(Ok(0), power)?,
        exponent: table.find("exponent").map(power).transpose()?,
    })
}

/// A line to an instrument: printable ASCII.
fn line(node: Node<'_>) -> LoadResult<&str> {
    let text = node.str()?;
    let plain = text.chars().all(|c| c.is_ascii_graphic() || c == ' ');
    if text.trim().is_empty() || text.trim() != text || text.len() > QUERY_BYTES_MAX || !plain {
        return Err(node.error(format_args!(
            "must be 1 to {QUERY_BYTES_MAX} letters and signs of ASCII, without spaces around them; the line feed is added"
        )));
    }
    Ok(text)
}

/// The query after any fault: an error queue by any of its names, or the identity.
fn marker(node: Node<'_>) -> LoadResult<&str> {
    let text = query(node)?;
    if text == IDENTIFY || text.to_ascii_uppercase().contains("ERR") {
        return Ok(text);
    }
    Err(node.error(format_args!(
        "its answer must look like no reading: write \"SYST:ERR?\", or {IDENTIFY:?} for an instrument without error queue"
    )))
}

/// One query, for one reply.
fn query(node: Node<'_>) -> LoadResult<&str> {
    let text = line(node)?;
    if !text.contains('?') {
        return Err(node.error("no question mark: a query has one, for example \"MEAS:CAP?\""));
    }
    if text.contains(';') {
        return Err(node.error("one query at a time: write each in a channel of its own"));
    }
    Ok(text)
}
