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

#[cfg(test)]
mod tests {
    use super::*;

    fn bounds(low: f64, high: f64) -> Bounds {
        let (level, estimate, standard_uncertainty, scatter) = (0.0, 0.0, 0.0, 0.0);
        Bounds { low, high, level, estimate, standard_uncertainty, scatter, moving: false }
    }

    #[test]
    fn what_several_looks_say_is_what_they_have_in_common() {
        let mut interval = Interval::UNKNOWN;
        assert!(interval.width() == f64::INFINITY && !interval.is_empty());
        interval.narrow(&bounds(1.0, 4.0));
        interval.narrow(&bounds(2.0, 5.0));
        assert_eq!(interval, Interval { low: 2.0, high: 4.0 });
        assert_eq!(interval.width(), 2.0);
        interval.narrow(&bounds(4.0, 5.0));
        assert!(interval.width() == 0.0 && !interval.is_empty(), "they meet in one value");
        interval.narrow(&bounds(4.5, 5.0));
        assert!(interval.is_empty(), "they contradict each other");
    }

    #[test]
    fn a_value_is_drawn_into_the_interval_and_reaches_to_its_farther_end() {
        let interval = Interval { low: 2.0, high: 6.0 };
        assert_eq!(interval.about(3.0), (3.0, 3.0));
        assert_eq!(interval.about(5.5), (5.5, 3.5));
        assert_eq!(interval.about(1.0), (2.0, 4.0));
        assert_eq!(interval.about(9.0), (6.0, 4.0));
    }

    #[test]
    fn a_threshold_inside_or_at_an_end_leaves_doubt_and_so_does_having_none() {
        let interval = Interval { low: 2.0, high: 6.0 };
        assert!(interval.in_doubt(&[]) && interval.in_doubt(&[9.0, 2.0]) && interval.in_doubt(&[6.0]));
        assert!(!interval.in_doubt(&[1.9, 6.1]));
    }
}
