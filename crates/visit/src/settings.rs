//! What a shop sets once for all checks. Plain data.

use judge::limits::DecisionRule;

/// What a shop sets once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// How a value near a limit is called.
    pub decision: DecisionRule,
    /// Accepted probability that more readings would change a verdict.
    pub risk: f64,
    /// The caller stores each verdict and says so with [`crate::event::Event::Stored`]; until then the verdict shows nothing to other
    /// checks. False: every verdict counts at once.
    pub verdicts_are_stored: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self { decision: DecisionRule::default(), risk: 1e-3, verdicts_are_stored: false }
    }
}
