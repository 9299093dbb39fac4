//! How much a reading may come back of the way it has just come: a filter that rings overshoots by a part of its travel.
//! Finds the travel; what part of it counts stands in the spec.

use alloc::vec::Vec;

use super::obs::Obs;
use super::spec::SettleSpec;
use super::tempo::quick_scatter;

/// A movement has ended when this part of its travel is left.
const LEFT: f64 = 0.02;

/// Whether the readings go one way but for noise.
pub(super) fn goes_one_way(obs: &[Obs], noise: f64) -> bool {
    let (Some(first), Some(last)) = (obs.first(), obs.last()) else { return true };
    let values = || obs.iter().map(|obs| obs.value);
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    high - low <= libm::fabs(last.value - first.value) + noise
}

/// A step this many times the next is no movement that fades, but the first, partial conversion.
const FIRST_STEP: f64 = 20.0;

/// Out of rest a reading goes by jumps, which no approach does; the first is at least this part of the way.
const JUMP_PART: f64 = 0.5;
/// So many readings stand after a jump before it is believed. No three conversions that are off agree.
const STAND_MIN: usize = 3;

/// So many readings tell their own noise.
const TOLD_BY: usize = 5;
/// Readings that differ by no more than this many standard deviations stand.
const STAND_SDS: f64 = 3.0;

/// The farthest way back of all movements since whose end less time has passed than they took: a ring would have come back by
/// then. A ring comes back by [`SettleSpec::rebound`] of its travel; what jumped out of rest was perhaps off, and comes back all the way.
/// `noise`: what differs by less has not moved.
pub(super) fn way_back(obs: &[Obs], noise: f64, spec: &SettleSpec) -> f64 {
    // The first conversion saw a part of the contact: it counts only where the next goes on from it as a movement does.
    let value = |at: usize| obs.get(at).map(|obs| obs.value);
    let goes_on = value(0).zip(value(1)).zip(value(2)).is_some_and(|((a, b), c)| {
        (b - a) * (c - b) > 0.0 && libm::fabs(b - a) <= FIRST_STEP * libm::fabs(c - b)
    });
    let stood_first = value(0).zip(value(1)).is_some_and(|(a, b)| libm::fabs(b - a) <= noise);
    let obs = if goes_on || stood_first { obs } else { obs.get(1..).unwrap_or_default() };
    let Some(last) = obs.last() else { return 0.0 };
    let mut back: f64 = 0.0;
    let mut end_at = 0;
    for run in runs(obs, noise) {
        let begin_at = end_at;
        end_at = begin_at + run.len().saturating_sub(1);
        let (Some(first), Some(end)) = (run.first(), run.last()) else { continue };
        let far = libm::fabs(end.value - first.value);
        if far <= noise {
            continue;
        }
        // The first reading that stands.
        let stands_at = stands_from(run, LEFT * far, spec);
        let Some(stands) = run.get(stands_at) else { continue };
        // The last that has not gone from the first.
        let gone = |obs: &Obs| libm::fabs(obs.value - first.value) > noise.max(LEFT * far);
        let left = run.iter().position(gone).map_or(0, |at| at.saturating_sub(1));
        let Some(leaves) = run.get(left) else { continue };
        let jump = |next: &Obs| libm::fabs(next.value - leaves.value) >= JUMP_PART * far;
        let out_of_rest = left >= 1 && run.get(left + 1).is_some_and(jump);
        // What goes gently may have gone since the first, before it shows beyond the noise.
        let from = if out_of_rest { leaves } else { first };
        let (took_s, stood_s) = (stands.t_s - from.t_s, last.t_s - stands.t_s);
        // A hair less, so that equal spacing is not decided by the last bit.
        let may_come_back = stood_s < 0.99 * took_s;
        if out_of_rest && (may_come_back || obs.len() - (begin_at + stands_at) < STAND_MIN) {
            back = back.max(far);
        } else if may_come_back {
            back = back.max(spec.rebound * far);
        }
    }
    back
}

/// The first of the readings at the end that differ from the last by no more than `left`, or than their own noise. Noise is what they
/// show of it where there are enough of them to tell; else no more than the least that is believed in, since the top of a ring
/// looks like a few noisy readings.
fn stands_from(run: &[Obs], left: f64, spec: &SettleSpec) -> usize {
    let Some(end) = run.last() else { return 0 };
    let (mut from, mut off) = (run.len() - 1, 0.0_f64);
    for (at, obs) in run.iter().enumerate().rev() {
        off = off.max(libm::fabs(obs.value - end.value));
        let stand = run.get(at..).unwrap_or_default();
        let shown = if stand.len() >= TOLD_BY { quick_scatter(stand).min(spec.noise_ceiling) } else { 0.0 };
        if off <= left.max(STAND_SDS * shown.max(spec.noise_floor) + spec.resolution) {
            from = at;
        } else if stand.len() >= TOLD_BY {
            break;
        }
    }
    from
}

/// The readings cut at their turning points; a turn by less than the noise is none. Neighbours share the turning point.
fn runs(obs: &[Obs], noise: f64) -> Vec<&[Obs]> {
    let mut runs = Vec::new();
    let (mut from, mut low, mut high) = (0, 0, 0);
    let value = |at: usize| obs.get(at).map_or(0.0, |obs| obs.value);
    for at in 1..obs.len() {
        if value(at) < value(low) {
            low = at;
        }
        if value(at) > value(high) {
            high = at;
        }
        let turned = if low < high && value(high) - value(at) > noise && value(high) - value(low) > noise {
            Some(high)
        } else if high < low && value(at) - value(low) > noise && value(high) - value(low) > noise {
            Some(low)
        } else {
            None
        };
        if let Some(turn) = turned {
            runs.extend(obs.get(from..=turn));
            from = turn;
            // From the turning point to here it goes one way.
            (low, high) = if value(at) < value(turn) { (at, turn) } else { (turn, at) };
        }
    }
    runs.extend(obs.get(from..));
    runs
}

#[cfg(test)]
mod tests;
