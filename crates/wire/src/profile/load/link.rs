//! The `[link]` table: how a device of this class is usually reached.

use super::table::Table;
use crate::error::ProfileError;
use crate::profile::link::{LinkHints, LinkKind, Parity, StopBits};

pub(super) fn load(table: &Table<'_>) -> Result<LinkHints, ProfileError> {
    table.only(&["kind", "baud", "data_bits", "parity", "stop_bits", "dtr", "rts"])?;
    let kind = table.need("kind", "kind = \"serial\"")?.word(&[("serial", LinkKind::Serial)])?;
    let number = |key: &str, range: core::ops::RangeInclusive<i64>, default: i64| {
        table.find(key).map_or(Ok(default), |node| node.int(range))
    };
    let baud = number("baud", 50..=4_000_000, 9_600)?;
    let data_bits = number("data_bits", 5..=8, 8)?;
    let stop_bits = number("stop_bits", 1..=2, 1)?;
    let words = [("none", Parity::None), ("odd", Parity::Odd), ("even", Parity::Even)];
    let wire = |key: &str| table.find(key).map(|_| table.switch(key)).transpose();
    Ok(LinkHints {
        kind,
        baud: u32::try_from(baud).unwrap_or(9_600),
        data_bits: u8::try_from(data_bits).unwrap_or(8),
        parity: table.find("parity").map_or(Ok(Parity::None), |node| node.word(&words))?,
        stop_bits: if stop_bits == 2 { StopBits::Two } else { StopBits::One },
        dtr: wire("dtr")?,
        rts: wire("rts")?,
    })
}
