//! Limits with guard bands: the four words of ILAC-G8:09/2019 and the probability of conformance of JCGM 106:2012.
//! Handles one value and its limits; `evaluate` combines several judgements.

use core::fmt;

/// How to name a value near a limit. The shop chooses; each verdict stores the choice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DecisionRule {
    /// Guard band w = U = `coverage_factor` x u on each limit (ILAC-G8:09/2019, 4.2.3: non-binary statement).
    Guarded {
        /// k in U = k u; 2 by default.
        coverage_factor: f64,
    },
    /// Simple acceptance: w = 0, only pass and fail (ILAC-G8:09/2019, 4.2.1). At the limit the risk is 50 %.
    Simple,
}

impl Default for DecisionRule {
    fn default() -> Self {
        Self::Guarded { coverage_factor: 2.0 }
    }
}

impl DecisionRule {
    /// k in U = k u, for U as shown ([`crate::evaluate::Judged::expanded_uncertainty`]) and to decide whether a meter
    /// is too coarse. A factor that is negative or not finite counts as 2: a slip in the settings never widens what
    /// is accepted.
    #[must_use]
    pub const fn coverage_factor(self) -> f64 {
        match self {
            Self::Guarded { coverage_factor } if coverage_factor.is_finite() && coverage_factor >= 0.0 => {
                coverage_factor
            }
            Self::Guarded { .. } | Self::Simple => 2.0,
        }
    }

    /// The factor from the standard uncertainty to the guard band ([`Margin::guard`]); 0 under simple acceptance.
    #[must_use]
    pub const fn guard_factor(self) -> f64 {
        match self {
            Self::Guarded { .. } => self.coverage_factor(),
            Self::Simple => 0.0,
        }
    }
}

impl fmt::Display for DecisionRule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Guarded { .. } => write!(f, "guarded, w = U (k = {})", self.coverage_factor()),
            Self::Simple => f.write_str("simple acceptance, w = 0"),
        }
    }
}

/// The five possible words of a check, from best to worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Word {
    /// Inside the limits by at least the guard band.
    Pass,
    /// Inside the limits, but within the guard band.
    ConditionalPass,
    /// No statement is possible; a reason accompanies it.
    NoVerdict,
    /// Outside the limits, but within the guard band.
    ConditionalFail,
    /// Outside the limits by more than the guard band.
    Fail,
}

impl Word {
    /// Every word, from best to worst.
    pub const ALL: [Self; 5] =
        [Self::Pass, Self::ConditionalPass, Self::NoVerdict, Self::ConditionalFail, Self::Fail];

    /// The word as shown and stored.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::ConditionalPass => "conditional pass",
            Self::NoVerdict => "no verdict",
            Self::ConditionalFail => "conditional fail",
            Self::Fail => "fail",
        }
    }

    /// The word with this text.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|word| word.text() == text)
    }
}

impl fmt::Display for Word {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.text())
    }
}

/// Which side of the limits decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Inside both.
    Inside,
    /// The low limit decided.
    Low,
    /// The high limit decided.
    High,
}

/// One side of a judgement: how far inside its limit the value is (negative: outside), and the standard uncertainty of
/// that distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margin {
    /// Distance to the limit, positive inside.
    pub inside_by: f64,
    /// Standard uncertainty of the distance (k = 1).
    pub standard_uncertainty: f64,
}

impl Margin {
    /// The guard band w at this limit, in the unit of the value; 0 under simple acceptance.
    #[must_use]
    pub fn guard(self, rule: DecisionRule) -> f64 {
        rule.guard_factor() * self.standard_uncertainty
    }

    /// The word for this side alone. A value exactly on the limit conforms; one exactly U inside passes.
    #[must_use]
    pub fn word(self, rule: DecisionRule) -> Word {
        let guard = self.guard(rule);
        if self.inside_by >= guard {
            Word::Pass
        } else if self.inside_by >= 0.0 {
            Word::ConditionalPass
        } else if self.inside_by >= -guard {
            Word::ConditionalFail
        } else {
            Word::Fail
        }
    }

    /// Probability that the true distance is negative, for a normally distributed value (JCGM 106:2012, 7.2).
    #[must_use]
    fn probability_outside(self) -> f64 {
        if self.standard_uncertainty > 0.0 {
            normal_tail(self.inside_by / self.standard_uncertainty)
        } else if self.inside_by >= 0.0 {
            0.0
        } else {
            1.0
        }
    }
}

/// Low and high side together.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Margins {
    /// Distance above the low limit, if there is one.
    pub low: Option<Margin>,
    /// Distance below the high limit, if there is one.
    pub high: Option<Margin>,
}

impl Margins {
    /// The worse word of the two sides, and the side that gave it. Without any limit there is nothing to judge: `no
    /// verdict`.
    #[must_use]
    pub fn word(self, rule: DecisionRule) -> (Word, Side) {
        let low = self.low.map(|m| (m.word(rule), Side::Low, m.inside_by));
        let high = self.high.map(|m| (m.word(rule), Side::High, m.inside_by));
        let worse = match (low, high) {
            (Some(l), Some(h)) => {
                let low_decides = l.0 > h.0 || (l.0 == h.0 && l.2 <= h.2);
                if low_decides { l } else { h }
            }
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => return (Word::NoVerdict, Side::Inside),
        };
        let side = if worse.0 == Word::Pass { Side::Inside } else { worse.1 };
        (worse.0, side)
    }

    /// Probability of conformance: Phi((high - y)/u) - Phi((low - y)/u) (JCGM 106:2012, 7.3 and 7.4), each side with
    /// its own uncertainty. Between 0 and 1.
    #[must_use]
    pub fn probability_of_conformance(self) -> f64 {
        let outside = |side: Option<Margin>| side.map_or(0.0, Margin::probability_outside);
        (1.0 - outside(self.low) - outside(self.high)).clamp(0.0, 1.0)
    }

    /// True if no reading could be a clear pass: U is more than half of the tolerance. ILAC-G8 requires the guard
    /// bands to leave an acceptance zone. One-sided limits always leave one.
    #[must_use]
    pub fn meter_too_coarse(self, rule: DecisionRule) -> bool {
        let (Some(low), Some(high)) = (self.low, self.high) else { return false };
        let k = rule.coverage_factor();
        let width = low.inside_by + high.inside_by;
        width >= 0.0 && k * low.standard_uncertainty + k * high.standard_uncertainty > width && {
            // Exactly known values are never "too coarse", even on a point tolerance.
            low.standard_uncertainty + high.standard_uncertainty > 0.0
        }
    }
}

/// Upper tail of the standard normal distribution, Q(z) = erfc(z / sqrt 2) / 2.
#[must_use]
pub fn normal_tail(z: f64) -> f64 {
    0.5 * libm::erfc(z / core::f64::consts::SQRT_2)
}

#[cfg(test)]
mod tests;
