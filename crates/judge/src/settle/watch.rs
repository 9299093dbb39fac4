//! Signs that the model does not hold: a slope that does not fade, digits that stand still where noise was, steps that
//! no approach makes. Pure functions of the readings of one contact; the settler decides what follows.

use super::obs::{Obs, mean};
use super::spec::SettleSpec;

/// Drift is sought in at most this many readings.
pub(super) const DRIFT_READINGS: usize = 96;
/// A difference counts as a trend from this many standard errors on.
const TREND_ERRORS: f64 = 4.5;
/// The noise of an earlier stretch is estimated from at most this many steps.
const NOISE_STEPS: usize = 24;
/// A step beyond what came before by this many noise standard deviations is not noise.
const JUMP_SDS: f64 = 8.0;

/// The rate a second at which the last readings climb or fall steadily, if that is faster than the spec calls still, over a
/// time in which any allowed approach would have faded.
///
/// Thirds of a stretch of at least three time constants: an approach leaves the second difference of means at most
/// `exp(-lag / tau_max)` of the first.
pub(super) fn drifting(obs: &[Obs], spec: &SettleSpec, scatter: f64) -> Option<f64> {
    let recent = tail(obs, DRIFT_READINGS);
    let third = recent.len() / 3;
    if third < 3 {
        return None;
    }
    let recent = tail(recent, 3 * third);
    let mut means = [(0.0, 0.0); 3];
    for (slot, block) in means.iter_mut().zip(recent.chunks_exact(third)) {
        *slot = mean(block);
    }
    let [(t0, y0), (t1, y1), (t2, y2)] = means;
    if t2 - t0 < 2.0 * spec.tau_max_s {
        return None;
    }
    let (first, second) = (y1 - y0, y2 - y1);
    let fade = libm::exp(-(t2 - t1) / spec.tau_max_s);
    let error = scatter * libm::sqrt(2.0 / third as f64);
    let beyond = libm::fabs(second) - fade * libm::fabs(first);
    let drifts = first * second > 0.0
        && beyond > TREND_ERRORS * error + 0.5 * spec.resolution
        && libm::fabs(second) - TREND_ERRORS * error > spec.drift_per_s * (t2 - t1);
    drifts.then(|| second / (t2 - t1))
}

/// How many readings at the end show the very same number.
pub(super) fn equal_run(obs: &[Obs]) -> usize {
    let Some(last) = obs.last() else { return 0 };
    #[allow(clippy::float_cmp)] // the question is whether the digits repeat, not whether the values are near
    obs.iter().rev().take_while(|o| o.value == last.value).count()
}

/// Whether the run of equal readings at the end is too long for the noise seen before it, at the given risk.
///
/// Evidence of noise is a negative product of neighbouring steps: independent noise gives minus its variance on average,
/// an approach or a drift only positive products. A display that toggles between two digits gives at most one step
/// squared, which is taken off, so quiet digits are never called frozen on this ground.
pub(super) fn frozen_by_noise(obs: &[Obs], spec: &SettleSpec, run: usize) -> bool {
    let Some(before) = obs.len().checked_sub(run).and_then(|end| obs.get(..end)) else { return false };
    let before = tail(before, NOISE_STEPS + 1);
    if run < 6 || before.len() < 9 {
        return false;
    }
    let steps = || before.iter().zip(before.iter().skip(1)).map(|(a, b)| b.value - a.value);
    // A jump between two products must not pose as noise: no product counts for more than the median size would.
    let cap = {
        let mut sizes: alloc::vec::Vec<f64> = steps().map(libm::fabs).collect();
        sizes.sort_by(f64::total_cmp);
        sizes.get(sizes.len() / 2).copied().unwrap_or(0.0) * 2.0
    };
    let clipped = |v: f64| v.clamp(-cap, cap);
    let products = steps().zip(steps().skip(1)).map(|(a, b)| clipped(a) * clipped(b));
    let mean = products.sum::<f64>() / (before.len() - 2) as f64;
    let sd = 0.7 * (libm::sqrt((-mean).max(0.0)) / spec.resolution - 1.0);
    if sd <= 0.0 {
        return false;
    }
    // The likeliest single digit under Gaussian noise of this size.
    let same = libm::erf(core::f64::consts::FRAC_1_SQRT_2 / (2.0 * sd));
    let log_chance = (run - 1) as f64 * libm::log(same);
    log_chance < libm::log(spec.risk * 0.1)
}

/// A step of this many noise ceilings breaks a contact.
const BREAK_SDS: f64 = 10.0;
/// The same for a step that goes on as an approach would.
const BREAK_FADING_SDS: f64 = 25.0;
/// A second step smaller than this part of the first looks like a jump and a stop.
const FADE_MIN: f64 = 0.2;

/// How a new value stands to the last readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// As an approach or noise would have it.
    Fair,
    /// Too far, in the direction the reading was moving: not an approach that fades.
    Runs,
    /// Too far, against it or out of rest.
    Jumps,
}

/// Judges the step to `value` against the two steps before it and the scatter.
pub(super) fn step_to(obs: &[Obs], value: f64, spec: &SettleSpec, scatter: f64) -> Step {
    let mut recent = obs.iter().rev().map(|o| o.value);
    let (Some(a), Some(b), Some(c)) = (recent.next(), recent.next(), recent.next()) else {
        return Step::Fair;
    };
    let (step, last, before) = (value - a, a - b, b - c);
    let ceiling = if spec.noise_ceiling.is_finite() { spec.noise_ceiling } else { 0.0 };
    let reach = JUMP_SDS * scatter.max(ceiling);
    if libm::fabs(step) <= libm::fabs(last).max(libm::fabs(before)) + reach {
        Step::Fair
    } else if step * last > 0.0 && libm::fabs(last) > reach {
        Step::Runs
    } else {
        Step::Jumps
    }
}

/// Whether a step breaks a contact in two: no window reaches across a break. Windows left out can only widen the interval,
/// so this costs readings, never risk. It keeps a bounce from posing as the early part of an approach.
pub(super) fn breaks(step: f64, fading: bool, spec: &SettleSpec) -> bool {
    libm::fabs(step) > spec.noise_ceiling * if fading { BREAK_FADING_SDS } else { BREAK_SDS }
}

/// Whether the last two steps go the same way and the second is smaller, but not by so much that the reading has rather
/// jumped and stopped (which two readings of a bounce do too).
pub(super) fn fading(obs: &[Obs]) -> bool {
    let mut recent = obs.iter().rev().map(|o| o.value);
    let (Some(a), Some(b), Some(c)) = (recent.next(), recent.next(), recent.next()) else { return false };
    let ratio = (a - b) / (b - c);
    (FADE_MIN..=1.0).contains(&ratio)
}

/// Whether the last readings rise step by step by more than noise.
pub(super) fn climbing(obs: &[Obs], scatter: f64) -> bool {
    let last = tail(obs, 3);
    last.len() >= 2 && last.iter().zip(last.iter().skip(1)).all(|(a, b)| b.value - a.value > 3.0 * scatter)
}

/// The last `n` items.
pub(super) fn tail<T>(items: &[T], n: usize) -> &[T] {
    items.get(items.len().saturating_sub(n)..).unwrap_or(items)
}

#[cfg(test)]
mod tests;
