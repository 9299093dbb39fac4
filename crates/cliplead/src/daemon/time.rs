//! The round's time beside the machine's: it begins at zero, never runs backwards, and knows when nobody looked at the clock.
//! Does not tell the round; `core` does.

use std::time::Duration;

use quantity::Instant;

use crate::clock::{Clock, Moment};

/// A longer span between two looks at the clock is one in which nobody watched.
const WATCHED: Duration = Duration::from_secs(10);

/// The time of a round.
pub(super) struct RoundTime {
    clock: Clock,
    start: Moment,
    /// When somebody last looked at the clock.
    watched: Moment,
    now: Instant,
}

impl RoundTime {
    /// The round begins now.
    pub(super) fn new(clock: Clock) -> Self {
        let start = clock();
        Self { clock, start, watched: start, now: Instant::ZERO }
    }

    /// The machine's time.
    pub(super) fn moment(&self) -> Moment {
        (self.clock)()
    }

    /// How far the round's time has come.
    pub(super) fn now(&self) -> Instant {
        self.now
    }

    /// Time goes on to here, or stays where it is if that is past. Gives the span in which nobody watched, if there was one.
    pub(super) fn go_on(&mut self, at: Moment) -> Option<Duration> {
        let span = at.since(self.watched);
        self.watched = self.watched.max(at);
        self.now = self.now.max(self.of(at));
        (span > WATCHED).then_some(span)
    }

    /// A microsecond later than anything before: what people do has a time of its own.
    pub(super) fn step_on(&mut self) {
        self.now = self.now + quantity::Duration::from_micros(1);
    }

    /// How long it is until then.
    pub(super) fn until(&self, due: Instant) -> Duration {
        Duration::from_micros(u64::try_from(due.since(self.of(self.moment())).micros()).unwrap_or(0))
    }

    fn of(&self, moment: Moment) -> Instant {
        Instant::from_micros(i64::try_from(moment.since(self.start).as_micros()).unwrap_or(i64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;

    /// The machine's time is 1000 s at the start, and stays there.
    fn time() -> RoundTime {
        RoundTime::new(Arc::new(|| at(0)))
    }

    fn at(ms: u64) -> Moment {
        Moment(Duration::from_secs(1_000) + Duration::from_millis(ms))
    }

    #[test]
    fn it_begins_at_zero_and_never_runs_backwards() {
        let mut time = time();
        assert_eq!(time.now(), Instant::ZERO);
        // Two devices are read by tasks of their own: what came first may be handed in last.
        for (ms, now_us) in [(500, 500_000), (300, 500_000), (700, 700_000)] {
            assert_eq!(time.go_on(at(ms)), None);
            assert_eq!(time.now().micros(), now_us);
        }
        // Stamped before the round began.
        assert_eq!(time.go_on(Moment::default()), None);
        assert_eq!(time.now().micros(), 700_000);
    }

    #[test]
    fn a_step_counts_whatever_the_clock_says() {
        let mut time = time();
        for us in 1..=3 {
            time.go_on(at(0));
            time.step_on();
            assert_eq!(time.now().micros(), us);
        }
        time.go_on(at(1));
        assert_eq!(time.now().micros(), 1_000);
    }

    #[test]
    fn ten_seconds_are_watched_and_more_are_not() {
        let mut time = time();
        assert_eq!(time.go_on(at(10_000)), None);
        assert_eq!(time.go_on(at(20_001)), Some(Duration::from_millis(10_001)));
        // It is told once; what comes late out of that span is nothing new.
        assert_eq!(time.go_on(at(15_000)), None);
        assert_eq!(time.go_on(at(30_001)), None);
    }

    #[test]
    fn what_is_due_already_is_not_waited_for() {
        let mut time = time();
        assert_eq!(time.until(Instant::from_micros(2_500_000)), Duration::from_millis(2_500));
        time.go_on(at(1_000));
        // The machine's clock counts, not how far the round has come.
        assert_eq!(time.until(Instant::from_micros(1_000_000)), Duration::from_secs(1));
        assert_eq!(time.until(Instant::from_micros(-5)), Duration::ZERO);
    }
}
