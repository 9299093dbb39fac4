//! How a value that is not at rest is written: as the interval it will settle in, never as a value. Rounds and words;
//! does not decide whether a value is at rest or what its verdict is.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::plain;
use crate::verdict::{JudgementJson, ReadingJson, VerdictJson};

/// Follows the interval: the value still moves, and its figure may come.
const SETTLING: &str = "settling";
/// Follows the end that is known of a value beyond the meter's range.
const OVER_RANGE: &str = "beyond the meter's range";
/// What a display beyond its range shows.
const OVERLOAD: &str = "OL";
/// An end is given at most this many extra digits, so that it stays on its side of a limit.
const FINER_MAX: i32 = 6;

/// The ends of the interval that a verdict rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ends {
    Low,
    High,
    Both,
}

/// A reading that is not at rest, as text: `at least 6.9 A, settling`. `None` for one at rest.
#[must_use]
pub fn words(reading: &ReadingJson) -> Option<String> {
    let unit = plain(&reading.unit);
    if reading.settled {
        return None;
    }
    Some(
        over_range(reading)
            .unwrap_or_else(|| said(reading.at_least, reading.at_most, Ends::Both, &[], &unit)),
    )
}

/// The same for the value of a judgement: only the end that the verdict rests on, if the other changes nothing. A
/// part that fails at 6.9 A and above fails at any current above it, so the upper end would only distract.
pub(crate) fn judged(reading: &ReadingJson, judgement: &JudgementJson) -> String {
    if let Some(words) = over_range(reading) {
        return words;
    }
    let (low, high) = (finite(reading.at_least), finite(reading.at_most));
    let ends = match (judgement.verdict.as_str(), judgement.low, judgement.high) {
        ("fail", _, Some(limit)) if low.is_some_and(|low| low >= limit) => Ends::Low,
        ("fail", Some(limit), _) if high.is_some_and(|high| high <= limit) => Ends::High,
        ("pass", Some(limit), None) if low.is_some_and(|low| low >= limit) => Ends::Low,
        ("pass", None, Some(limit)) if high.is_some_and(|high| high <= limit) => Ends::High,
        _ => Ends::Both,
    };
    let limits: Vec<f64> = [judgement.low, judgement.high].into_iter().flatten().collect();
    said(low, high, ends, &limits, &plain(&judgement.unit))
}

/// The early reading that a judgement is directly about, if there is one.
pub(crate) fn subject<'a>(verdict: &'a VerdictJson, judgement: &JudgementJson) -> Option<&'a ReadingJson> {
    early(verdict).find(|reading| is_about(judgement, reading))
}

/// The name by which a person knows the value of this point: that of the judgement about it, otherwise its own label.
pub(crate) fn name_of(verdict: &VerdictJson, point: &str, label: &str) -> String {
    let reading = verdict.readings.iter().find(|reading| reading.point == point);
    let about = |judged: &&JudgementJson| reading.is_some_and(|reading| is_about(judged, reading));
    verdict.judgements.iter().find(about).map_or(label, |judged| &judged.name).to_owned()
}

/// Whether a judgement is directly about the value of this reading and not about something derived from it.
pub(crate) fn is_about(judgement: &JudgementJson, reading: &ReadingJson) -> bool {
    let unit = reading.unit.split(' ').next().unwrap_or_default();
    let apart = (judgement.value - reading.value).abs();
    unit == judgement.unit && apart <= 1e-7 * reading.value.abs()
}

/// The readings of a verdict that were not at rest when it was given.
pub(crate) fn early(verdict: &VerdictJson) -> impl Iterator<Item = &ReadingJson> {
    verdict.readings.iter().filter(|reading| !reading.settled)
}

/// A value beyond the meter's range: no more is known than the limit that it is past.
fn over_range(reading: &ReadingJson) -> Option<String> {
    let over = !reading.settled && reading.shown == OVERLOAD;
    over.then(|| format!("{OVERLOAD}, {OVER_RANGE}"))
}

fn finite(end: Option<f64>) -> Option<f64> {
    end.filter(|end| end.is_finite())
}

fn said(low: Option<f64>, high: Option<f64>, ends: Ends, limits: &[f64], unit: &str) -> String {
    let (low, high) = (finite(low), finite(high));
    let exponent = step_exponent(low, high);
    let down = low.map(|end| outward(end, exponent, libm::floor, limits));
    let up = high.map(|end| outward(end, exponent, libm::ceil, limits));
    match (down, up, ends) {
        (Some(low), Some(high), Ends::Both) => format!("between {low} and {high} {unit}, {SETTLING}"),
        (Some(low), _, Ends::Low | Ends::Both) | (Some(low), None, Ends::High) => {
            format!("at least {low} {unit}, {SETTLING}")
        }
        (_, Some(high), _) => format!("at most {high} {unit}, {SETTLING}"),
        (None, None, _) => format!("no value yet, {SETTLING}"),
    }
}

/// The power of ten to round the ends to: two digits of the interval's width, so that rounding widens it by at most a
/// tenth per end. With only one end, three digits of that end.
#[allow(clippy::cast_possible_truncation)] // exponents of finite numbers
fn step_exponent(low: Option<f64>, high: Option<f64>) -> i32 {
    let (span, digits) = match (low, high) {
        (Some(low), Some(high)) if high > low => (high - low, 1),
        (Some(end), _) | (None, Some(end)) => (end.abs(), 2),
        (None, None) => (1.0, 1),
    };
    if span > 0.0 { (libm::floor(libm::log10(span)) as i32).saturating_sub(digits) } else { 0 }
}

/// Rounds an end away from the interval, with more digits if it would otherwise pass a limit that the end itself does
/// not.
fn outward(end: f64, exponent: i32, round: fn(f64) -> f64, limits: &[f64]) -> String {
    let at = |exponent: i32| {
        let step = libm::exp10(f64::from(exponent));
        // A hair for ends that are round already: 6.9 / 0.1 is a little above 69.
        let near = libm::round(end / step);
        let steps = if (end / step - near).abs() < 1e-6 { near } else { round(end / step) };
        let decimals = usize::try_from(-exponent).unwrap_or(0);
        format!("{:.decimals$}", steps * step + 0.0)
    };
    let same_side = |text: &str| {
        let stated: f64 = text.parse().unwrap_or(end);
        limits.iter().all(|limit| (stated < *limit) == (end < *limit) && (stated > *limit) == (end > *limit))
    };
    let mut finer = (0..=FINER_MAX).map(|by| at(exponent.saturating_sub(by)));
    finer.find(|text| same_side(text)).unwrap_or_else(|| at(exponent.saturating_sub(FINER_MAX)))
}

#[cfg(test)]
mod tests;
