//! What a verdict notes beside its word: digits left out, a drift that the rule accepts, an unknown accuracy. Words only.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::points::settled::{LeftOut, SettledPoint};
use super::points::{Points, signed};
use crate::verdict::PointReading;
use judge::rule::Header;

/// What a verdict says where a meter's accuracy is not known.
pub(super) fn unknown_accuracy(points: &Points) -> Option<String> {
    let unknown = points.all_settled().filter(|settled| !settled.reading.accuracy_known);
    let unknown: Vec<&str> = unknown.map(|settled| settled.reading.label.as_str()).collect();
    (!unknown.is_empty()).then(|| {
        format!(
            "the meter's accuracy is not known for {}: only the rounding of its digits is counted, so the word is surer than the meter",
            unknown.join(", ")
        )
    })
}

/// What a verdict says of a value that was typed with fewer digits than the meter shows.
pub(super) fn digits_left_out(settled: &SettledPoint) -> Option<String> {
    let step = settled.as_shown()?.step;
    let (label, shown, unit) = (&settled.reading.label, settled.reading.shown, settled.reading.display.unit);
    Some(format!(
        "{label}: typed as {shown} {unit}, the meter shows steps of {step} {unit}: the digits left out count as doubt"
    ))
}

/// What a verdict says of a value that was read while it drifted.
pub(super) fn drifts(header: &Header, reading: &PointReading) -> Option<String> {
    let drift = reading.drift.as_ref()?;
    let accepted = header.points.iter().find(|point| point.name == reading.point)?.drift.as_ref()?;
    let rate = signed(drift.per_minute);
    Some(format!(
        "{}: read while it drifts {rate} {} a minute ({}), which the rule accepts: {}",
        reading.label, reading.display.unit, drift.name, accepted.source
    ))
}

/// What a verdict says where the meter's step is not known, and too few digits may be what makes it too coarse.
pub(super) fn digits_perhaps_left_out(settled: &SettledPoint) -> Option<String> {
    if !matches!(settled.left_out, LeftOut::Perhaps) {
        return None;
    }
    let (label, shown, unit) = (&settled.reading.label, settled.reading.shown, settled.reading.display.unit);
    Some(format!(
        "{label}: the counts of the meter are taken at the last digit of {shown} {unit}; if it shows more digits, type them all, zeros too"
    ))
}
