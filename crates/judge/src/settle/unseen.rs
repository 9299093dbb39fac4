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
mod tests {
    use quantity::Instant;

    use super::super::{Sample, Settler};
    use super::*;

    fn obs(values: impl Iterator<Item = f64>, every_s: f64) -> Vec<Obs> {
        let at =
            |(i, value): (usize, f64)| Obs { t_s: every_s * i as f64, value, decay: 1.0, bouncing: false };
        values.enumerate().map(at).collect()
    }

    /// Even numbers between -0.5 and 0.5.
    struct Even(u64);

    impl Even {
        fn draw(&mut self) -> f64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        }
    }

    /// What a display with two decimals shows of an approach with a time constant of 6 s, four times a second, with errors that
    /// have a deviation of half a count.
    fn approach(end: f64, left: f64, even: &mut Even) -> impl Iterator<Item = f64> {
        (0..160).map(move |i| {
            let error = 0.005 * (even.draw() + even.draw() + even.draw()) * 2.0;
            let shown = end + left * libm::exp(-0.25 * f64::from(i) / 6.0) + error;
            0.01 * libm::round(100.0 * shown)
        })
    }

    #[test]
    fn what_is_given_out_holds_the_end_of_a_tail_too_slow_to_be_seen() {
        let spec = SettleSpec { conversion_s: Some(0.25), ..SettleSpec::resistance(0.01) };
        let (mut even, mut words, mut missed) = (Even(1), 0, 0);
        for i in 0..400 {
            let end = 5.0 + 0.1 * even.draw();
            let left = if i % 2 == 0 { 0.14 } else { -0.14 } + 0.02 * even.draw();
            let mut settler = Settler::new(spec).unwrap();
            // The standard uncertainty of a meter good to 0.8 % and three counts.
            settler.set_settle_floor(0.040);
            settler.set_thresholds(&[4.921, 5.001, 5.088]);
            let readings = (0_i64..).zip(approach(end, left, &mut even));
            let mut states = readings
                .map(|(i, value)| settler.push(Instant::from_micros(250_000 * i), Sample::value(value)));
            let Some(word) = states.find_map(|state| state.settled().copied()) else { continue };
            words += 1;
            missed += u32::from(!(word.low..=word.high).contains(&end));
        }
        assert!(words >= 390 && missed <= 1, "{missed} of {words}");
    }

    #[test]
    fn a_tail_is_off_by_its_rate_times_the_time_constant_and_one_that_is_seen_hides_nothing() {
        let spec = SettleSpec::resistance(0.01);
        let readings = obs(approach(5.0, -0.12, &mut Even(1)), 0.25);
        let held = |unseen: Unseen| unseen.widen(Interval { low: 4.95, high: 4.95 }, 4.95);
        let unseen = Unseen::of(&readings[..16], &spec, false);
        assert!(held(unseen).high >= 5.0, "{unseen:?}");
        assert!(held(unseen).low <= 4.95 && unseen.tail.low > 4.9, "{unseen:?}");
        let seen = Unseen::of(&readings[..16], &spec, true);
        assert!(seen.tail.is_empty() && seen.flicker > 0.0, "{seen:?}");
        assert!(held(Unseen::of(&readings[..FEWEST - 1], &spec, false)).width() == 0.0);
    }

    #[test]
    fn a_flicker_is_as_wide_as_errors_of_the_longest_time_constant_with_that_scatter() {
        // Errors of the first order with a deviation of 1, which keep exp(-1 / 12) of themselves: 6 s at two readings a second.
        let kept = libm::exp(-1.0 / 12.0);
        let (mut even, mut error) = (Even(1), 0.0);
        let errors = (0..50_000).map(|_| {
            error = kept * error + libm::sqrt(12.0 * (1.0 - kept * kept)) * even.draw();
            error
        });
        let deviation = flicker(&obs(errors, 0.5), &SettleSpec::resistance(0.01));
        assert!((0.98..1.02).contains(&deviation), "{deviation}");
    }
}
