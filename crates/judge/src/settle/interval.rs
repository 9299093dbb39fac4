//! The interval that holds the settled value. Arithmetic only.

use super::window::Bounds;

/// The interval for the settled value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Interval {
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Interval {
    pub(super) const UNKNOWN: Self = Self { low: f64::NEG_INFINITY, high: f64::INFINITY };

    pub(super) fn narrow(&mut self, bounds: &Bounds) {
        self.low = self.low.max(bounds.low);
        self.high = self.high.min(bounds.high);
    }

    pub(super) fn width(self) -> f64 {
        self.high - self.low
    }

    pub(super) fn is_empty(self) -> bool {
        self.low > self.high
    }

    /// A value drawn into the interval, and how far the interval reaches from it.
    pub(super) fn about(self, value: f64) -> (f64, f64) {
        let value = value.max(self.low).min(self.high);
        (value, (self.high - value).max(value - self.low))
    }

    pub(super) fn in_doubt(self, thresholds: &[f64]) -> bool {
        thresholds.is_empty() || thresholds.iter().any(|t| (self.low..=self.high).contains(t))
    }
}
