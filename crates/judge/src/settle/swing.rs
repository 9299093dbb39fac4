//! How much a reading may come back of the way it has just come: a filter that rings overshoots by a part of its travel.
//! Finds the travel; what part of it counts stands in the spec.

use alloc::vec::Vec;

use super::obs::Obs;

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

/// The longest travel of all movements since whose end less time has passed than they took: a ring would have come back by
/// then. `noise`: what differs by less has not moved.
pub(super) fn travel(obs: &[Obs], noise: f64) -> f64 {
    // The first conversion saw a part of the contact: it counts only where the next goes on from it as a movement does.
    let value = |at: usize| obs.get(at).map(|obs| obs.value);
    let goes_on = value(0).zip(value(1)).zip(value(2)).is_some_and(|((a, b), c)| {
        (b - a) * (c - b) > 0.0 && libm::fabs(b - a) <= FIRST_STEP * libm::fabs(c - b)
    });
    let obs = if goes_on { obs } else { obs.get(1..).unwrap_or_default() };
    let Some(last) = obs.last() else { return 0.0 };
    let mut travel: f64 = 0.0;
    for run in runs(obs, noise) {
        let (Some(first), Some(end)) = (run.first(), run.last()) else { continue };
        let far = libm::fabs(end.value - first.value);
        let moves = |obs: &Obs| libm::fabs(obs.value - end.value) > noise.max(LEFT * far);
        // The first reading that stands.
        let Some(stands) = run.iter().rposition(moves).and_then(|at| run.get(at + 1)) else { continue };
        let (took_s, stood_s) = (stands.t_s - first.t_s, last.t_s - stands.t_s);
        // A hair less, so that equal spacing is not decided by the last bit.
        if stood_s < 0.99 * took_s {
            travel = travel.max(far);
        }
    }
    travel
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
