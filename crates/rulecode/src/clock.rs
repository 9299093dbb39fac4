//! How long an evaluation may take, if the edge lends a clock. Reads none by itself.

use crate::fault::{At, Fault};

/// The limits of one evaluation. Its number of steps is always bounded: programs have no loops. Time is bounded if the
/// edge lends a clock (core has none).
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Longest duration of one evaluation, in microseconds; used only with `now_us`. A longer one fails, and the
    /// caller may treat a failure near the inputs as doubt: lend a clock that counts work and not waiting.
    pub deadline_us: i64,
    /// A monotonic clock in microseconds, lent by the edge.
    pub now_us: Option<fn() -> i64>,
}

impl Default for Limits {
    fn default() -> Self {
        Self { deadline_us: 50_000, now_us: None }
    }
}

/// The clock is read once in this many steps.
const TICKS_PER_LOOK: u32 = 64;

/// The time of one evaluation.
pub(crate) struct Clock {
    ticks: u32,
    now_us: Option<fn() -> i64>,
    until_us: i64,
}

impl Clock {
    /// For `count` evaluations at once.
    pub(crate) fn new(limits: &Limits, count: i64) -> Self {
        let allowed = limits.deadline_us.saturating_mul(count);
        let until_us = limits.now_us.map_or(i64::MAX, |now| now().saturating_add(allowed));
        // The clock was read just now.
        Self { ticks: 1, now_us: limits.now_us, until_us }
    }

    /// Reads the clock from time to time.
    pub(crate) fn tick(&mut self, at: At) -> Result<(), Fault> {
        let Some(now) = self.now_us else { return Ok(()) };
        let ticks = self.ticks;
        self.ticks = ticks.wrapping_add(1);
        if ticks.is_multiple_of(TICKS_PER_LOOK) && now() > self.until_us {
            return Err(Fault::new(at, SPENT));
        }
        Ok(())
    }
}

const SPENT: &str = "the rule took too long: its time is spent";
