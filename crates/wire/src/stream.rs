//! A byte stream in the form of a class's `stream.hex` (bytes with times, and gaps) and the text of what it decodes
//! to, in the form of `expected.txt`. Does not read or write files.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;
use core::fmt::Write as _;

use quantity::{Instant, Reading};

use crate::counters::Reason;
use crate::decoder::{Decoder, Item};
use crate::profile::Profile;

/// The most bytes kept; more are counted as left out.
const RECORDING_BYTES_MAX: usize = 256 * 1024;

/// Bytes as received.
#[derive(Clone, Debug, Default)]
pub struct Recording {
    /// `None` is a gap.
    chunks: Vec<(Instant, Option<Vec<u8>>)>,
    bytes: usize,
    left_out: usize,
}

impl Recording {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Parses the text of a `stream.hex`: bytes as hex, `@ 250` sets the time in ms, `gap` is a gap, `#` starts a
    /// comment.
    ///
    /// # Errors
    /// The number of the first line, from 1, that is none of these.
    pub fn parse_hex(text: &str) -> Result<Self, usize> {
        let (mut recording, mut at) = (Self::new(), Instant::ZERO);
        for (index, line) in text.lines().enumerate() {
            let line = line.split('#').next().unwrap_or_default().trim();
            if let Some(ms) = line.strip_prefix('@') {
                let us = ms.trim().parse::<i64>().ok().and_then(|ms| ms.checked_mul(1000));
                at = us.map(Instant::from_micros).filter(|t| *t >= at).ok_or(index + 1)?;
            } else if line == "gap" {
                recording.gap(at);
            } else {
                let bytes: Option<Vec<u8>> =
                    line.split_whitespace().map(|hex| u8::from_str_radix(hex, 16).ok()).collect();
                recording.push(at, &bytes.ok_or(index + 1)?);
            }
        }
        Ok(recording)
    }

    /// The text that [`Recording::parse_hex`] parses.
    #[must_use]
    pub fn to_hex(&self) -> String {
        let (mut text, mut last) = (String::new(), None);
        for (at, bytes) in self.chunks() {
            let ms = at.micros() / 1000;
            if last != Some(ms) {
                text.push_str(&format!("@ {ms}\n"));
                last = Some(ms);
            }
            match bytes {
                None => text.push_str("gap\n"),
                Some(bytes) => bytes.chunks(32).for_each(|row| {
                    let hex: Vec<String> = row.iter().map(|b| format!("{b:02X}")).collect();
                    text.push_str(&hex.join(" "));
                    text.push('\n');
                }),
            }
        }
        text
    }

    /// Adds bytes that arrived at `at`. Bytes beyond 256 KiB are counted and not kept.
    pub fn push(&mut self, at: Instant, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        if self.bytes + bytes.len() > RECORDING_BYTES_MAX {
            self.left_out = self.left_out.saturating_add(bytes.len());
            return;
        }
        self.bytes += bytes.len();
        self.chunks.push((at, Some(bytes.to_vec())));
    }

    /// Bytes are missing here.
    pub fn gap(&mut self, at: Instant) {
        self.chunks.push((at, None));
    }

    /// Bytes kept.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.bytes
    }

    /// Bytes not kept for lack of room.
    #[must_use]
    pub const fn left_out(&self) -> usize {
        self.left_out
    }

    /// True if there are no bytes.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.bytes == 0
    }

    /// Times of the first and the last bytes.
    #[must_use]
    pub fn span(&self) -> Option<(Instant, Instant)> {
        Some((self.chunks.first()?.0, self.chunks.last()?.0))
    }

    /// Chunks as received; `None` is a gap.
    pub fn chunks(&self) -> impl Iterator<Item = (Instant, Option<&[u8]>)> {
        self.chunks.iter().map(|(at, bytes)| (*at, bytes.as_deref()))
    }
}

/// The first of all reasons, which any device can give, are listed even with a count of 0.
const ALWAYS_LISTED: usize = 7;

/// What a stream decodes to, as `expected.txt` of a class holds it: readings, drops, counters.
#[must_use]
pub fn expected(profile: &Profile, recording: &Recording) -> String {
    let mut decoder = Decoder::new(profile);
    let mut out = String::new();
    let mut failed = 0;
    for (at, bytes) in recording.chunks() {
        match bytes {
            None => {
                decoder.gap(at);
                out.push_str("  gap\n");
            }
            Some(bytes) => decoder.bytes(at, bytes, &mut |item| line(&mut out, item)),
        }
        let times = decoder.counters().drops(Reason::Script);
        if let (true, Some(error)) = (times > failed, decoder.script_error()) {
            let _ = writeln!(out, "  script: {error}");
        }
        failed = times;
    }
    let c = decoder.counters();
    // Writing to a text cannot fail.
    let _ = writeln!(out, "{} bytes, {} frames, {} readings, {} gaps", c.bytes, c.frames, c.readings, c.gaps);
    for (place, reason) in Reason::ALL.into_iter().enumerate() {
        let count = if reason == Reason::Missed { c.missed } else { c.drops(reason) };
        if count > 0 || place < ALWAYS_LISTED {
            let _ = writeln!(out, "{}: {count}", reason.name());
        }
    }
    out
}

fn line(out: &mut String, item: Item) {
    let _ = match item {
        Item::Fault(fault) => writeln!(out, "  dropped: {fault}"),
        Item::Reading(reading) => {
            let Reading { seq, at, channel, flags, .. } = reading;
            let mut text = format!("{seq} at {} ms, channel {channel}: {reading}", at.micros() / 1000);
            let names = [
                (flags.hold, "hold"),
                (flags.low_battery, "low battery"),
                (flags.relative, "relative"),
                (flags.min_max, "min/max"),
            ];
            for (_, name) in names.iter().filter(|(set, _)| *set) {
                text.push_str(", ");
                text.push_str(name);
            }
            match reading.quantity() {
                Some(Ok(quantity)) => writeln!(out, "{text}, u = {:.4}", quantity.standard_uncertainty()),
                Some(Err(error)) => writeln!(out, "{text}, no uncertainty: {error}"),
                None => writeln!(out, "{text}"),
            }
        }
    };
}
