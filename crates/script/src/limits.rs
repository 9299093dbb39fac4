//! What one call of a rule may spend. Does not count it; `run` does.

/// Functions that call functions; 16 would need 3 MiB of stack in a debug build (512 KiB in release), 8 fits 2 MiB.
pub(crate) const CALL_LEVELS_MAX: usize = 8;

/// What one call of `judge` may spend. The number of operations is always bounded; time is bounded when the edge lends
/// a clock (core has none).
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Longest run of one call, in microseconds; used with `now_us` only. A call that takes longer fails, and evaluation takes a
    /// failed call near the inputs for doubt: lend a clock that counts work and not waiting.
    pub deadline_us: i64,
    /// A monotone clock in microseconds, lent by the edge.
    pub now_us: Option<fn() -> i64>,
}

impl Default for Limits {
    fn default() -> Self {
        Self { deadline_us: 50_000, now_us: None }
    }
}
