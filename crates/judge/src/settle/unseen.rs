//! What is too slow for the newest readings to show: the foot of an approach, and a flicker whose errors hang together. It widens the
//! interval that is given out; no look rests on it.
//!
//! **A tail.** What is left of an exponential approach is its rate times its time constant. So the mean of a window lies off the settled
//! value by no more than the fastest rate that the window does not rule out, times the longest time constant of the spec: the
//! slope of the least squares and as many of its standard errors as the risk asks for, to each side. Each window says so by itself,
//! and the narrowest counts. Where a movement is seen, `tempo` says how slowly it fades, and nothing is left to hide.
//!
//! **A flicker.** Errors of the first order that keep a part `k` of themselves from reading to reading, and have the deviation `s`,
//! scatter by `s sqrt((1 - k) (3 - k) / 3)` from reading to reading, in second differences. Independent errors have `k = 0`. The more
//! of them is kept the less is seen, so `k` is taken at its most: that of the longest time constant.

use alloc::vec::Vec;

use super::interval::Interval;
use super::obs::{Obs, mean};
use super::quantile::normal_upper;
use super::spec::SettleSpec;
use super::tempo::quick_scatter;
use super::watch::tail;

/// Fewer readings do not tell their own scatter; the looks at them take the noise at its ceiling, and reach farther by themselves.
/// As many as a look needs to tell a slope from scatter (`window`).
const FEWEST: usize = 7;
/// A flicker is taken from so many newest readings.
const FLICKER_READINGS: usize = 16;
/// The middle one of absolute normal errors, in standard deviations.
const MEDIAN: f64 = 0.674_49;
/// Windows that may hide a tail.
const LENGTHS: [usize; 9] = [FEWEST, 12, 16, 24, 32, 48, 64, 96, 128];

/// What may be hidden.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unseen {
    /// Where a tail may still lead.
    tail: Interval,
    /// How far a flicker may hold all of the newest readings away from the settled value.
    flicker: f64,
}

impl Unseen {
    pub(super) const NOTHING: Self =
        Self { tail: Interval { low: f64::INFINITY, high: f64::NEG_INFINITY }, flicker: 0.0 };

    /// Of the readings since the last break; `moves`: they are seen to.
    pub(super) fn of(obs: &[Obs], spec: &SettleSpec, moves: bool) -> Self {
        if obs.len() < FEWEST {
            return Self::NOTHING;
        }
        let reach = normal_upper(0.5 * spec.risk);
        let flicker = reach * flicker(tail(obs, FLICKER_READINGS), spec);
        if moves {
            return Self { flicker, ..Self::NOTHING };
        }
        let mut narrowest = Interval::UNKNOWN;
        for length in LENGTHS.into_iter().take_while(|length| *length <= obs.len()) {
            let (level, off) = tail_of(tail(obs, length), reach, spec);
            narrowest.low = narrowest.low.max(level + off.low);
            narrowest.high = narrowest.high.min(level + off.high);
        }
        Self { tail: narrowest, flicker }
    }

    /// The interval, so wide that it leaves room for these; `level` is where the newest readings stand.
    pub(super) fn widen(self, interval: Interval, level: f64) -> Interval {
        Interval {
            low: interval.low.min(self.tail.low).min(level - self.flicker),
            high: interval.high.max(self.tail.high).max(level + self.flicker),
        }
    }
}

/// The mean of a window, and how far off it the end of a tail may lie.
fn tail_of(window: &[Obs], reach: f64, spec: &SettleSpec) -> (f64, Interval) {
    let (t_s, level) = mean(window);
    let (mut sty, mut stt) = (0.0, 0.0);
    for obs in window {
        let (dt, dy) = (obs.t_s - t_s, obs.value - level);
        sty += dt * dy;
        stt += dt * dt;
    }
    let noise = reach * quick_scatter(window).max(spec.noise_floor);
    let (rate, doubt) = (sty / stt, noise / libm::sqrt(stt));
    let level_doubt = noise / libm::sqrt(window.len() as f64);
    let off = Interval {
        low: spec.tau_max_s * (rate - doubt).min(0.0) - level_doubt,
        high: spec.tau_max_s * (rate + doubt).max(0.0) + level_doubt,
    };
    (level, off)
}

/// The deviation of the slowest flicker that makes the scatter of these readings.
fn flicker(obs: &[Obs], spec: &SettleSpec) -> f64 {
    let (Some(first), Some(last)) = (obs.first(), obs.last()) else { return 0.0 };
    let between_s = (last.t_s - first.t_s) / (obs.len() - 1) as f64;
    let kept = libm::exp(-between_s / spec.tau_max_s);
    let scatter = quick_scatter(obs).min(typical_scatter(obs).max(spec.noise_floor));
    scatter * libm::sqrt(3.0 / ((1.0 - kept) * (3.0 - kept)))
}

/// The same as [`quick_scatter`], from the middle one of the second differences: an approach that has just ended and single jumps
/// make a few large ones, and are no flicker.
fn typical_scatter(obs: &[Obs]) -> f64 {
    let values = || obs.iter().map(|obs| obs.value);
    let triples = values().zip(values().skip(1)).zip(values().skip(2));
    let mut bends: Vec<f64> = triples.map(|((a, b), c)| libm::fabs(a - 2.0 * b + c)).collect();
    bends.sort_by(f64::total_cmp);
    let middle = bends.get(bends.len() / 2).copied().unwrap_or(0.0);
    middle / (MEDIAN * libm::sqrt(6.0))
}

#[cfg(test)]
mod tests;
