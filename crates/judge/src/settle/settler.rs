//! The settler: one contact after another, look by look, and the stopping rule. The arithmetic of a look is in
//! `window`, the shares of the risk in `budget`, the signs of trouble in `watch`.

use alloc::vec::Vec;

use quantity::{Duration, Instant};

use super::budget::{LENGTHS, Starts, WINDOW_MAX};
use super::spec::{OpenReads, SettleSpec, SpecError};
use super::types::{How, Moving, MovingReason, Sample, Settled, Settling, Shown, Silence};
use super::watch::{self, Step};
use super::window::{Bounds, Obs, look};

/// Readings kept of a contact; when full, the older half of the surplus is dropped.
const KEPT_MAX: usize = 2 * WINDOW_MAX;
/// Fewest readings of a contact before anything is settled.
const READINGS_MIN: usize = 3;
/// Fewest readings before the time limit may settle a noisy reading.
const TIME_LIMIT_READINGS_MIN: usize = 8;

/// Decides when a stream of readings has stopped moving. See the module text for the model.
#[derive(Clone, Debug)]
pub struct Settler {
    spec: SettleSpec,
    starts: Starts,
    thresholds: Vec<f64>,
    contact: Option<Contact>,
    last_at: Option<Instant>,
    state: Settling,
}

/// Everything known since leads last touched.
#[derive(Clone, Debug)]
struct Contact {
    since: Instant,
    obs: Vec<Obs>,
    /// Readings since contact, dropped ones included.
    n: usize,
    /// Readings dropped from the front of `obs`.
    dropped: usize,
    low: f64,
    high: f64,
    /// Index of the reading after the last step that no noise explains; no look reaches across it.
    broken_at: usize,
    /// The narrowest look so far.
    best: Option<Bounds>,
    settled: Option<Settled>,
    /// A reading set aside as a jump.
    suspect: Option<(Instant, f64)>,
    run_since: Instant,
}

impl Settler {
    /// A settler without thresholds.
    ///
    /// # Errors
    /// If a field of the spec is out of range.
    pub fn new(spec: SettleSpec) -> Result<Self, SpecError> {
        spec.check()?;
        Ok(Self {
            spec,
            starts: Starts::new(),
            thresholds: Vec::new(),
            contact: None,
            last_at: None,
            state: Settling::Empty,
        })
    }

    /// The values of the settled reading at which the verdict would change, in any order; non-finite ones are ignored.
    /// They may change before every push and may depend on the readings: the risk is spent on the interval, not on
    /// them. None: nothing to decide, so wait for full settling.
    pub fn set_thresholds(&mut self, thresholds: &[f64]) {
        self.thresholds.clear();
        self.thresholds.extend(thresholds.iter().copied().filter(|t| t.is_finite()));
    }

    /// The spec.
    #[must_use]
    pub const fn spec(&self) -> &SettleSpec {
        &self.spec
    }

    /// The state after the last push.
    #[must_use]
    pub const fn state(&self) -> Settling {
        self.state
    }

    /// Forgets everything but the spec and the thresholds: another function, another point, a gap in the bytes.
    pub fn reset(&mut self) {
        self.contact = None;
        self.last_at = None;
        self.state = Settling::Empty;
    }

    /// When to call [`Settler::check_silence`] if no reading comes; None before the first reading.
    #[must_use]
    pub fn poll_at(&self) -> Option<Instant> {
        self.last_at.map(|at| at + self.silence_limit() + Duration::from_micros(1))
    }

    /// Whether the link has been silent for longer than the spec allows. If so, the contact is forgotten and the state
    /// is `Empty`: a stale reading is never settled.
    pub fn check_silence(&mut self, now: Instant) -> Option<Silence> {
        let since = self.last_at?;
        if now - since <= self.silence_limit() {
            return None;
        }
        self.contact = None;
        self.state = Settling::Empty;
        Some(Silence { since })
    }

    /// Takes one reading. One that is not later than the last is ignored.
    pub fn push(&mut self, at: Instant, sample: Sample) -> Settling {
        if self.last_at.is_some_and(|last| at <= last) {
            return self.state;
        }
        let _ = self.check_silence(at);
        self.last_at = Some(at);
        self.state = match (sample.hold, sample.shown) {
            (true, _) => {
                self.contact = None;
                Settling::Held
            }
            (false, Shown::Value(value)) if value.is_finite() => self.take(at, value),
            (false, Shown::Overload) => self.open(),
            (false, Shown::Value(_) | Shown::NoValue) => {
                self.contact = None;
                Settling::Empty
            }
        };
        self.state
    }

    fn silence_limit(&self) -> Duration {
        #[allow(clippy::cast_possible_truncation)] // checked to be below 1e9 s
        Duration::from_micros((self.spec.silence_s * 1e6) as i64)
    }

    /// Open leads: lift-off if there was a contact to lose, bounce if it had only begun.
    fn open(&mut self) -> Settling {
        match self.contact.take() {
            None => Settling::Empty,
            Some(contact) if contact.n < READINGS_MIN => Settling::BounceRejected,
            Some(_) => Settling::LiftedOff,
        }
    }

    fn take(&mut self, at: Instant, value: f64) -> Settling {
        if matches!(self.spec.open, OpenReads::UpTo(limit) if libm::fabs(value) <= limit) {
            return self.open();
        }
        let worn_out = self.contact.as_ref().is_some_and(|c| c.n > self.starts.last());
        if worn_out {
            self.contact = None;
        }
        let Some(contact) = self.contact.as_mut() else {
            let contact = Contact::begin(at, value, &self.spec);
            let state = contact.moving(&self.spec, &self.thresholds, None);
            self.contact = Some(contact);
            return state;
        };
        if let Some(state) = contact.weigh_step(at, value, &self.spec) {
            return state;
        }
        contact.append(at, value, &self.spec);
        contact.look_at_all(&self.spec, &self.starts);
        if contact.low > contact.high {
            // The looks contradict each other: the value walked. What it is now starts here.
            *contact = Contact::begin(at, value, &self.spec);
        }
        contact.decide(at, &self.spec, &self.thresholds)
    }
}

impl Contact {
    fn begin(at: Instant, value: f64, spec: &SettleSpec) -> Self {
        let mut obs = Vec::with_capacity(16);
        obs.push(Obs { t_s: 0.0, value, decay: 1.0, bouncing: spec.bounce_s > 0.0 });
        Self {
            since: at,
            obs,
            n: 1,
            dropped: 0,
            broken_at: 0,
            low: f64::NEG_INFINITY,
            high: f64::INFINITY,
            best: None,
            settled: None,
            suspect: None,
            run_since: at,
        }
    }

    /// Scatter of one reading as far as known.
    fn scatter(&self, spec: &SettleSpec) -> f64 {
        self.best.map_or(spec.noise_floor, |best| best.scatter)
    }

    /// Deals with a reading that no approach explains; None if it is a fair one.
    fn weigh_step(&mut self, at: Instant, value: f64, spec: &SettleSpec) -> Option<Settling> {
        match (watch::step_to(&self.obs, value, spec, self.scatter(spec)), self.suspect) {
            (Step::Fair, _) => {
                self.suspect = None;
                None
            }
            (Step::Jumps, None) => {
                self.suspect = Some((at, value));
                Some(Settling::BounceRejected)
            }
            (Step::Jumps, Some((suspect_at, suspect))) => {
                // Twice away: the value is elsewhere now. The contact begins anew with the first that went.
                *self = Self::begin(suspect_at, suspect, spec);
                self.append(at, value, spec);
                Some(self.moving(spec, &[], Some(MovingReason::Bouncing)))
            }
            (Step::Runs, _) => {
                let reason = if spec.charging && value > 0.0 {
                    MovingReason::Charging
                } else {
                    MovingReason::Approaching
                };
                *self = Self::begin(at, value, spec);
                Some(self.moving(spec, &[], Some(reason)))
            }
        }
    }

    fn append(&mut self, at: Instant, value: f64, spec: &SettleSpec) {
        let t_s = (at - self.since).seconds();
        let last = self.obs.last().copied();
        let gap_s = last.map_or(0.0, |obs| t_s - obs.t_s);
        #[allow(clippy::float_cmp)] // whether the digits repeat
        if last.is_none_or(|obs| obs.value != value) {
            self.run_since = at;
        }
        if self.obs.len() >= KEPT_MAX {
            self.obs.drain(..KEPT_MAX - WINDOW_MAX);
            self.dropped += KEPT_MAX - WINDOW_MAX;
        }
        let decay = libm::exp(-gap_s / spec.tau_max_s);
        self.obs.push(Obs { t_s, value, decay, bouncing: t_s < spec.bounce_s });
        if last.is_some_and(|obs| libm::fabs(value - obs.value) > watch::break_size(spec)) {
            self.broken_at = self.n;
            (self.low, self.high, self.best) = (f64::NEG_INFINITY, f64::INFINITY, None);
        } else if self.broken_at + 1 == self.n && watch::fading(&self.obs) {
            // The step went on as an approach does: a window may begin at its foot.
            self.broken_at -= 1;
        }
        self.n += 1;
    }

    /// All looks that end at the newest reading; their intersection narrows the interval.
    fn look_at_all(&mut self, spec: &SettleSpec, starts: &Starts) {
        let fading = watch::fading(&self.obs);
        for (length, weight) in LENGTHS {
            let Some(start) = self.n.checked_sub(length) else { break };
            let Some(share) = starts.share(start) else { continue };
            if start < self.broken_at {
                continue;
            }
            let Some(window) = start.checked_sub(self.dropped).and_then(|at| self.obs.get(at..)) else {
                continue;
            };
            let Some(bounds) = look(window, spec, spec.risk * share * weight, fading) else { continue };
            self.low = self.low.max(bounds.low);
            self.high = self.high.min(bounds.high);
            if self.best.is_none_or(|best| bounds.high - bounds.low <= best.high - best.low) {
                self.best = Some(bounds);
            }
        }
    }

    /// The stopping rule.
    fn decide(&mut self, at: Instant, spec: &SettleSpec, thresholds: &[f64]) -> Settling {
        let run = watch::equal_run(&self.obs);
        if (at - self.run_since).seconds() > spec.frozen_after_s
            || watch::frozen_by_noise(&self.obs, spec, run)
        {
            self.settled = None;
            return Settling::Frozen { since: self.run_since };
        }
        if watch::drifting(&self.obs, spec, self.scatter(spec)) {
            self.settled = None;
            return self.moving(spec, thresholds, Some(MovingReason::Drifting));
        }
        let doubt = thresholds.iter().any(|t| (self.low..=self.high).contains(t));
        if let Some(settled) = self.settled
            && (settled.how != How::BeyondDoubt || !(doubt || thresholds.is_empty()))
        {
            return Settling::Settled(settled);
        }
        self.settled = self.ground(at, spec, doubt || thresholds.is_empty()).and_then(|how| self.settle(how));
        match self.settled {
            Some(settled) => Settling::Settled(settled),
            None => self.moving(spec, thresholds, None),
        }
    }

    fn ground(&self, at: Instant, spec: &SettleSpec, doubt: bool) -> Option<How> {
        let width = self.high - self.low;
        let standing = self.n - self.broken_at.min(self.n) >= READINGS_MIN || watch::fading(&self.obs);
        if self.n < READINGS_MIN || !width.is_finite() || !standing {
            None
        } else if !doubt {
            Some(How::BeyondDoubt)
        } else if width <= 2.0 * spec.settle_floor {
            Some(How::FullySettled)
        } else {
            let late = (at - self.since).seconds() >= spec.time_limit_s && self.n >= TIME_LIMIT_READINGS_MIN;
            (late && !self.best?.moving).then_some(How::TimeLimit)
        }
    }

    fn settle(&self, how: How) -> Option<Settled> {
        let best = self.best?;
        let value = self.estimate(&best);
        Some(Settled {
            value,
            standard_uncertainty: best.standard_uncertainty,
            half_width: (self.high - value).max(value - self.low),
            n: u32::try_from(self.n).unwrap_or(u32::MAX),
            since: self.since,
            how,
        })
    }

    /// The best look's estimate, drawn into the interval.
    fn estimate(&self, best: &Bounds) -> f64 {
        best.estimate.max(self.low).min(self.high)
    }

    fn moving(&self, spec: &SettleSpec, thresholds: &[f64], reason: Option<MovingReason>) -> Settling {
        let last = self.obs.last().map_or(0.0, |obs| obs.value);
        let (estimate, half_width) = match self.best {
            Some(best) => {
                let estimate = self.estimate(&best);
                (estimate, (self.high - estimate).max(estimate - self.low))
            }
            None => (last, f64::INFINITY),
        };
        let reason = reason.unwrap_or_else(|| self.reason(spec));
        let readings_left = (half_width.is_finite() && reason != MovingReason::Drifting)
            .then(|| self.readings_left(spec, thresholds, estimate, half_width));
        Settling::Moving(Moving { estimate, half_width, reason, readings_left })
    }

    fn reason(&self, spec: &SettleSpec) -> MovingReason {
        let scatter = self.scatter(spec);
        if spec.charging && watch::climbing(&self.obs, scatter) {
            MovingReason::Charging
        } else if self.suspect.is_some() || self.obs.iter().all(|obs| obs.bouncing) {
            MovingReason::Bouncing
        } else if self.best.is_none_or(|best| best.moving) {
            MovingReason::Approaching
        } else {
            MovingReason::Noisy
        }
    }

    /// The half width falls roughly with the square root of the count.
    fn readings_left(&self, spec: &SettleSpec, thresholds: &[f64], estimate: f64, half_width: f64) -> u32 {
        let nearest = thresholds.iter().map(|t| libm::fabs(t - estimate)).fold(f64::INFINITY, f64::min);
        let goal = if nearest.is_finite() { nearest.max(spec.settle_floor) } else { spec.settle_floor };
        let ratio = half_width / goal;
        #[allow(clippy::cast_precision_loss)]
        let left = self.n as f64 * (ratio * ratio - 1.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
        let left = libm::ceil(left).clamp(1.0, 999.0) as u32;
        left
    }
}
