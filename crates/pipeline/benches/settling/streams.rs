//! Streams of frames with known truth: what the part does, what the meter makes of it, what comes over the link. Nothing
//! here was measured on a meter: amplitudes, noise and bounce are made up. Judges nothing.

use quantity::{Decimal, Flags, Instant, Reading, Sign, State};

use super::random::Rng;
use super::setups::{Open, Oracle, Setup};

/// How the quantity itself, or the meter's filter, goes to its end.
#[derive(Clone, Debug, Default)]
pub(crate) struct Body {
    pub(crate) truth: f64,
    /// Amplitudes and time constants.
    pub(crate) fades: Vec<(f64, f64)>,
    /// Amplitude, time constant and angular frequency of a ring.
    pub(crate) ring: Option<(f64, f64, f64)>,
    /// Amplitude and time of a moving average that fills.
    pub(crate) fills: Option<(f64, f64)>,
    /// Rate a second and when it ends.
    pub(crate) drift: Option<(f64, f64)>,
    /// Truth is what the display would show after a further hold of 30 s: a drift that lasts, too slow to be waited out.
    pub(crate) truth_moves: bool,
}

impl Body {
    fn at(&self, t_s: f64) -> f64 {
        let fades: f64 = self.fades.iter().map(|(a, tau)| a * libm::exp(-t_s / tau)).sum();
        let ring = self.ring.map_or(0.0, |(a, tau, w)| a * libm::exp(-t_s / tau) * libm::cos(w * t_s));
        let fills = self.fills.map_or(0.0, |(a, over_s)| a * (1.0 - t_s / over_s).max(0.0));
        self.truth + fades + ring + fills + self.drifted(t_s)
    }

    fn drifted(&self, t_s: f64) -> f64 {
        self.drift.map_or(0.0, |(rate, ends_s)| rate * (t_s.min(ends_s) - ends_s))
    }

    /// The settled value for a word given at this time.
    pub(crate) fn settled(&self, t_s: f64) -> f64 {
        if self.truth_moves { self.truth + self.drifted(t_s + 30.0) } else { self.truth }
    }

    /// What an ideal display would show at this time, all filters at rest.
    pub(crate) fn now(&self, t_s: f64) -> f64 {
        if self.truth_moves { self.truth + self.drifted(t_s) } else { self.truth }
    }
}

/// Errors of one conversion, in counts.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Noise {
    White(f64),
    /// Several octaves of correlated noise (1/f).
    Pink(f64),
    /// Autoregressive with this coefficient and deviation.
    Ar(f64, f64),
    /// White, and a wave of this amplitude and frequency.
    Wave(f64, f64, f64),
}

/// What comes between part and reader.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    pub(crate) rate_hz: f64,
    pub(crate) conversion_s: f64,
    /// First conversions that see a part of the contact only, and the share they show.
    pub(crate) partials: Vec<f64>,
    pub(crate) noise: Noise,
    /// The last digit never changes.
    pub(crate) stuck: bool,
    /// Share of conversions that are off by 5 to 40 counts.
    pub(crate) outliers: f64,
    /// Frames of the bounce.
    pub(crate) bounces: usize,
    /// Leads off, from and to.
    pub(crate) lift_s: Option<(f64, f64)>,
    /// From here on a digit fewer (or more).
    pub(crate) range_s: Option<f64>,
    /// Display held, from and to.
    pub(crate) hold_s: Option<(f64, f64)>,
    /// Share of frames that are lost.
    pub(crate) lost: f64,
    /// Seconds of open leads before contact.
    pub(crate) before_s: f64,
}

/// A stream.
pub(crate) struct Stream {
    pub(crate) setup: Setup,
    pub(crate) body: Body,
    pub(crate) line: Line,
    rng: Rng,
    places: u8,
    /// Time since contact of the next frame.
    t_s: f64,
    /// End of the conversion on display, since contact.
    converted_s: f64,
    conversions: usize,
    frames: usize,
    shown: Option<f64>,
    slow: [f64; 6],
    phase: f64,
}

/// A frame: time since contact and what it says.
pub(crate) struct Frame {
    pub(crate) t_s: f64,
    pub(crate) reading: Reading,
}

impl Stream {
    pub(crate) fn new(setup: Setup, body: Body, line: Line, mut rng: Rng) -> Self {
        let phase = rng.unit();
        Self {
            t_s: -line.before_s,
            converted_s: -line.conversion_s * (1.0 - rng.unit()),
            places: setup.places,
            slow: core::array::from_fn(|_| rng.normal()),
            phase,
            setup,
            body,
            line,
            rng,
            conversions: 0,
            frames: 0,
            shown: None,
        }
    }

    fn noise(&mut self) -> f64 {
        match self.line.noise {
            Noise::White(sd) => sd * self.rng.normal(),
            Noise::Pink(sd) => {
                for (i, slow) in self.slow.iter_mut().enumerate() {
                    let keep = 1.0 - 0.5_f64.powi(i32::try_from(i).unwrap_or(0) + 1);
                    *slow = keep * *slow + libm::sqrt(1.0 - keep * keep) * self.rng.normal();
                }
                sd * self.slow.iter().sum::<f64>() / libm::sqrt(6.0)
            }
            Noise::Ar(keep, sd) => {
                self.slow[0] = keep * self.slow[0] + libm::sqrt(1.0 - keep * keep) * self.rng.normal();
                sd * self.slow[0]
            }
            Noise::Wave(sd, amplitude, hz) => {
                let turn = self.phase + hz * self.converted_s;
                sd * self.rng.normal() + amplitude * libm::sin(2.0 * core::f64::consts::PI * turn)
            }
        }
    }

    fn off(&self, t_s: f64) -> bool {
        t_s < 0.0 || self.line.lift_s.is_some_and(|(from, to)| (from..to).contains(&t_s))
    }

    /// One more conversion, which ends at `converted_s`.
    fn convert(&mut self) {
        let t_s = self.converted_s;
        if self.off(t_s) {
            self.shown = None;
            self.conversions = 0;
            return;
        }
        let since_s = self.line.lift_s.map_or(t_s, |(_, to)| if t_s >= to { t_s - to } else { t_s });
        let part = self.line.partials.get(self.conversions).copied();
        self.conversions += 1;
        let mut counts = self.noise();
        if self.rng.unit() < self.line.outliers {
            let off = self.rng.between(5.0, 40.0);
            counts += if self.rng.unit() < 0.5 { off } else { -off };
        }
        let value = self.body.at(if part.is_some() { t_s } else { since_s.min(t_s) });
        self.shown = Some(part.map_or(value, |share| share * self.body.truth) + counts * self.setup.step());
    }

    /// The next frame; `None` for one that is lost.
    pub(crate) fn next_frame(&mut self) -> Option<Frame> {
        let t_s = self.t_s;
        self.t_s += self.rng.between(0.97, 1.03) / self.line.rate_hz;
        self.frames += 1;
        let conversion_s = self.line.conversion_s.max(1.0 / self.line.rate_hz);
        if self.line.conversion_s * self.line.rate_hz <= 1.0 {
            self.converted_s = t_s;
            self.convert();
        } else {
            while self.converted_s + conversion_s <= t_s {
                self.converted_s += conversion_s;
                self.convert();
            }
        }
        if self.rng.unit() < self.line.lost {
            return None;
        }
        let held = self.line.hold_s.is_some_and(|(from, to)| (from..to).contains(&t_s));
        self.places = self.setup.places - u8::from(self.line.range_s.is_some_and(|at| t_s >= at));
        let bouncing = t_s >= 0.0 && self.line.bounces > 0;
        let state = if bouncing {
            self.line.bounces -= 1;
            match self.rng.below(3) {
                0 => self.number(0.0),
                1 => State::Overload(Sign::Positive),
                _ => {
                    let share = self.rng.unit();
                    self.number(share * self.body.truth)
                }
            }
        } else {
            match (self.shown, self.setup.open) {
                (Some(value), _) => self.number(value),
                (None, Open::Overload) => State::Overload(Sign::Positive),
                (None, Open::Zero) => self.number(0.0),
                (None, Open::Never) => self.number(self.body.at(0.0)),
            }
        };
        let flags = Flags { hold: held, ..Flags::default() };
        Some(Frame { t_s, reading: self.reading(state, flags) })
    }

    fn number(&self, value: f64) -> State {
        let places = usize::from(self.places);
        let mut text = format!("{value:.places$}");
        if self.line.stuck && self.shown.is_some() {
            text.pop();
            text.push('7');
        }
        State::Value(Decimal::parse(&text).expect("digits"))
    }

    fn reading(&self, state: State, flags: Flags) -> Reading {
        Reading {
            at: Instant::ZERO,
            seq: 0,
            channel: 0,
            display: quantity::DisplayUnit { unit: self.setup.unit, coupling: self.setup.coupling },
            state,
            flags,
            accuracy: None,
            timing: quantity::Timing::default(),
        }
    }

    /// Deviation of one conversion in the setup's unit, roughly; for the sequential bound.
    pub(crate) fn noise_sd(&self) -> f64 {
        let counts = match self.line.noise {
            Noise::White(sd) | Noise::Pink(sd) | Noise::Ar(_, sd) => sd,
            Noise::Wave(sd, amplitude, _) => libm::hypot(sd, amplitude / core::f64::consts::SQRT_2),
        };
        counts.max(0.1) * self.setup.step()
    }
}

/// Least expected time of any test that keeps the risk when noise and approach are known exactly (A. Wald, Ann. Math.
/// Stat. 16 (1945) 117), in seconds: conversions times their length.
pub(crate) fn sequential_bound_s(stream: &Stream, oracle: &Oracle, risk: f64) -> f64 {
    let truth = stream.body.truth;
    let nearest = oracle.edges.iter().map(|edge| (edge - truth).abs()).fold(f64::INFINITY, f64::min);
    let gap = nearest.max(oracle.u(truth)) / stream.noise_sd();
    let odds = libm::log((1.0 - risk) / risk);
    let readings = ((1.0 - 2.0 * risk) * odds / (0.5 * gap * gap)).max(1.0);
    readings * stream.line.conversion_s.max(1.0 / stream.line.rate_hz)
}
