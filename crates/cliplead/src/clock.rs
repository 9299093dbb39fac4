//! The daemon's clock. It keeps running while the machine sleeps, so that whatever was shown before grows old. The
//! caller supplies it, so that tests can play any course of time. Knows no calendar.

use std::sync::Arc;
use std::time::Duration;

use crate::sys;

/// A point in time: the span since a start that is fixed while the program runs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Moment(pub(crate) Duration);

impl Moment {
    /// The span since `earlier`; zero if that is later.
    pub(crate) fn since(self, earlier: Self) -> Duration {
        self.0.saturating_sub(earlier.0)
    }
}

/// Tells the time.
pub(crate) type Clock = Arc<dyn Fn() -> Moment + Send + Sync>;

/// The machine's clock; the system's file (`sys`) says how it behaves during sleep.
pub(crate) fn system() -> Clock {
    let clock = sys::clock();
    Arc::new(move || Moment(clock()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_goes_on_and_never_back() {
        let clock = system();
        let first = clock();
        let later = std::iter::repeat_with(|| clock()).find(|now| *now > first).unwrap();
        assert!(later.since(first) > Duration::ZERO);
        assert_eq!(first.since(later), Duration::ZERO);
    }
}
