//! Which request is due when. Holds no clock and does not know what a request says.

use alloc::vec::Vec;

use quantity::{Duration, Instant};

/// Requests with their periods; the one longest overdue comes first, so none is left out when the line is slow.
#[derive(Clone, Debug)]
pub(super) struct Schedule {
    requests: Vec<(Instant, Duration)>,
}

impl Schedule {
    pub(super) fn new(periods: impl Iterator<Item = Duration>) -> Self {
        Self { requests: periods.map(|period| (Instant::ZERO, period)).collect() }
    }

    /// All are due.
    pub(super) fn restart(&mut self, now: Instant) {
        self.requests.iter_mut().for_each(|(due, _)| *due = now);
    }

    /// The next one and when it is due.
    pub(super) fn next(&self) -> Option<(usize, Instant)> {
        let all = self.requests.iter().enumerate().map(|(i, (due, _))| (i, *due));
        all.min_by_key(|(_, due)| *due)
    }

    /// It was sent; what was missed is not made up for.
    pub(super) fn sent(&mut self, request: usize, now: Instant) {
        if let Some((due, period)) = self.requests.get_mut(request) {
            *due = (*due + *period).max(now);
        }
    }
}
