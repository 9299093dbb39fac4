//! What goes into the settler and what it answers. No arithmetic here.

use quantity::Instant;

/// One reading as the settler takes it. All values of one settler are in the one unit its caller chose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// What the meter showed.
    pub shown: Displayed,
    /// The meter's hold (or min/max) flag: the digits are stored ones and say nothing about now.
    pub hold: bool,
}

/// What the display showed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Displayed {
    /// A number. A non-finite one is treated as [`Displayed::NoValue`].
    Value(f64),
    /// Beyond the range.
    Overload,
    /// No number: dashes, blank, ranging.
    NoValue,
}

impl Sample {
    /// A live number.
    #[must_use]
    pub const fn value(value: f64) -> Self {
        Self { shown: Displayed::Value(value), hold: false }
    }

    /// A live overload.
    #[must_use]
    pub const fn overload() -> Self {
        Self { shown: Displayed::Overload, hold: false }
    }

    /// A live display without a number.
    #[must_use]
    pub const fn no_value() -> Self {
        Self { shown: Displayed::NoValue, hold: false }
    }

    /// The same sample with the hold flag set.
    #[must_use]
    pub const fn held(self) -> Self {
        Self { hold: true, ..self }
    }
}

/// The state after a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Settling {
    /// No contact: nothing yet, or open leads since the last contact.
    Empty,
    /// In contact and not to be judged yet.
    Moving(Moving),
    /// To be judged.
    Settled(Settled),
    /// The hold flag is set; nothing is learnt until it clears, and then settling starts anew.
    Held,
    /// The same digits for longer than the noise seen before allows, or longer than the spec believes of any live
    /// display. A link that repeats its last frame looks like this. Never judged.
    Frozen {
        /// The first of the equal readings.
        since: Instant,
    },
    /// Contact was lost with this reading (overload, or open by [`super::OpenReads`]). Reported once, then `Empty`.
    LiftedOff,
    /// This reading jumped away from its neighbours and is set aside; what was known before it still stands.
    BounceRejected,
}

impl Settling {
    /// The settled reading, if that is the state.
    #[must_use]
    pub const fn settled(&self) -> Option<&Settled> {
        match self {
            Self::Settled(settled) => Some(settled),
            _ => None,
        }
    }

    /// The best guess of the settled value; not a number where there is none.
    pub(super) const fn estimate(&self) -> f64 {
        match self {
            Self::Moving(moving) => moving.estimate,
            Self::Settled(settled) => settled.value,
            _ => f64::NAN,
        }
    }
}

/// How long one conversion of the display takes, and how that is known. Seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pace {
    /// The profile states it.
    Stated(f64),
    /// The runs of equal digits show it.
    Measured(f64),
    /// Nobody said and the stream has not shown it: the cautious longest for the quantity.
    Assumed(f64),
}

/// Not settled: what is known so far and what it waits for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moving {
    /// Best guess of the settled value. For a progress display, never for a verdict.
    pub estimate: f64,
    /// The settled value lies within this of `estimate` at the stated risk; infinite while nothing can be said.
    pub half_width: f64,
    /// What is being waited for.
    pub reason: MovingReason,
    /// A rough count of further readings, when one can be given.
    pub readings_left: Option<u32>,
    /// How fast the display converts, as far as known.
    pub pace: Pace,
    /// How fast it moves now, per second, where that can be told from noise.
    pub rate_per_s: Option<f64>,
}

/// Why a reading is not settled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MovingReason {
    /// It still approaches its end value and slows down.
    Approaching,
    /// It stands, but its noise hides which side of a limit it is on.
    Noisy,
    /// A capacitance (or another charging range) that climbs from zero.
    Charging,
    /// It still approaches, and fades more slowly than the longest time constant assumed: a slow probe, a long filter or
    /// average, or the part itself warms. No end value can be named yet.
    Slow,
    /// Its errors hang together: the meter averages, or the value flickers slowly. Each reading tells less than it seems.
    Averaging,
    /// It has just come a long way and comes back from beyond its end value, or may.
    Overshooting,
    /// A slope that does not fade: there is no end value to wait for yet.
    Drifting,
    /// First contact: jumps that neither noise nor an approach explains.
    Bouncing,
}

/// A reading that may be judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settled {
    /// Mean of the newest readings, or while they move a guess where they end: the estimate of what an infinitely long hold would show; always inside the interval.
    pub value: f64,
    /// Standard uncertainty of `value` from the scatter of these readings and the display step; type A in the sense of
    /// JCGM 100, 4.2. Not in it: the meter's accuracy, and what may be left of an approach. The latter is in
    /// `half_width`; after [`How::BeyondDoubt`] it cannot matter, else it is at most the settle floor or below the noise.
    pub standard_uncertainty: f64,
    /// The settled value lies within this of `value`, except at the stated risk. Early on it is far wider than the
    /// uncertainty, because it holds for every approach and noise that the spec allows.
    pub half_width: f64,
    /// The interval that holds the settled value except at the stated risk.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// The interval is as narrow as the settle floor, or as the noise allows: `value` is a figure. Else only the interval
    /// is known.
    pub at_rest: bool,
    /// Conversions used since contact.
    pub n: u32,
    /// Time of the first reading of this contact.
    pub since: Instant,
    /// On what ground.
    pub how: How,
    /// It moves by this much a second all the while, which the caller accepts.
    pub drift_per_s: Option<f64>,
}

/// The ground on which a reading counts as settled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// No threshold lies within the interval: more readings cannot change the verdict, except at the stated risk.
    BeyondDoubt,
    /// The interval is as narrow as the display can show; a threshold may lie inside, so the verdict needs the
    /// uncertainty.
    FullySettled,
    /// It drifts no faster than [`super::SettleSpec::drift_accepted_per_s`]: the value is that of now, and the interval holds what
    /// it moves while it is read.
    Drifting,
    /// The time limit has passed with no approach and no drift left, only noise. A threshold may lie inside.
    TimeLimit,
}

/// A link that has been quiet for too long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Silence {
    /// When the last reading came.
    pub since: Instant,
}
