//! How long to wait before the next attempt: 100 ms, doubling to 1 s, with a small fixed offset per link so that
//! several links do not retry in step. Deterministic; holds no clock.

use std::time::Duration;

use crate::selector::Selector;

const FIRST_MS: u64 = 100;
const MOST_MS: u64 = 1000;

/// The waits of one link.
#[derive(Debug, Clone)]
pub(crate) struct Backoff {
    next_ms: u64,
    /// Part subtracted from each wait, 0 to 24 percent.
    spread_percent: u64,
}

impl Backoff {
    pub(crate) fn new(selector: &Selector) -> Self {
        // FNV-1a, 32 bit: any fixed hash would do.
        let hash = selector
            .as_str()
            .bytes()
            .fold(0x811c_9dc5_u32, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193));
        Self { next_ms: FIRST_MS, spread_percent: u64::from(hash % 25) }
    }

    /// The wait before the next attempt.
    pub(crate) fn step(&mut self) -> Duration {
        let wait_ms = self.next_ms;
        self.next_ms = wait_ms.saturating_mul(2).min(MOST_MS);
        Duration::from_millis(wait_ms - wait_ms * self.spread_percent / 100)
    }

    /// The device was heard: start again with the short wait.
    pub(crate) fn reset(&mut self) {
        self.next_ms = FIRST_MS;
    }
}
