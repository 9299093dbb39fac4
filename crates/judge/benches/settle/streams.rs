//! Synthetic streams of readings with known truth, the fixed window of 16 and Wald's bound to compare with. Shared by the
//! benchmark and the tests. Nothing here was measured on a meter: amplitudes, noise and bounce are made up.

#![allow(dead_code, clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::indexing_slicing)]

use judge::settle::{Displayed, How, OpenReads, Sample, SettleSpec, Settler, Settling};
use quantity::Instant;

/// A stream that has not settled after this many readings is counted at this many.
pub(crate) const READINGS_MAX: usize = 600;
/// Length of the fixed window.
pub(crate) const FIXED_WINDOW: usize = 16;

/// `SplitMix64` (Steele, Lea, Flood 2014): small, seeded, the same everywhere.
#[derive(Clone, Debug)]
pub(crate) struct Rng(pub(crate) u64);

impl Rng {
    pub(crate) fn next_u64(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly in (0, 1).
    pub(crate) fn unit(&mut self) -> f64 {
        ((self.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal (Box and Muller).
    pub(crate) fn normal(&mut self) -> f64 {
        let r = libm::sqrt(-2.0 * libm::log(self.unit()));
        r * libm::cos(2.0 * core::f64::consts::PI * self.unit())
    }

    pub(crate) fn below(&mut self, n: usize) -> usize {
        (self.next_u64() % n as u64) as usize
    }
}

/// The families of streams.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Family {
    CleanStep,
    Approach,
    NoiseThird,
    NoiseOne,
    NoiseAtCeiling,
    Coarse,
    Bounce,
    Near,
    Far,
    Flicker,
    Temperature,
    /// The same from a probe that sends ten readings a second; not in the mix.
    TemperatureAt10Hz,
    /// Each stream from one of the families above that are in the mix.
    Mixed,
    /// Outside the model: a slope that lasts 90 s, then stands.
    Drift,
    /// Outside the model: twice the noise ceiling.
    TooNoisy,
    /// Outside the model: twice the longest time constant.
    TooSlow,
}

/// The families within the model; a mixed stream is one of them, each as likely.
pub(crate) const WITHIN_MODEL: [Family; 11] = [
    Family::CleanStep,
    Family::Approach,
    Family::NoiseThird,
    Family::NoiseOne,
    Family::NoiseAtCeiling,
    Family::Coarse,
    Family::Bounce,
    Family::Near,
    Family::Far,
    Family::Flicker,
    Family::Temperature,
];

/// One stream: its truth and how it gets there.
#[derive(Clone, Debug)]
pub(crate) struct Stream {
    pub(crate) spec: SettleSpec,
    pub(crate) truth: f64,
    pub(crate) thresholds: [f64; 6],
    pub(crate) noise: f64,
    pub(crate) amplitude: f64,
    pub(crate) tau_s: f64,
    pub(crate) period_s: f64,
    pub(crate) slope_per_s: f64,
    pub(crate) slope_ends_s: f64,
    pub(crate) bounces: usize,
    rng: Rng,
    t_s: f64,
    k: usize,
}

/// A part of 40 uF marked +-6 %, or a line temperature with a window of 48 to 60 degrees; guard bands either side.
fn limits(nominal: f64, band: f64, guard: f64) -> [f64; 6] {
    let (low, high) = (nominal - band, nominal + band);
    [low - guard, low, low + guard, high - guard, high, high + guard]
}

impl Stream {
    /// A stream of this family; equal seeds give equal streams.
    pub(crate) fn new(family: Family, seed: u64) -> Self {
        let mut rng = Rng(seed.wrapping_mul(0xD134_2543_DE82_EF95) ^ 0x5EED);
        let _ = rng.next_u64();
        let family =
            if family == Family::Mixed { WITHIN_MODEL[rng.below(WITHIN_MODEL.len())] } else { family };
        let mut stream = Self::capacitor(0.01, rng);
        stream.shape(family);
        // Honest meters whose profile says how fast they convert; the bench of crate `pipeline` has the others.
        stream.spec.conversion_s = Some(stream.period_s);
        stream
    }

    fn capacitor(resolution: f64, mut rng: Rng) -> Self {
        let good = rng.unit() < 0.7;
        let truth = if good { 40.0 + 0.5 * rng.normal() } else { rng.between(28.0, 46.0) };
        Self {
            spec: SettleSpec::capacitance(resolution),
            truth,
            thresholds: limits(40.0, 2.4, 0.78),
            noise: 0.5 * resolution,
            amplitude: 0.0,
            tau_s: 1.0,
            period_s: 0.3,
            slope_per_s: 0.0,
            slope_ends_s: 0.0,
            bounces: 0,
            rng,
            t_s: 0.0,
            k: 0,
        }
    }

    fn approach(&mut self) {
        let size = self.truth * self.rng.between(0.02, 0.6);
        self.amplitude = if self.rng.unit() < 0.7 { -size } else { size };
        self.tau_s = self.rng.between(0.1, 1.0) * self.spec.tau_s;
    }

    fn shape(&mut self, family: Family) {
        let step = self.spec.resolution;
        match family {
            Family::CleanStep | Family::Mixed => self.noise = 0.1 * step,
            Family::Approach => self.approach(),
            Family::NoiseThird => self.noise = 0.33 * step,
            Family::NoiseOne => self.noise = step,
            Family::NoiseAtCeiling => self.noise = self.spec.noise_ceiling,
            Family::TooNoisy => self.noise = 2.0 * self.spec.noise_ceiling,
            Family::TooSlow => {
                self.approach();
                self.tau_s = 2.0 * self.spec.tau_max_s;
            }
            Family::Coarse => {
                *self = Self::capacitor(0.1, self.rng.clone());
                self.noise = 0.03;
                self.half_the_time_approach();
            }
            Family::Bounce => {
                self.bounces = self.rng.below(5);
                self.half_the_time_approach();
            }
            Family::Near => {
                let limit = self.thresholds[self.rng.below(6)];
                self.truth = limit + self.rng.between(-3.0, 3.0) * step;
                self.noise = step;
                self.half_the_time_approach();
            }
            Family::Far => {
                self.truth = self.rng.between(39.7, 40.3);
                self.noise = step;
                self.half_the_time_approach();
            }
            Family::Flicker => {
                // Amperes of a running motor: limits 9.0 and 14.0 A, display step 0.01 A.
                self.spec = SettleSpec::current(step);
                self.thresholds = limits(11.5, 2.5, 0.35);
                self.truth = self.rng.between(8.0, 15.0);
                self.noise = self.rng.between(0.5, 2.5) * step;
                self.half_the_time_approach();
            }
            Family::Temperature | Family::TemperatureAt10Hz | Family::Drift => {
                self.spec = SettleSpec::temperature(0.1);
                self.thresholds = limits(54.0, 6.0, 1.2);
                self.truth = self.rng.between(44.0, 64.0);
                self.noise = 0.05;
                self.period_s = if family == Family::TemperatureAt10Hz { 0.1 } else { 1.0 };
                self.amplitude = self.rng.between(8.0, 40.0);
                self.tau_s = self.rng.between(3.0, 15.0);
                if family == Family::Drift {
                    (self.amplitude, self.slope_per_s, self.slope_ends_s) = (0.0, 0.02, 90.0);
                }
            }
        }
    }

    fn half_the_time_approach(&mut self) {
        if self.rng.unit() < 0.5 {
            self.approach();
        }
    }

    /// The next reading as the display shows it.
    pub(crate) fn next_reading(&mut self) -> (Instant, Sample) {
        let at = Instant::from_micros((self.t_s * 1e6) as i64);
        let settled = self.truth
            + self.amplitude * libm::exp(-self.t_s / self.tau_s)
            + self.slope_per_s * (self.t_s - self.slope_ends_s).min(0.0);
        let sample = if self.k < self.bounces {
            match self.rng.below(3) {
                0 => Sample::value(0.0),
                1 => Sample::overload(),
                _ => {
                    let part = self.rng.unit();
                    Sample::value(self.shown(part * self.truth))
                }
            }
        } else {
            let noise = self.noise * self.rng.normal();
            Sample::value(self.shown(settled + noise))
        };
        self.k += 1;
        self.t_s += self.period_s * self.rng.between(0.9, 1.1);
        (at, sample)
    }

    fn shown(&self, value: f64) -> f64 {
        libm::round(value / self.spec.resolution) * self.spec.resolution
    }

    /// Distance from the truth to the nearest threshold.
    pub(crate) fn distance(&self) -> f64 {
        self.thresholds.iter().map(|t| (t - self.truth).abs()).fold(f64::INFINITY, f64::min)
    }

    fn crossed(&self, value: f64) -> bool {
        self.thresholds.iter().any(|t| (value < *t) != (self.truth < *t))
    }
}

/// How one rule fared on one stream.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Outcome {
    pub(crate) readings: usize,
    pub(crate) contradicted: bool,
    pub(crate) settled: bool,
    /// The settled value was farther from the truth than the half width claimed.
    pub(crate) missed: bool,
}

/// Our settler. A contradiction counts as the module text of `settle` defines it: `BeyondDoubt` with a threshold between
/// value and truth, whatever the distance; otherwise only if the truth is also outside the half width.
pub(crate) fn run_settler(stream: &Stream) -> Outcome {
    let mut stream = stream.clone();
    let Ok(mut settler) = Settler::new(stream.spec) else { return Outcome::default() };
    settler.set_thresholds(&stream.thresholds);
    for readings in 1..=READINGS_MAX {
        let (at, sample) = stream.next_reading();
        if let Settling::Settled(settled) = settler.push(at, sample) {
            let missed = (settled.value - stream.truth).abs() > settled.half_width;
            let counts = settled.how == How::BeyondDoubt || missed;
            return Outcome {
                readings,
                contradicted: counts && stream.crossed(settled.value),
                settled: true,
                missed,
            };
        }
    }
    Outcome { readings: READINGS_MAX, ..Outcome::default() }
}

/// The fixed window: settled once the last 16 readings span at most 2 display steps + 0.5 % of their mean, which is the
/// value. Overload, and open leads as our settler sees them, empty it. A contradiction closer than one display step to
/// the truth is forgiven (the settler's own is not when it says `BeyondDoubt`).
pub(crate) fn run_fixed(stream: &Stream) -> Outcome {
    let mut stream = stream.clone();
    let mut window: Vec<f64> = Vec::new();
    for readings in 1..=READINGS_MAX {
        match stream.next_reading().1.shown {
            Displayed::Value(v) if !matches!(stream.spec.open, OpenReads::UpTo(limit) if v.abs() <= limit) => {
                window.push(v);
            }
            _ => window.clear(),
        }
        if window.len() > FIXED_WINDOW {
            window.remove(0);
        }
        if window.len() < FIXED_WINDOW {
            continue;
        }
        let mean = window.iter().sum::<f64>() / FIXED_WINDOW as f64;
        let low = window.iter().copied().fold(f64::INFINITY, f64::min);
        let high = window.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if high - low <= 2.0 * stream.spec.resolution + 0.005 * mean.abs() + 1e-9 {
            let missed = (mean - stream.truth).abs() > stream.spec.resolution;
            return Outcome { readings, contradicted: missed && stream.crossed(mean), settled: true, missed };
        }
    }
    Outcome { readings: READINGS_MAX, ..Outcome::default() }
}

/// Least expected number of readings of any test that keeps the risk `a` for every settled value, when noise and approach
/// are known exactly: `E[N] >= [(1 - a) ln((1 - a) / a) + a ln(a / (1 - a))] / I`, `I = g^2 / (2 sigma^2)`, and at least
/// one reading. A. Wald, Ann. Math. Stat. 16 (1945) 117; that the sequential probability ratio test reaches it (but for
/// overshoot): A. Wald and J. Wolfowitz, Ann. Math. Stat. 19 (1948) 326.
///
/// `g` is the difference that must be told: the distance to the nearest threshold (a settled value just beyond it must
/// not get the same verdict), or twice the settle floor where that is larger (full settling is then enough). `I` is the
/// Kullback-Leibler divergence of one unrounded reading; rounding can only lower it, so the bound stays a bound.
pub(crate) fn wald_bound(stream: &Stream, risk: f64) -> f64 {
    let odds = libm::log((1.0 - risk) / risk);
    let gap = stream.distance().max(2.0 * stream.spec.settle_floor) / stream.noise;
    let information = 0.5 * gap * gap;
    (((1.0 - risk) * odds - risk * odds) / information).max(1.0)
}

/// Median and 90th percentile of a list; sorts it.
pub(crate) fn median_p90(readings: &mut [usize]) -> (usize, usize) {
    readings.sort_unstable();
    let at = |q: f64| readings.get(((readings.len() as f64) * q) as usize).copied().unwrap_or(0);
    (at(0.5), at(0.9))
}

/// Upper 95 % confidence bound for a probability after `events` in `trials` (Clopper and Pearson 1934, by bisection of the
/// binomial tail, whose terms are summed as logarithms).
pub(crate) fn upper95(events: usize, trials: usize) -> f64 {
    let n = trials as f64;
    let tail = |p: f64| {
        let (mut log_term, mut sum) = (n * libm::log1p(-p), 0.0);
        for k in 0..=events {
            sum += libm::exp(log_term);
            log_term += libm::log((n - k as f64) / (k as f64 + 1.0) * p / (1.0 - p));
        }
        sum
    };
    let (mut low, mut high) = (0.0, 1.0 - 1e-9);
    for _ in 0..60 {
        let mid = 0.5 * (low + high);
        if tail(mid) > 0.05 { low = mid } else { high = mid }
    }
    high
}
