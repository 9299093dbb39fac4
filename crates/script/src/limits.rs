//! The limits of one call of a rule. Does not enforce them; `run` does.

/// Nesting of function calls; 16 levels would need 3 MiB of stack in a debug build (512 KiB in release), 8 fit 2 MiB.
pub(crate) const CALL_LEVELS_MAX: usize = 8;

/// The limits of one call of `judge`. The number of operations is always bounded; time is bounded if the edge lends a
/// clock (core has none).
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Longest duration of one call, in microseconds; used only with `now_us`. A longer call fails, and evaluation
    /// treats a failed call near the inputs as doubt: lend a clock that counts work and not waiting.
    pub deadline_us: i64,
    /// A monotonic clock in microseconds, lent by the edge.
    pub now_us: Option<fn() -> i64>,
}

impl Default for Limits {
    fn default() -> Self {
        Self { deadline_us: 50_000, now_us: None }
    }
}
