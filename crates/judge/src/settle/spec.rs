//! The settings of a settler, their meaning and their defaults per kind of quantity. Decides nothing.

use core::fmt;

use quantity::Timing;

/// 1 / sqrt(12): standard deviation of an error spread evenly over one display step (JCGM 100, F.2.2.1).
pub(super) const STEP_SD: f64 = 0.288_675_134_594_812_9;

/// How the meter shows that its leads touch nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OpenReads {
    /// As overload: resistance, continuity, thermocouple.
    Overload,
    /// As overload or as a magnitude up to this value: capacitance. A part that is truly open reads the same as open
    /// leads, so the settler calls it `Empty`; telling them apart needs the mechanic or another measurement.
    UpTo(f64),
}

/// What a settler may assume about a stream. Values and rates are in the caller's unit, times in seconds.
///
/// The stated risk holds for every stream within these assumptions and for none outside them (see the module text).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettleSpec {
    /// Display step, above 0: the value of one count of the last digit.
    pub resolution: f64,
    /// Largest accepted probability that a settled value would contradict the verdict; in `[1e-6, 0.2]`, default 1e-3.
    pub risk: f64,
    /// Smallest believable noise of one reading (standard deviation), at least `resolution / sqrt(12)`, the default.
    /// Keeps a few equal readings from claiming that there is no noise at all.
    pub noise_floor: f64,
    /// Largest believable noise of one reading on a good contact (standard deviation), at least `noise_floor`.
    /// This is what allows a verdict from two or three readings. Set it too low and early verdicts exceed the risk;
    /// infinity means "not known" and costs about three readings.
    pub noise_ceiling: f64,
    /// How long one conversion of the display takes, where the profile states it.
    pub conversion_s: Option<f64>,
    /// The longest that it may take where nothing is known; above 0.
    pub conversion_max_s: f64,
    /// Least time since contact before anything settles: the response of a probe.
    pub least_s: f64,
    /// How much of the way it has just come a reading may come back: a filter that rings. 0 to 1.
    pub rebound: f64,
    /// Longest time constant of an approach that is not seen to move: what is left of it shrinks by at least a factor e in
    /// this time. Above 0.
    pub tau_s: f64,
    /// Longest time constant of a movement that is seen. It counts until the stream shows a shorter one; at least `tau_s`.
    pub tau_max_s: f64,
    /// For how long a slope may go on that is seen at the foot of a faster approach, and may hide there: a probe that has
    /// come to the pipe's temperature while the pipe still warms. 0 where approaches end by themselves.
    pub slope_s: f64,
    /// Readings within this time of first contact are believed to be approach or bounce; they may show that the
    /// reading moves, they never carry its value.
    pub bounce_s: f64,
    /// What open leads look like.
    pub open: OpenReads,
    /// A climb from zero is a charging range (only the reason given for waiting depends on it).
    pub charging: bool,
    /// The interval's half width at which the reading is fully settled; default one display step.
    pub settle_floor: f64,
    /// After this time on a contact, noise alone is no reason to wait on.
    pub time_limit_s: f64,
    /// Silence after which the link is stale; the next reading then starts a new contact.
    pub silence_s: f64,
    /// Equal digits for this long are called frozen even if no noise was ever seen (common practice, no source: minutes).
    pub frozen_after_s: f64,
    /// A steady slope up to this much per second is no drift; default two display steps a minute (common practice).
    pub drift_per_s: f64,
    /// A slope that does not fade, up to this much per second, settles at its present value: the caller has named it. 0, the
    /// default: none does.
    pub drift_accepted_per_s: f64,
}

impl SettleSpec {
    /// Cautious settings for an unknown kind of quantity with this display step.
    #[must_use]
    pub fn new(resolution: f64) -> Self {
        Self {
            resolution,
            risk: 1e-3,
            noise_floor: resolution * STEP_SD,
            noise_ceiling: 6.0 * resolution,
            conversion_s: None,
            conversion_max_s: 2.0,
            least_s: 0.0,
            rebound: 0.35,
            tau_s: 2.0,
            tau_max_s: 6.0,
            slope_s: 0.0,
            bounce_s: 0.2,
            open: OpenReads::Overload,
            charging: false,
            settle_floor: resolution,
            time_limit_s: 30.0,
            silence_s: 5.0,
            frozen_after_s: 120.0,
            drift_per_s: 2.0 * resolution / 60.0,
            drift_accepted_per_s: 0.0,
        }
    }

    /// Capacitance on a part out of circuit. Noise and time constants: from memory, no source. Open leads show up to
    /// three counts.
    #[must_use]
    pub fn capacitance(resolution: f64) -> Self {
        Self {
            noise_ceiling: 3.0 * resolution,
            open: OpenReads::UpTo(3.0 * resolution),
            charging: true,
            silence_s: 8.0,
            ..Self::new(resolution)
        }
    }

    /// Resistance; open leads show overload. Noise and time constants: from memory, no source.
    #[must_use]
    pub fn resistance(resolution: f64) -> Self {
        Self { noise_ceiling: 3.0 * resolution, ..Self::new(resolution) }
    }

    /// Voltage. Open leads show a small value that is as good as any other, so only overload ends a contact. Noise
    /// and time constants: from memory, no source.
    #[must_use]
    pub fn voltage(resolution: f64) -> Self {
        Self::new(resolution)
    }

    /// Current by clamp; the load itself flickers. Noise and time constants: from memory, no source.
    #[must_use]
    pub fn current(resolution: f64) -> Self {
        Self { noise_ceiling: 8.0 * resolution, ..Self::new(resolution) }
    }

    /// Temperature with a clamp or bead probe. Noise and time constants: from memory, no source; a probe in still air
    /// can need more than the 15 s assumed. A steady pipe shows the same tenth of a degree for minutes.
    #[must_use]
    pub fn temperature(resolution: f64) -> Self {
        Self {
            noise_ceiling: 3.0 * resolution,
            rebound: 0.0,
            least_s: 5.0,
            tau_s: 15.0,
            tau_max_s: 60.0,
            slope_s: 150.0,
            time_limit_s: 180.0,
            frozen_after_s: 600.0,
            ..Self::new(resolution)
        }
    }

    /// Pressure on a running circuit. Noise and time constants: from memory, no source.
    #[must_use]
    pub fn pressure(resolution: f64) -> Self {
        Self {
            noise_ceiling: 8.0 * resolution,
            tau_s: 5.0,
            tau_max_s: 15.0,
            time_limit_s: 90.0,
            ..Self::new(resolution)
        }
    }

    /// With what the meter's profile states of its pace, in place of what is assumed. A probe that needs long is given its
    /// time, and may be as slow as that.
    #[must_use]
    pub fn timed(self, timing: Timing) -> Self {
        let response_s = timing.response_s.unwrap_or(0.0);
        Self {
            conversion_s: timing.conversion_s.or(self.conversion_s),
            least_s: self.least_s.max(response_s),
            tau_max_s: self.tau_max_s.max(response_s),
            ..self
        }
    }

    /// Checks every field.
    ///
    /// # Errors
    /// Names the first field that is out of range and the range.
    pub fn check(&self) -> Result<(), SpecError> {
        let open = match self.open {
            OpenReads::Overload => 0.0,
            OpenReads::UpTo(limit) => limit,
        };
        let above_zero = |v: f64| v.is_finite() && v > 0.0;
        let (conversion_s, accepted) = (self.conversion_s.unwrap_or(1.0), self.drift_accepted_per_s);
        let rules: [(&'static str, f64, bool, &'static str); 19] = [
            ("resolution", self.resolution, above_zero(self.resolution), "above 0"),
            ("risk", self.risk, (1e-6..=0.2).contains(&self.risk), "1e-6 to 0.2"),
            (
                "noise_floor",
                self.noise_floor,
                self.noise_floor.is_finite() && self.noise_floor >= 0.999 * STEP_SD * self.resolution,
                "at least resolution / sqrt(12)",
            ),
            (
                "noise_ceiling",
                self.noise_ceiling,
                self.noise_ceiling >= self.noise_floor,
                "at least noise_floor",
            ),
            ("conversion_s", conversion_s, above_zero(conversion_s), "above 0"),
            ("conversion_max_s", self.conversion_max_s, above_zero(self.conversion_max_s), "above 0"),
            ("least_s", self.least_s, self.least_s >= 0.0 && self.least_s.is_finite(), "0 or more"),
            ("rebound", self.rebound, (0.0..=1.0).contains(&self.rebound), "0 to 1"),
            ("tau_s", self.tau_s, above_zero(self.tau_s), "above 0"),
            (
                "tau_max_s",
                self.tau_max_s,
                self.tau_max_s.is_finite() && self.tau_max_s >= self.tau_s,
                "at least tau_s",
            ),
            ("slope_s", self.slope_s, self.slope_s >= 0.0 && self.slope_s.is_finite(), "0 or more"),
            ("bounce_s", self.bounce_s, self.bounce_s >= 0.0 && self.bounce_s.is_finite(), "0 or more"),
            ("open", open, open.is_finite() && open >= 0.0, "0 or more"),
            ("settle_floor", self.settle_floor, above_zero(self.settle_floor), "above 0"),
            ("time_limit_s", self.time_limit_s, self.time_limit_s > 0.0, "above 0"),
            (
                "silence_s",
                self.silence_s,
                above_zero(self.silence_s) && self.silence_s < 1e9,
                "above 0, below 1e9",
            ),
            ("frozen_after_s", self.frozen_after_s, self.frozen_after_s > 0.0, "above 0"),
            ("drift_per_s", self.drift_per_s, self.drift_per_s >= 0.0, "0 or more"),
            ("drift_accepted_per_s", accepted, accepted.is_finite() && accepted >= 0.0, "0 or more"),
        ];
        match rules.into_iter().find(|rule| !rule.2) {
            Some((field, value, _, range)) => Err(SpecError { field, value, range }),
            None => Ok(()),
        }
    }
}

/// A field of [`SettleSpec`] that is out of range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpecError {
    /// The field.
    pub field: &'static str,
    /// Its value.
    pub value: f64,
    /// What is allowed.
    pub range: &'static str,
}

impl fmt::Display for SpecError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "settling cannot start: {} is {}, it must be {}", self.field, self.value, self.range)
    }
}

impl core::error::Error for SpecError {}
