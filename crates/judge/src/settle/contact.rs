//! One contact: from the first touch of the leads to the last. Takes readings, keeps the interval for the settled value,
//! and holds the stopping rule. Knows nothing of open leads, hold or silence; those are the settler's.

use alloc::vec::Vec;

use quantity::Instant;

use super::budget::{LENGTHS, Starts, WINDOW_MAX};
use super::drift;
use super::grain::Grain;
use super::interval::Interval;
use super::obs::Obs;
use super::spec::SettleSpec;
use super::swing;
use super::tempo::Tempo;
use super::thresholds::Asking;
use super::types::{How, Moving, MovingReason, Pace, Settled, Settling};
use super::unseen::Unseen;
use super::watch::{self, Step};
use super::window::{Bounds, StreamFacts, look_at, wander};

/// Readings kept of a contact; when full, the older half of the surplus is dropped.
const KEPT_MAX: usize = 2 * WINDOW_MAX;
/// Fewest readings of a contact before anything is settled.
pub(super) const READINGS_MIN: usize = 3;
/// The first conversion of a contact saw a part of it only: no look begins with it.
pub(super) const FIRST: usize = 1;
/// A first value below this part of the second was that of open leads. Our own choice.
const OFF_PART: f64 = 0.05;
/// Two conversions settle nothing unless they are this far apart: what bounces may show the same twice.
const TWO_APART_S: f64 = 1.0;
/// Fewest readings before the time limit may settle a noisy reading.
const TIME_LIMIT_READINGS_MIN: usize = 8;

/// Readings kept of the time before settling began anew.
const BEFORE_MAX: usize = 32;
/// Readings kept for each longest time constant, so that the longest window reaches back over several of them.
const KEPT_PER_TAU: f64 = 24.0;
/// Of readings that come faster than that, this many are kept of the time since contact, at any time.
const DENSITY: f64 = 32.0;

/// Everything known since leads last touched.
#[derive(Clone, Debug)]
pub(super) struct Contact {
    since: Instant,
    obs: Vec<Obs>,
    /// Readings since contact, dropped ones included.
    pub(super) n: usize,
    /// Readings dropped from the front of `obs`.
    dropped: usize,
    /// Index of the first reading of the present stretch: looks and the risk are counted from there.
    stretch_at: usize,
    /// The newest readings of the same touch before settling began anew: what swings on from there may come back.
    before: Vec<Obs>,
    /// All looks of the stretch together.
    all: Interval,
    /// The looks that end at the newest reading. Only these settle: old ones may be about a value that has crept on.
    now: Interval,
    /// Index of the reading after the last step that no noise explains; no look reaches across it.
    broken_at: usize,
    /// The narrowest look of the stretch, and of the newest reading.
    best: Option<Bounds>,
    best_now: Option<Bounds>,
    settled: Option<(Settled, Interval)>,
    /// A reading set aside as a jump.
    suspect: Option<(Instant, f64)>,
    run_since: Instant,
    /// The time constant that the decays of the readings are taken at.
    tau_s: f64,
    /// The steps that the display seems to take.
    grain: Grain,
    /// The present rate per second, where it fades more slowly than assumed.
    slope: Option<f64>,
    /// How far errors that hang together, and the way back of a ring, reach in the newest looks.
    wander: f64,
    rebound: f64,
    /// What the newest readings may hide.
    unseen: Unseen,
}

/// Where either makes up this part of the interval, it is what is waited for: it widens the rest too. Our own choice.
const MOSTLY: f64 = 0.25;
/// A climb on a charging range counts as charging for this many of the longest time constants; later it is a slope.
const CHARGING_TAUS: f64 = 2.0;
/// Errors that hang together are sought over the newest so many readings.
const WANDER_LENGTHS: [usize; 5] = [8, 16, 32, 64, 128];
/// The meter's own expanded uncertainty in standard uncertainties (JCGM 100, 6.2.1: k = 2).
const EXPANDED: f64 = 2.0;
/// A slope that fades too slowly may go on for this many of the longest time constants.
const SLOW_TAUS: f64 = 4.0;

impl Contact {
    pub(super) fn begin(at: Instant, value: f64, spec: &SettleSpec) -> Self {
        let mut obs = Vec::with_capacity(16);
        obs.push(Obs { t_s: 0.0, value, decay: 1.0, bouncing: spec.bounce_s > 0.0 });
        Self {
            since: at,
            obs,
            n: 1,
            dropped: 0,
            stretch_at: FIRST,
            before: Vec::new(),
            all: Interval::UNKNOWN,
            now: Interval::UNKNOWN,
            broken_at: FIRST,
            best: None,
            best_now: None,
            settled: None,
            suspect: None,
            run_since: at,
            tau_s: spec.tau_s,
            grain: Grain::new(value),
            slope: None,
            wander: 0.0,
            rebound: 0.0,
            unseen: Unseen::NOTHING,
        }
    }

    /// Begins anew with a reading of the same touch. Of those before it only their way counts on.
    fn begin_anew(&mut self, at: Instant, value: f64, spec: &SettleSpec) {
        let began_s = (at - self.since).seconds();
        let mut before = core::mem::take(&mut self.before);
        before.append(&mut self.obs);
        // What open leads show is no way that anything went.
        before.retain(|obs| libm::fabs(obs.value) >= OFF_PART * libm::fabs(value));
        before.iter_mut().for_each(|obs| obs.t_s -= began_s);
        before.drain(..before.len().saturating_sub(BEFORE_MAX));
        *self = Self { before, ..Self::begin(at, value, spec) };
    }

    /// How far a ring, or what was off, may come back.
    fn way_back(&self, noise: f64, spec: &SettleSpec) -> f64 {
        if self.before.is_empty() {
            return swing::way_back(&self.obs, noise, spec);
        }
        let way: Vec<Obs> = self.before.iter().chain(&self.obs).copied().collect();
        swing::way_back(&way, noise, spec)
    }

    /// A reading is set aside and nothing has shown yet whether it stays.
    pub(super) const fn has_suspect(&self) -> bool {
        self.suspect.is_some()
    }

    /// Scatter of one reading as far as known.
    fn scatter(&self, spec: &SettleSpec) -> f64 {
        self.best.map_or(spec.noise_floor, |best| best.scatter)
    }

    /// Deals with a reading that no approach explains; None if it is a fair one.
    pub(super) fn weigh_step(&mut self, at: Instant, value: f64, spec: &SettleSpec) -> Option<Settling> {
        let off = |obs: &Obs| libm::fabs(obs.value) < OFF_PART * libm::fabs(value);
        if self.n < READINGS_MIN && self.obs.iter().all(off) {
            // The leads had not been on: this is the first conversion that saw the contact.
            *self = Self::begin(at, value, spec);
            return Some(self.moving(spec, &[], None));
        }
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
                self.begin_anew(suspect_at, suspect, spec);
                self.append(at, value, spec);
                Some(self.moving(spec, &[], Some(MovingReason::Bouncing)))
            }
            (Step::Runs, _) => {
                let reason = if spec.charging && value > 0.0 {
                    MovingReason::Charging
                } else {
                    MovingReason::Approaching
                };
                self.begin_anew(at, value, spec);
                Some(self.moving(spec, &[], Some(reason)))
            }
        }
    }

    /// Whether a fair reading follows so soon on the last kept one that it need not be kept: the windows hold a fixed number of
    /// readings and must reach back over several time constants, however fast the meter sends. Depends on times alone, so
    /// leaving it out costs no risk; the nearer the contact's beginning, the denser they are kept.
    pub(super) fn is_spare(&self, at: Instant, spec: &SettleSpec) -> bool {
        let Some(last) = self.obs.last() else { return false };
        let t_s = (at - self.since).seconds();
        let apart_s = (t_s / DENSITY).min(spec.tau_max_s / KEPT_PER_TAU);
        // A hair less, so that equal spacing is not decided by the last bit.
        t_s - last.t_s < 0.999 * apart_s
    }

    /// Takes notice of a reading that is not kept: whether the digits still stand.
    pub(super) fn pass_over(&mut self, at: Instant, value: f64) {
        #[allow(clippy::float_cmp)] // whether the digits repeat
        if self.obs.last().is_some_and(|obs| obs.value != value) {
            self.run_since = at;
        }
    }

    pub(super) fn append(&mut self, at: Instant, value: f64, spec: &SettleSpec) {
        let t_s = (at - self.since).seconds();
        let last = self.obs.last().copied();
        #[allow(clippy::float_cmp)] // whether the digits repeat
        if last.is_none_or(|obs| obs.value != value) {
            self.run_since = at;
        }
        if self.obs.len() >= KEPT_MAX {
            self.obs.drain(..KEPT_MAX - WINDOW_MAX);
            self.dropped += KEPT_MAX - WINDOW_MAX;
        }
        let decay = last.map_or(1.0, |obs| libm::exp((obs.t_s - t_s) / self.tau_s));
        self.obs.push(Obs { t_s, value, decay, bouncing: t_s < spec.bounce_s });
        let step = last.map_or(0.0, |obs| value - obs.value);
        let fading = watch::fading(&self.obs);
        if self.n <= FIRST {
            // From the first conversion on: no break, whatever the step.
        } else if watch::breaks(step, fading, spec) {
            self.broken_at = self.n;
            (self.all, self.best) = (Interval::UNKNOWN, None);
        } else if self.broken_at + 1 == self.n && self.broken_at > FIRST && fading {
            // The step went on as an approach does: a window may begin at its foot.
            self.broken_at -= 1;
        }
        self.n += 1;
        self.grain.take(value, spec.resolution);
    }

    /// Another time constant counts: the decays from reading to reading change with it.
    #[allow(clippy::float_cmp)] // whether it is the same, not whether it is near
    fn take_tau(&mut self, tau_s: f64) {
        if self.tau_s == tau_s {
            return;
        }
        self.tau_s = tau_s;
        let mut before_s = None;
        for obs in &mut self.obs {
            let gap_s = before_s.replace(obs.t_s).map_or(0.0, |before_s: f64| obs.t_s - before_s);
            obs.decay = libm::exp(-gap_s / tau_s);
        }
    }

    /// All looks that end at the newest reading.
    pub(super) fn look_at_all(&mut self, spec: &SettleSpec, starts: &Starts) {
        let spec = &self.grain.coarser(spec);
        (self.now, self.best_now) = (Interval::UNKNOWN, None);
        let fading = watch::fading(&self.obs);
        let usable = self.obs.get(FIRST.saturating_sub(self.dropped)..).unwrap_or_default();
        let whole = watch::tail(usable, self.n - self.broken_at);
        let tempo = Tempo::of(whole, spec);
        self.slope = tempo.slope;
        // Lengths beyond the first that takes in everything would look at the same readings again.
        let distinct = WANDER_LENGTHS.iter().take_while(|length| **length < whole.len()).count() + 1;
        let lengths = WANDER_LENGTHS.iter().take(distinct);
        let wanders = lengths.map(|length| wander(watch::tail(whole, *length), spec, tempo.noise));
        let wander = wanders.fold(0.0, f64::max);
        let slow = self.slope.map_or(0.0, |rate| rate * SLOW_TAUS * spec.tau_max_s);
        let foot = tempo.rate.map_or(0.0, |rate| rate * spec.slope_s);
        let ahead = if libm::fabs(foot) > libm::fabs(slow) { foot } else { slow };
        let rebound = self.way_back(tempo.noise, spec);
        (self.wander, self.rebound) = (wander, rebound);
        self.unseen = Unseen::of(whole, spec, tempo.rate.is_some());
        if rebound == 0.0 {
            self.before.clear();
        }
        self.take_tau(tempo.tau_s);
        for (length, part, weight) in LENGTHS {
            let Some(start) = self.n.checked_sub(length) else { break };
            let share = start.checked_sub(self.stretch_at).and_then(|since| starts.share(since));
            let Some(share) = share.filter(|_| start >= self.broken_at) else { continue };
            let Some(window) = start.checked_sub(self.dropped).and_then(|at| self.obs.get(at..)) else {
                continue;
            };
            let fading = fading && swing::goes_one_way(window, tempo.noise);
            let around = StreamFacts { fading, wander, rebound, ahead };
            let Some(bounds) = look_at(window, part, spec, spec.risk * share * weight, around) else {
                continue;
            };
            self.now.narrow(&bounds);
            let narrower = |best: Option<Bounds>| best.is_none_or(|best| bounds.width() <= best.width());
            if narrower(self.best_now) {
                self.best_now = Some(bounds);
            }
            if narrower(self.best) {
                self.best = Some(bounds);
            }
            self.all.narrow(&bounds);
        }
        if self.all.is_empty() {
            // The looks contradict each other: the value walked. What it is now starts with the newest reading.
            (self.stretch_at, self.broken_at) = (self.n - 1, self.n - 1);
            (self.all, self.now) = (Interval::UNKNOWN, Interval::UNKNOWN);
            (self.best, self.best_now, self.settled) = (None, None, None);
        }
    }

    /// The stopping rule.
    pub(super) fn decide(
        &mut self,
        at: Instant,
        spec: &SettleSpec,
        thresholds: &mut Asking<'_, '_>,
    ) -> Settling {
        let run = watch::equal_run(&self.obs);
        if (at - self.run_since).seconds() > spec.frozen_after_s
            || watch::frozen_by_noise(&self.obs, spec, run)
        {
            self.settled = None;
            return Settling::Frozen { since: self.run_since };
        }
        if let Some(rate) = watch::drifting(&self.obs, spec, self.scatter(spec)) {
            self.settled = drift::settled(&self.obs, self.since, at, self.n, spec);
            let rate_per_s = self.slope.or(Some(rate));
            return match self.settled {
                Some((settled, _)) => Settling::Settled(settled),
                None => self.moving_at(rate_per_s, spec, thresholds.known(), Some(MovingReason::Drifting)),
            };
        }
        self.settled = self.settled.filter(|(settled, _)| settled.drift_per_s.is_none());
        if let Some((settled, interval)) = self.settled
            && (settled.how != How::BeyondDoubt || !interval.in_doubt(thresholds.now()))
        {
            let completed = if settled.at_rest { None } else { self.rest(at, spec) };
            let completed = completed.and_then(|how| self.settle(how, spec));
            if completed.is_none() {
                return Settling::Settled(settled);
            }
            self.settled = completed;
        } else {
            self.settled = self.ground(at, spec, thresholds).and_then(|how| self.settle(how, spec));
        }
        match self.settled {
            Some((settled, _)) => Settling::Settled(settled),
            None => self.moving(spec, thresholds.known(), None),
        }
    }

    fn ground(&self, at: Instant, spec: &SettleSpec, thresholds: &mut Asking<'_, '_>) -> Option<How> {
        let beyond = self.stands(at, spec)
            && self.best_now.is_some_and(|best| !thresholds.leave_doubt(self.given(best.estimate, spec)));
        if beyond { Some(How::BeyondDoubt) } else { self.rest(at, spec) }
    }

    /// The interval that is given out about this value: no narrower than the meter's own expanded uncertainty, of which a digit that
    /// stands is a part, and with room for what is slower than the wait. Where a threshold lies nearer than that, the word waits
    /// for rest.
    fn given(&self, value: f64, spec: &SettleSpec) -> Interval {
        let (value, _) = self.now.about(value);
        let least = EXPANDED * spec.settle_floor;
        let given = Interval { low: self.now.low.min(value - least), high: self.now.high.max(value + least) };
        self.best_now.map_or(given, |best| self.unseen.widen(given, best.level))
    }

    /// Enough conversions since contact and since the last break.
    fn stands(&self, at: Instant, spec: &SettleSpec) -> bool {
        let since_break = self.n - self.broken_at.min(self.n);
        let apart_s = self
            .obs
            .get(self.broken_at.saturating_sub(self.dropped)..)
            .map_or(0.0, |obs| obs.first().zip(obs.last()).map_or(0.0, |(first, last)| last.t_s - first.t_s));
        let usable = self.n.saturating_sub(FIRST);
        let standing = usable >= READINGS_MIN && (since_break >= READINGS_MIN || watch::fading(&self.obs))
            || since_break >= 2 && apart_s >= TWO_APART_S;
        standing && self.now.width().is_finite() && (at - self.since).seconds() >= spec.least_s
    }

    /// Whether it is at rest, or as near to it as its noise allows.
    fn rest(&self, at: Instant, spec: &SettleSpec) -> Option<How> {
        if !self.stands(at, spec) {
            return None;
        }
        if self.now.width() <= 2.0 * spec.settle_floor {
            return Some(How::FullySettled);
        }
        let since_break = self.n - self.broken_at.min(self.n);
        let late = (at - self.since).seconds() >= spec.time_limit_s && since_break >= TIME_LIMIT_READINGS_MIN;
        // A look of two or three readings has no say in how wide the noise is.
        let wide = self.now.width() > 1.5 * self.all.width();
        (late && !wide && !self.best_now?.moving && self.slope.is_none()).then_some(How::TimeLimit)
    }

    fn settle(&self, how: How, spec: &SettleSpec) -> Option<(Settled, Interval)> {
        let best = self.best_now?;
        let at_rest = how != How::BeyondDoubt || self.now.width() <= 2.0 * spec.settle_floor;
        let (value, half_width) = self.now.about(if at_rest { best.level } else { best.estimate });
        let given = self.given(value, spec);
        let settled = Settled {
            value,
            standard_uncertainty: best.standard_uncertainty,
            half_width: half_width.max(spec.settle_floor),
            low: given.low,
            high: given.high,
            at_rest,
            n: u32::try_from(self.n).unwrap_or(u32::MAX),
            since: self.since,
            how,
            drift_per_s: None,
        };
        Some((settled, given))
    }

    pub(super) fn moving(
        &self,
        spec: &SettleSpec,
        thresholds: &[f64],
        reason: Option<MovingReason>,
    ) -> Settling {
        self.moving_at(self.slope, spec, thresholds, reason)
    }

    fn moving_at(
        &self,
        rate_per_s: Option<f64>,
        spec: &SettleSpec,
        thresholds: &[f64],
        reason: Option<MovingReason>,
    ) -> Settling {
        let last = self.obs.last().map_or(0.0, |obs| obs.value);
        let (estimate, half_width) = match self.best {
            Some(best) => self.all.about(best.estimate),
            None => (last, f64::INFINITY),
        };
        let reason = reason.unwrap_or_else(|| self.reason(spec));
        let readings_left = (half_width.is_finite() && reason != MovingReason::Drifting)
            .then(|| self.readings_left(spec, thresholds, estimate, half_width));
        let pace = Pace::Assumed(spec.conversion_max_s);
        Settling::Moving(Moving { estimate, half_width, reason, readings_left, pace, rate_per_s })
    }

    fn reason(&self, spec: &SettleSpec) -> MovingReason {
        let scatter = self.scatter(spec);
        let young = self.obs.last().is_some_and(|obs| obs.t_s < CHARGING_TAUS * spec.tau_max_s);
        if spec.charging && young && watch::climbing(&self.obs, scatter) {
            MovingReason::Charging
        } else if self.suspect.is_some() || self.obs.iter().all(|obs| obs.bouncing) {
            MovingReason::Bouncing
        } else if self.slope.is_some() {
            MovingReason::Slow
        } else if self.mostly(self.wander) {
            MovingReason::Averaging
        } else if self.best.is_none_or(|best| best.moving) {
            MovingReason::Approaching
        } else if self.mostly(self.rebound) {
            MovingReason::Overshooting
        } else {
            MovingReason::Noisy
        }
    }

    /// Whether it is this that makes the interval wide.
    fn mostly(&self, reach: f64) -> bool {
        reach > 0.0 && 2.0 * reach >= MOSTLY * self.now.width()
    }

    /// The half width falls roughly with the square root of the count.
    fn readings_left(&self, spec: &SettleSpec, thresholds: &[f64], estimate: f64, half_width: f64) -> u32 {
        let nearest = thresholds.iter().map(|t| libm::fabs(t - estimate)).fold(f64::INFINITY, f64::min);
        let goal = if nearest.is_finite() { nearest.max(spec.settle_floor) } else { spec.settle_floor };
        let ratio = half_width / goal;
        let left = self.n as f64 * (ratio * ratio - 1.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
        let left = libm::ceil(left).clamp(1.0, 999.0) as u32;
        left
    }
}

#[cfg(test)]
mod tests;
