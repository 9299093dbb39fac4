//! The last check: a drawn profile must give what the display showed; and the text of what a stream decodes to. Does not
//! draw profiles.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use core::fmt::Write as _;

use quantity::{Instant, Reading};

use super::{Observation, Recording, load};
use crate::counters::Reason;
use crate::decoder::{Decoder, Item};
use crate::profile::Profile;

/// The first of all reasons, which any device may give, are listed with a count of 0 too.
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

/// Every reading of the recording.
pub(super) fn readings(toml: &str, recording: &Recording) -> Result<Vec<Reading>, String> {
    let profile = load(toml)?;
    let mut decoder = Decoder::new(&profile);
    let mut found = Vec::new();
    for (at, bytes) in recording.chunks() {
        match bytes {
            None => decoder.gap(at),
            Some(bytes) => decoder.bytes(at, bytes, &mut |item| {
                if let Item::Reading(reading) = item {
                    found.push(reading);
                }
            }),
        }
    }
    Ok(found)
}

/// Each observation must be what at least half of the readings of its time say, and one at least.
pub(super) fn reproduces(toml: &str, recording: &Recording, seen: &[Observation]) -> Result<(), String> {
    let all = readings(toml, recording)?;
    for observation in seen {
        let within = |at: Instant| at >= observation.from && at <= observation.to;
        let here: Vec<&Reading> = all.iter().filter(|r| r.channel == 0 && within(r.at)).collect();
        let same = here.iter().filter(|r| observation.shown.is(r)).count();
        if same == 0 || same * 2 < here.len() {
            return Err(format!(
                "the profile drawn from this says {:?} in {same} of {} readings only, so it is not written. Record \
                 again with the display steady, and say all its digits",
                observation.shown.text(),
                here.len()
            ));
        }
    }
    Ok(())
}
