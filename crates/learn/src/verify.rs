//! The final verification: a learned profile must reproduce what the display showed. Does not make profiles.

use quantity::{Instant, Reading};

use crate::{Observation, load};
use wire::stream::Recording;
use wire::{Decoder, Item};

/// Every reading of the recording.
pub(crate) fn readings(toml: &str, recording: &Recording) -> Result<Vec<Reading>, String> {
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

/// Each observation must match at least half of the readings of its time, and at least one.
pub(crate) fn reproduces(toml: &str, recording: &Recording, seen: &[Observation]) -> Result<(), String> {
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
