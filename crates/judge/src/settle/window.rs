//! One look: from a window of readings to an interval for the settled value, at a given tail probability. Pure
//! arithmetic; holds no state and decides nothing. The reasoning is in the module text of `settle`.

use super::budget::Part;
use super::obs::Obs;
use super::quantile::{chi_squared_upper, normal_upper, student_upper};
use super::spec::{STEP_SD, SettleSpec};
use super::swing::goes_one_way;
use super::tempo::quick_scatter;

/// A window whose scatter is less likely under the noise ceiling than 1 in 1,000 (this normal quantile) does not use it.
const CEILING_DOUBT_SDS: f64 = 3.090_232;
/// A step between blocks is seen as movement from this many standard errors on.
const SEEN_SDS: f64 = 3.5;
/// Errors that hang together reach this many of their standard deviations, and show from so many readings on.
const WANDER_SDS: f64 = 4.0;
const WANDER_READINGS: f64 = 5.0;
/// Independent errors scatter up to this many times more over a window than from reading to reading, by chance.
const TOGETHER: f64 = 1.2;
/// From this many degrees of freedom on, the observed scatter can serve beside the ceiling.
const SCATTER_DOF_MIN: f64 = 3.5;

/// What is known of the stream beyond one window.
#[derive(Clone, Copy, Debug)]
pub(super) struct StreamFacts {
    /// The window's scatter is an approach's, so it is no evidence against the noise ceiling.
    pub(super) fading: bool,
    /// How far errors that hang together may hold the readings away from the settled value.
    pub(super) wander: f64,
    /// How far the value may come back of the way it has just come.
    pub(super) rebound: f64,
    /// How far a slope that does not fade as assumed may still lead, with its sign.
    pub(super) ahead: f64,
}

/// What one look says.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    pub(super) low: f64,
    pub(super) high: f64,
    /// Mean of the late block.
    pub(super) level: f64,
    /// Where the approach would end if it were half as slow as allowed; a guess.
    pub(super) estimate: f64,
    /// Standard uncertainty of the level as a measure of the settled value.
    pub(super) standard_uncertainty: f64,
    /// Scatter of one reading, at least the noise floor.
    pub(super) scatter: f64,
    /// The late block differs from the early one by more than noise.
    pub(super) moving: bool,
}

impl Bounds {
    pub(super) fn width(&self) -> f64 {
        self.high - self.low
    }
}

/// An early block of `early` readings and a late block of the rest; `gain` is the largest possible ratio of what is left
/// of the approach in the late block to the step between the blocks; `spread` scales the noise of the far end.
#[derive(Clone, Copy, Debug)]
struct Split {
    early: f64,
    late: f64,
    gain: f64,
    spread: f64,
}

/// Residual scatter with its degrees of freedom.
#[derive(Clone, Copy, Debug)]
struct Scatter {
    sd: f64,
    dof: f64,
}

/// [`look`] at all readings of a window or at its first and last.
pub(super) fn look_at(
    window: &[Obs],
    part: Part,
    spec: &SettleSpec,
    tail: f64,
    around: StreamFacts,
) -> Option<Bounds> {
    match part {
        Part::Whole => look(window, spec, tail, around),
        Part::Ends => {
            let ([first, after @ ..], last) = (window, *window.last()?) else { return None };
            let decay = after.iter().map(|obs| obs.decay).product();
            look(&[*first, Obs { decay, ..last }], spec, tail, around)
        }
    }
}

/// The interval for the settled value from one window; `tail` is the probability that may be spent on it (both sides
/// together). None if the window says nothing.
fn look(window: &[Obs], spec: &SettleSpec, tail: f64, around: StreamFacts) -> Option<Bounds> {
    let bouncing = window.iter().filter(|obs| obs.bouncing).count();
    let (at, split) = best_split(window, bouncing)?;
    let (early, late) = window.split_at_checked(at)?;
    let origin = window.first()?.value;
    let mean_early = early.iter().map(|obs| obs.value - origin).sum::<f64>() / split.early;
    let mean_late = late.iter().map(|obs| obs.value - origin).sum::<f64>() / split.late;
    let step = mean_late - mean_early;
    let scatter = residual_scatter(early, late, origin, mean_early, mean_late);
    let (noise, normal) =
        noise_reach(spec, scatter, around.fading || ceiling_credible(spec, scatter, step), tail)?;
    let wander = around.rebound + around.wander;
    let bias = 0.5 * spec.resolution * undithered(spec, scatter, normal);
    // gain 0: the approach is over; gain `split.gain`: it is as slow as the spec allows. The interval is the hull.
    let near = noise / libm::sqrt(split.late) + bias;
    let far = noise * split.spread + bias * (1.0 + 2.0 * split.gain);
    let end = mean_late + split.gain * step;
    let sd = scatter.sd.max(spec.noise_floor);
    let moving = libm::fabs(step) > SEEN_SDS * sd * libm::sqrt(1.0 / split.early + 1.0 / split.late);
    let rest = if moving { split.gain * step } else { 0.0 };
    let low =
        origin + (mean_late - near - wander).min(end - far - wander + around.rebound) + around.ahead.min(0.0);
    let high =
        origin + (mean_late + near + wander).max(end + far + wander - around.rebound) + around.ahead.max(0.0);
    if !(low.is_finite() && high.is_finite()) {
        return None;
    }
    Some(Bounds {
        low,
        high,
        level: origin + mean_late,
        estimate: origin + mean_late + 0.5 * rest,
        standard_uncertainty: type_a(spec, scatter, split.late),
        scatter: sd,
        moving,
    })
}

/// How far errors that hang together (an averaging meter, a slow flicker) may hold the whole window away from the settled
/// value: they move little from reading to reading and much over the window. Independent noise has none, and a window that
/// goes one way is an approach.
pub(super) fn wander(window: &[Obs], spec: &SettleSpec, noise: f64) -> f64 {
    let n = window.len() as f64;
    if n < WANDER_READINGS || goes_one_way(window, noise) {
        return 0.0;
    }
    let mean = window.iter().map(|obs| obs.value).sum::<f64>() / n;
    let around = window.iter().map(|obs| (obs.value - mean) * (obs.value - mean)).sum::<f64>() / (n - 1.0);
    // What scatters more than any noise believed in has moved.
    if around > spec.noise_ceiling * spec.noise_ceiling {
        return 0.0;
    }
    let quick = TOGETHER * quick_scatter(window).max(spec.noise_floor);
    WANDER_SDS * libm::sqrt((around - quick * quick).max(0.0))
}

/// The split with the least noise at the far end. Depends on times alone, so choosing it costs no risk.
fn best_split(window: &[Obs], bouncing: usize) -> Option<(usize, Split)> {
    let m = window.len();
    let candidates = [1, m / 4, m / 3, m / 2, bouncing];
    // Sums of exp(-t / tau), t from the first reading: of the first `at` readings, and of all.
    let mut sums = [0.0; 5];
    let (mut decay, mut total) = (1.0, 0.0);
    for (i, obs) in window.iter().enumerate() {
        if i > 0 {
            decay *= obs.decay;
        }
        total += decay;
        for (sum, at) in sums.iter_mut().zip(candidates) {
            if i < at {
                *sum = total;
            }
        }
    }
    let mut best: Option<(usize, Split)> = None;
    for (sum, at) in sums.into_iter().zip(candidates) {
        if at == 0 || at < bouncing || at >= m {
            continue;
        }
        let (early, late) = (at as f64, (m - at) as f64);
        let ratio = ((total - sum).max(0.0) / late) / (sum / early);
        let gain = ratio / (1.0 - ratio);
        let spread = libm::sqrt((1.0 + gain) * (1.0 + gain) / late + gain * gain / early);
        if gain.is_finite() && gain >= 0.0 && best.is_none_or(|(_, b)| spread < b.spread) {
            best = Some((at, Split { early, late, gain, spread }));
        }
    }
    best
}

/// Scatter about the two block means (short windows) or about two lines of one slope (from 7 readings on). Either is
/// independent of the block means under Gaussian noise, and an approach can only make it larger.
fn residual_scatter(early: &[Obs], late: &[Obs], origin: f64, mean_early: f64, mean_late: f64) -> Scatter {
    let (mut syy, mut sty, mut stt) = (0.0, 0.0, 0.0);
    for (block, mean) in [(early, mean_early), (late, mean_late)] {
        let mid = block.iter().map(|obs| obs.t_s).sum::<f64>() / block.len() as f64;
        for obs in block {
            let (dt, dy) = (obs.t_s - mid, obs.value - origin - mean);
            syy += dy * dy;
            sty += dt * dy;
            stt += dt * dt;
        }
    }
    let m = (early.len() + late.len()) as f64;
    let (rss, dof) = if m >= 7.0 && stt > 0.0 { (syy - sty * sty / stt, m - 3.0) } else { (syy, m - 2.0) };
    Scatter { sd: if dof > 0.0 { libm::sqrt(rss.max(0.0) / dof) } else { 0.0 }, dof }
}

/// How far the noise of one reading reaches (quantile times standard deviation), and the normal quantile used.
///
/// Two valid answers: the known ceiling with the normal quantile, the observed scatter with Student's. Where both are to be
/// had each gets half of the tail and the smaller one counts; which are to be had depends on the spec and the count alone.
fn noise_reach(spec: &SettleSpec, scatter: Scatter, credible: bool, tail: f64) -> Option<(f64, f64)> {
    let bounded = spec.noise_ceiling.is_finite();
    let both = bounded && scatter.dof >= SCATTER_DOF_MIN;
    // Each side of the interval has half of the tail.
    let side = if both { 0.25 * tail } else { 0.5 * tail };
    let normal = normal_upper(side);
    let by_ceiling = (bounded && credible).then_some(spec.noise_ceiling * normal);
    let by_scatter = (both || !bounded && scatter.dof > 0.5)
        .then(|| scatter.sd.max(spec.noise_floor) * student_upper(side, scatter.dof, normal));
    let reach = match (by_ceiling, by_scatter) {
        (Some(a), Some(b)) => a.min(b),
        (a, b) => a.or(b)?,
    };
    Some((reach, normal))
}

/// Whether the window's scatter (its step, if it has two readings) is believable under the noise ceiling.
fn ceiling_credible(spec: &SettleSpec, scatter: Scatter, step: f64) -> bool {
    let half_step = 0.5 * spec.resolution;
    let ceiling_sq = spec.noise_ceiling * spec.noise_ceiling + half_step * half_step;
    if scatter.dof < 0.5 {
        step * step <= 2.0 * ceiling_sq * chi_squared_upper(CEILING_DOUBT_SDS, 1.0)
    } else {
        scatter.sd * scatter.sd * scatter.dof
            <= ceiling_sq * chi_squared_upper(CEILING_DOUBT_SDS, scatter.dof)
    }
}

/// The part of half a display step by which the mean of many readings can still be off; 1 for quiet digits, near 0 once
/// the noise certainly spans a step or so (the display dithers itself).
fn undithered(spec: &SettleSpec, scatter: Scatter, normal: f64) -> f64 {
    if scatter.dof < 4.5 {
        return 1.0;
    }
    let least = scatter.sd * libm::sqrt(scatter.dof / chi_squared_upper(normal, scatter.dof));
    // Rounding adds at most half a step of scatter of its own.
    let noise_steps = (least / spec.resolution - 0.5).max(0.0);
    // First Fourier term of the rounding error under Gaussian noise: (step / pi) exp(-2 pi^2 (sd / step)^2).
    let (pi, two_pi_sq) = (core::f64::consts::PI, 19.739_208_802_178_716);
    (2.0 / pi * libm::exp(-two_pi_sq * noise_steps * noise_steps)).min(1.0)
}

/// Type A uncertainty: mean of the late block with the small-sample factor of JCGM 101, 6.4.9.4 (dof / (dof - 2), taken
/// at 3 where there are fewer), and the display step. What may be left of the approach is the interval's matter.
fn type_a(spec: &SettleSpec, scatter: Scatter, late: f64) -> f64 {
    let dof = scatter.dof.max(3.0);
    let sd = scatter.sd.max(spec.noise_floor) * libm::sqrt(dof / (dof - 2.0));
    let step = STEP_SD * spec.resolution;
    libm::sqrt(sd * sd / late + step * step)
}

#[cfg(test)]
mod tests;
