//! How much a reading may come back of the way it has just come: a filter that rings overshoots by a part of its travel.
//! Finds the travel; what part of it counts stands in the spec.

use super::window::Obs;

/// A movement has ended when this part of its travel is left.
const LEFT: f64 = 0.05;

/// Whether the readings go one way but for noise.
pub(super) fn goes_one_way(obs: &[Obs], noise: f64) -> bool {
    let (Some(first), Some(last)) = (obs.first(), obs.last()) else { return true };
    let values = || obs.iter().map(|obs| obs.value);
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    high - low <= libm::fabs(last.value - first.value) + noise
}

/// A step this many times the next is no movement that fades, but the first, partial conversion.
const FIRST_STEP: f64 = 4.0;

/// The travel of the last movement, as long as the readings have not stood for as long as it took: a ring would have come
/// back by then. `noise`: what differs by less has not moved.
pub(super) fn travel(obs: &[Obs], noise: f64) -> f64 {
    // The first conversion saw a part of the contact: it counts only where the next goes on from it as a movement does.
    let value = |at: usize| obs.get(at).map(|obs| obs.value);
    let goes_on = value(0).zip(value(1)).zip(value(2)).is_some_and(|((a, b), c)| {
        (b - a) * (c - b) > 0.0 && libm::fabs(b - a) <= FIRST_STEP * libm::fabs(c - b)
    });
    let obs = if goes_on { obs } else { obs.get(1..).unwrap_or_default() };
    let Some(last) = obs.last() else { return 0.0 };
    let away = |obs: &Obs| libm::fabs(obs.value - last.value);
    let Some(moved) = obs.iter().rposition(|obs| away(obs) > noise) else { return 0.0 };
    let (mut start, mut far) = (moved, 0.0);
    for (at, obs) in obs.iter().enumerate().take(moved + 1).rev() {
        if away(obs) < far - noise {
            break;
        }
        if away(obs) > far {
            (start, far) = (at, away(obs));
        }
    }
    let ended = obs.iter().rposition(|obs| away(obs) > noise.max(LEFT * far)).unwrap_or(moved);
    let (Some(first), Some(end)) = (obs.get(start), obs.get(ended + 1)) else { return far };
    let (took_s, stood_s) = (end.t_s - first.t_s, last.t_s - end.t_s);
    // A hair less, so that equal spacing is not decided by the last bit.
    if stood_s >= 0.99 * took_s { 0.0 } else { far }
}
