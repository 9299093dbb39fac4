//! Time in the core: a monotonic count of microseconds supplied by the caller. Nothing here reads a clock or knows
//! calendars; wall time belongs to the edge.

use core::ops::{Add, Sub};

/// A point in monotonic time: microseconds since the start of the stream (a live run or a recording).
///
/// Only differences have meaning. Zero is the start; negative values do not occur in a well-formed stream but are
/// harmless.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(i64);

/// A span of monotonic time in microseconds; may be negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Duration(i64);

impl Instant {
    /// The start of the stream.
    pub const ZERO: Self = Self(0);

    /// From microseconds since the start of the stream.
    #[must_use]
    pub const fn from_micros(us: i64) -> Self {
        Self(us)
    }

    /// Microseconds since the start of the stream.
    #[must_use]
    pub const fn micros(self) -> i64 {
        self.0
    }

    /// Seconds since the start of the stream.
    #[must_use]
    pub fn seconds(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// The span since `earlier`; saturates.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        Duration(self.0.saturating_sub(earlier.0))
    }
}

impl Duration {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// From microseconds.
    #[must_use]
    pub const fn from_micros(us: i64) -> Self {
        Self(us)
    }

    /// From milliseconds; saturates.
    #[must_use]
    pub const fn from_millis(ms: i64) -> Self {
        Self(ms.saturating_mul(1_000))
    }

    /// From whole seconds; saturates.
    #[must_use]
    pub const fn from_secs(s: i64) -> Self {
        Self(s.saturating_mul(1_000_000))
    }

    /// Microseconds.
    #[must_use]
    pub const fn micros(self) -> i64 {
        self.0
    }

    /// Seconds.
    #[must_use]
    pub fn seconds(self) -> f64 {
        self.0 as f64 / 1e6
    }
}

impl Add<Duration> for Instant {
    type Output = Self;
    fn add(self, span: Duration) -> Self {
        Self(self.0.saturating_add(span.0))
    }
}

impl Sub for Instant {
    type Output = Duration;
    fn sub(self, earlier: Self) -> Duration {
        self.since(earlier)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_saturate_instead_of_wrapping() {
        let late = Instant::from_micros(i64::MAX);
        assert_eq!(late + Duration::from_secs(1), late);
        assert_eq!(late.since(Instant::from_micros(-1)).micros(), i64::MAX);
        assert_eq!(Duration::from_secs(i64::MAX).micros(), i64::MAX);
    }

    #[test]
    fn seconds_are_microseconds_over_a_million() {
        assert_eq!(Instant::from_micros(1_500_000).seconds(), 1.5);
        assert_eq!((Instant::from_micros(3) - Instant::from_micros(5)).micros(), -2);
    }
}
