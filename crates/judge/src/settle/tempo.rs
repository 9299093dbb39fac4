//! How fast the newest readings move, and how slowly an approach may fade that moves so. The model is tested here by the
//! stream: three neighbouring blocks of equal count, over spans of several lengths, all of which end with the newest reading.
//! Knows no limits and draws no interval.
//!
//! Of an exponential approach the steps between neighbouring blocks stand as `exp(-time between / tau)`. Where the later
//! step is seen, the earlier is taken at its least and the later at its most: that gives the longest time constant which the
//! blocks allow. The longest over all spans counts: a slow part that hides under a fast one shows on the short spans, a drift
//! on the long ones.

use super::obs::{Obs, mean};
use super::spec::SettleSpec;
use super::watch::tail;

/// Readings a block. Three blocks tell how it fades; the first few readings only that it moves.
const BLOCKS: [usize; 6] = [1, 2, 4, 8, 16, 32];
/// While there are not enough readings for three of the next longer blocks yet.
const BETWEEN: [usize; 3] = [3, 6, 12];
/// A step between blocks is seen as movement from this many standard errors on.
const SEEN_SDS: f64 = 3.0;
/// Noise reaches this many standard deviations, taken from so many readings.
const NOISE_SDS: f64 = 3.0;
const NOISE_READINGS: usize = 12;
/// Where a movement does not tell how slowly it fades, it may be slower than the longest time constant by this factor.
const UNTOLD: f64 = 4.0;
/// Real approaches are not exactly exponential, and blocks are not points: what the blocks allow is taken this much longer.
const MARGIN: f64 = 1.25;
/// A fade slower than the longest time constant is told from this many standard errors on.
const SLOW_SDS: f64 = 3.0;

/// What the newest readings do.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tempo {
    /// The longest time constant that counts now: the spec's shorter one while nothing is seen to move.
    pub(super) tau_s: f64,
    /// The rate a second, where it fades more slowly than the longest time constant of all allows.
    pub(super) slope: Option<f64>,
    /// The rate a second at which the newest readings are seen to move, on the shortest span that shows it.
    pub(super) rate: Option<f64>,
    /// Readings that differ by less have not moved.
    pub(super) noise: f64,
}

impl Tempo {
    pub(super) fn of(obs: &[Obs], spec: &SettleSpec) -> Self {
        let noise = NOISE_SDS * quick_scatter(tail(obs, NOISE_READINGS)) + spec.resolution;
        let mut tempo = Self {
            tau_s: spec.tau_s,
            slope: None,
            rate: None,
            noise: noise.min(NOISE_SDS * spec.noise_ceiling),
        };
        for block in BLOCKS {
            if 3 * block <= obs.len() || block <= 2 && 2 * block <= obs.len() {
                tempo.look(tail(obs, 3 * block), block, spec);
            }
        }
        for block in BETWEEN {
            if (3 * block..4 * block).contains(&obs.len()) {
                tempo.look(tail(obs, 3 * block), block, spec);
            }
        }
        tempo
    }

    fn look(&mut self, obs: &[Obs], block: usize, spec: &SettleSpec) {
        let sd = quick_scatter(obs).max(spec.noise_floor);
        let seen = SEEN_SDS * sd * libm::sqrt(2.0 / block as f64);
        let mut blocks = obs.rchunks(block).map(mean);
        let (Some((t2, y2)), Some((t1, y1))) = (blocks.next(), blocks.next()) else { return };
        let second = y2 - y1;
        if libm::fabs(second) <= seen {
            return;
        }
        let _ = self.rate.get_or_insert(second / (t2 - t1));
        // Seen to move, and nothing before to compare with.
        let before = blocks.next().filter(|_| obs.len() == 3 * block);
        let Some((t0, y0)) = before else { return self.tau_s = UNTOLD * spec.tau_max_s };
        let first = y1 - y0;
        let doubt = seen + 0.5 * spec.resolution;
        let least = (libm::fabs(first) - doubt) / (t1 - t0);
        let most = (libm::fabs(second) + doubt) / (t2 - t1);
        let between_s = 0.5 * (t2 - t0);
        let tau_s = if first * second > 0.0 && least > most {
            MARGIN * between_s / libm::log(least / most)
        } else {
            UNTOLD * spec.tau_max_s
        };
        self.tau_s = self.tau_s.max(tau_s).min(UNTOLD * spec.tau_max_s);
        let (before, now) = (first / (t1 - t0), second / (t2 - t1));
        let fade = libm::exp(-between_s / spec.tau_max_s);
        let error = (SLOW_SDS * sd * libm::sqrt(6.0 / block as f64) + 0.5 * spec.resolution) / (t2 - t1);
        let slow = now * before > 0.0 && libm::fabs(now) > fade * libm::fabs(before) + error;
        if slow && self.slope.is_none_or(|rate| libm::fabs(now) > libm::fabs(rate)) {
            self.slope = Some(now);
        }
    }
}

/// Scatter from second differences: a slope leaves no trace in it, and an approach only where it is quick.
pub(super) fn quick_scatter(obs: &[Obs]) -> f64 {
    let values = || obs.iter().map(|obs| obs.value);
    let bends = values().zip(values().skip(1)).zip(values().skip(2)).map(|((a, b), c)| a - 2.0 * b + c);
    let (sum, n) = bends.fold((0.0, 0.0), |(sum, n), bend| (sum + bend * bend, n + 1.0));
    if n > 0.0 { libm::sqrt(sum / (6.0 * n)) } else { 0.0 }
}

#[cfg(test)]
mod tests;
