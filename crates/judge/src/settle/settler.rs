//! The settler: one contact after another, hold, open leads, silence. What happens within a contact, the stopping rule
//! included, is in `contact`.

use quantity::{Duration, Instant};

use super::budget::Starts;
use super::contact::{Contact, READINGS_MIN};
use super::conversion::Conversions;
use super::spec::{OpenReads, SettleSpec, SpecError};
use super::thresholds::{Ask, Thresholds};
use super::types::{Displayed, Moving, MovingReason, Sample, Settling, Silence};

/// Decides when a stream of readings has stopped moving. See the module text for the model.
#[derive(Clone, Debug)]
pub struct Settler {
    spec: SettleSpec,
    starts: Starts,
    conversions: Conversions,
    thresholds: Thresholds,
    contact: Option<Contact>,
    last_at: Option<Instant>,
    unrest: Unrest,
    state: Settling,
}

impl Settler {
    /// A settler without thresholds.
    ///
    /// # Errors
    /// If a field of the spec is out of range.
    pub fn new(spec: SettleSpec) -> Result<Self, SpecError> {
        spec.check()?;
        Ok(Self {
            conversions: conversions(&spec),
            spec,
            starts: Starts::new(),
            thresholds: Thresholds::default(),
            contact: None,
            last_at: None,
            unrest: Unrest::default(),
            state: Settling::Empty,
        })
    }

    /// The values of the settled reading at which the verdict would change, in any order; non-finite ones are ignored.
    /// They may change before every push and may depend on the readings: the risk is spent on the interval, not on
    /// them. None: nothing to decide, so wait for full settling.
    pub fn set_thresholds(&mut self, thresholds: &[f64]) {
        self.thresholds.set(thresholds);
    }

    /// The half width at which the reading is fully settled (see [`SettleSpec::settle_floor`]); what is not above zero
    /// and finite is ignored. The round sets it to the meter's own standard uncertainty where that is more than a
    /// display step: at the accepted risk the rest is then below a third of it. May change before every push.
    pub fn set_settle_floor(&mut self, half_width: f64) {
        if half_width.is_finite() && half_width > 0.0 {
            self.spec.settle_floor = half_width;
        }
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

    /// How long a conversion of the display is taken to be.
    #[must_use]
    pub fn conversion(&self) -> Duration {
        #[allow(clippy::cast_possible_truncation)] // seconds of a spec or between readings
        Duration::from_micros((self.conversions.length_s().0 * 1e6) as i64)
    }

    /// Takes over what another settler has seen of the same meter's pace: a change of range does not change it.
    pub fn take_pace(&mut self, other: &Self) {
        self.conversions.take_pace(&other.conversions);
    }

    /// Forgets everything but the spec and the thresholds: another function, another point, a gap in the bytes.
    pub fn reset(&mut self) {
        self.conversions = conversions(&self.spec);
        self.contact = None;
        self.last_at = None;
        self.unrest = Unrest::default();
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
        self.conversions.interrupt();
        self.contact = None;
        self.state = Settling::Empty;
        Some(Silence { since })
    }

    /// Takes one reading. One that is not later than the last is ignored.
    pub fn push(&mut self, at: Instant, sample: Sample) -> Settling {
        self.push_asking(at, sample, None)
    }

    /// The same, with thresholds that cost something to know: `ask` is called only where they may decide, so that each decision
    /// rests on an answer of its own moment. In between the last answer serves what is shown of the wait.
    pub fn push_asking(&mut self, at: Instant, sample: Sample, ask: Option<Ask<'_>>) -> Settling {
        if self.last_at.is_some_and(|last| at <= last) {
            return self.state;
        }
        let _ = self.check_silence(at);
        self.last_at = Some(at);
        self.state = match (sample.hold, sample.shown) {
            (true, _) => {
                self.conversions.interrupt();
                self.contact = None;
                Settling::Held
            }
            (false, Displayed::Value(value)) if value.is_finite() => self.take(at, value, ask),
            (false, Displayed::Overload) => self.open(),
            (false, Displayed::Value(_) | Displayed::NoValue) => {
                self.conversions.interrupt();
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
        self.conversions.interrupt();
        self.unrest = Unrest::default();
        match self.contact.take() {
            None => Settling::Empty,
            Some(contact) if contact.n < READINGS_MIN => Settling::BounceRejected,
            Some(_) => Settling::LiftedOff,
        }
    }

    fn take(&mut self, at: Instant, value: f64, ask: Option<Ask<'_>>) -> Settling {
        if matches!(self.spec.open, OpenReads::UpTo(limit) if libm::fabs(value) <= limit) {
            return self.open();
        }
        let fresh = self.conversions.take(at.micros() as f64 * 1e-6, value);
        if fresh {
            self.unrest.take(value, &self.spec);
        }
        let state = self.taken(at, value, fresh, ask);
        self.with_pace(state)
    }

    fn taken(&mut self, at: Instant, value: f64, fresh: bool, ask: Option<Ask<'_>>) -> Settling {
        let worn_out = self.contact.as_ref().is_some_and(|c| c.n > self.starts.last());
        if worn_out {
            self.contact = None;
        }
        let Some(contact) = self.contact.as_mut() else {
            let contact = Contact::begin(at, value, &self.spec);
            let state = contact.moving(&self.spec, self.thresholds.known(), None);
            self.contact = Some(contact);
            return state;
        };
        if fresh {
            if let Some(state) = contact.weigh_step(at, value, &self.spec) {
                return self.unrest.told(state);
            }
            if contact.is_spare(at, &self.spec) {
                contact.pass_over(at, value);
            } else {
                contact.append(at, value, &self.spec);
                contact.look_at_all(&self.spec, &self.starts);
            }
        } else if contact.has_suspect() {
            return self.state;
        }
        let mut thresholds = self.thresholds.asking(ask, self.state.estimate());
        let state = contact.decide(at, &self.spec, &mut thresholds);
        match state {
            Settling::Settled(_) if self.unrest.is_recent() => {
                contact.moving(&self.spec, self.thresholds.known(), Some(MovingReason::Bouncing))
            }
            state => self.unrest.told(state),
        }
    }

    fn with_pace(&self, state: Settling) -> Settling {
        match state {
            Settling::Moving(moving) => {
                Settling::Moving(Moving { pace: self.conversions.length_s().1, ..moving })
            }
            other => other,
        }
    }
}

fn conversions(spec: &SettleSpec) -> Conversions {
    let big_step = if spec.noise_ceiling.is_finite() { 3.0 * spec.noise_ceiling } else { f64::INFINITY };
    Conversions::new(spec.conversion_s, spec.conversion_max_s, big_step)
}

/// Readings of rest asked for by each turn of unrest.
const REST_PER_TURN: u32 = 3;
/// Turns remembered at most: 30 readings of rest.
const TURNS_MAX: u32 = 10;
/// Steps beyond this many times the believable noise are no noise.
const BIG_STEP_NOISES: f64 = 8.0;

/// Jumps to and fro that neither noise nor an approach makes: a bad contact, or a part still in its circuit. Among wild
/// values a few lie close together by chance; each turn therefore asks for more readings of rest before any is believed.
#[derive(Clone, Copy, Debug, Default)]
struct Unrest {
    last: Option<f64>,
    /// Direction of the last big step.
    up: Option<bool>,
    turns: u32,
    rest: u32,
}

impl Unrest {
    fn take(&mut self, value: f64, spec: &SettleSpec) {
        let step = value - self.last.replace(value).unwrap_or(value);
        let ceiling = if spec.noise_ceiling.is_finite() { spec.noise_ceiling } else { return };
        if libm::fabs(step) <= BIG_STEP_NOISES * ceiling {
            self.rest = self.rest.saturating_add(1);
            return;
        }
        let up = step > 0.0;
        if self.up.replace(up).is_some_and(|before| before != up) {
            self.turns = (self.turns + 1).min(TURNS_MAX);
        }
        self.rest = 0;
    }

    /// While it lasts, unrest is the reason for waiting, whatever the newest readings look like.
    fn told(self, state: Settling) -> Settling {
        match state {
            Settling::Moving(moving) if self.is_recent() => {
                Settling::Moving(Moving { reason: MovingReason::Bouncing, ..moving })
            }
            other => other,
        }
    }

    /// Two turns are forgiven: a bounce is a jump away and back, and then the value may have moved.
    fn is_recent(&self) -> bool {
        self.turns > 2 && self.rest < REST_PER_TURN * self.turns
    }
}
