//! Decides which request is due when. Has no clock and does not know what a request contains.

use alloc::vec::Vec;

use quantity::{Duration, Instant};

/// Requests with their periods. The longest overdue one comes first, so a slow line starves none.
#[derive(Clone, Debug)]
pub(super) struct Schedule {
    requests: Vec<(Instant, Duration)>,
}

impl Schedule {
    pub(super) fn new(periods: impl Iterator<Item = Duration>) -> Self {
        Self { requests: periods.map(|period| (Instant::ZERO, period)).collect() }
    }

    /// Makes all of them due.
    pub(super) fn restart(&mut self, now: Instant) {
        self.requests.iter_mut().for_each(|(due, _)| *due = now);
    }

    /// The next request and when it is due.
    pub(super) fn next(&self) -> Option<(usize, Instant)> {
        let all = self.requests.iter().enumerate().map(|(i, (due, _))| (i, *due));
        all.min_by_key(|(_, due)| *due)
    }

    /// Notes that a request was sent. Missed periods are not made up.
    pub(super) fn sent(&mut self, request: usize, now: Instant) {
        if let Some((due, period)) = self.requests.get_mut(request) {
            *due = (*due + *period).max(now);
        }
    }
}
