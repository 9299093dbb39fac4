//! The state of one call of `judge`: the path of its comparisons and its deadline; and why a call failed, in our
//! words. Holds no values of the rule.

use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::sync::Arc;
use core::sync::atomic::{AtomicU32, Ordering};

use rhai::{Dynamic, EvalAltResult, NativeCallContext, Position};

use crate::diagnostic::At;
use crate::limits::{CALL_LEVELS_MAX, Limits};

/// An error of a host function, as rhai carries it.
pub(crate) type HostError = Box<EvalAltResult>;

/// An error with this text; rhai adds the position of the call.
pub(crate) fn refuse(message: impl AsRef<str>) -> HostError {
    Box::new(EvalAltResult::ErrorRuntime(message.as_ref().into(), Position::NONE))
}

/// rhai's error in our words, at the innermost position; `steps` is the limit of the call.
pub(crate) fn failed(error: EvalAltResult, steps: u64) -> (At, String) {
    let mut inner = error;
    while let EvalAltResult::ErrorInFunctionCall(_, _, next, _) = inner {
        inner = *next;
    }
    let at = At::from(inner.position());
    let message = match inner {
        EvalAltResult::ErrorRuntime(text, _) => text.to_string(),
        EvalAltResult::ErrorTooManyOperations(_) => format!("this took more than {steps} steps"),
        EvalAltResult::ErrorStackOverflow(_) => {
            format!("functions call functions more than {CALL_LEVELS_MAX} deep")
        }
        EvalAltResult::ErrorMismatchDataType(wanted, given, _) => {
            format!("{wanted} is wanted here, {given} was given")
        }
        EvalAltResult::ErrorPropertyNotFound(name, _) => format!("there is no field {name}"),
        EvalAltResult::ErrorFunctionNotFound(signature, _) => format!("no such function: {signature}"),
        EvalAltResult::ErrorVariableNotFound(name, _) => format!("nothing is named {name}"),
        mut other => {
            other.clear_position();
            other.to_string()
        }
    };
    (at, message)
}

/// One call of `judge`.
pub(crate) struct Run {
    /// Two 32-bit lanes, because targets without 64-bit atomics run this too.
    lanes: [AtomicU32; 2],
    ticks: AtomicU32,
    clock: Option<fn() -> i64>,
    until_us: i64,
}

/// The handle that rhai carries as the tag of the call.
#[derive(Clone)]
pub(crate) struct RunHandle(pub(crate) Arc<Run>);

/// The clock is read once in this many host calls.
const TICKS_PER_LOOK: u32 = 64;

impl Run {
    pub(crate) fn new(limits: &Limits) -> Self {
        let until_us = limits.now_us.map_or(i64::MAX, |now| now().saturating_add(limits.deadline_us));
        Self {
            lanes: [AtomicU32::new(0x811C_9DC5), AtomicU32::new(0x9E37_79B9)],
            // The clock was read just now.
            ticks: AtomicU32::new(1),
            clock: limits.now_us,
            until_us,
        }
    }

    /// Mixes the outcome of a comparison, or of a step function, into the path (FNV-1a, and a second lane with
    /// another multiplier). A rule is deterministic, so the sequence of outcomes identifies its path.
    fn record(&self, outcome: u32) {
        for (lane, prime) in self.lanes.iter().zip([0x0100_0193_u32, 0x85EB_CA6B]) {
            let mixed = (lane.load(Ordering::Relaxed) ^ (outcome.wrapping_add(1))).wrapping_mul(prime);
            lane.store(mixed ^ (mixed >> 15), Ordering::Relaxed);
        }
    }

    pub(crate) fn path(&self) -> u64 {
        let [a, b] = &self.lanes;
        (u64::from(a.load(Ordering::Relaxed)) << 32) | u64::from(b.load(Ordering::Relaxed))
    }

    fn tick(&self) -> Result<(), HostError> {
        let Some(clock) = self.clock else { return Ok(()) };
        let ticks = self.ticks.fetch_add(1, Ordering::Relaxed);
        if ticks.is_multiple_of(TICKS_PER_LOOK) && clock() > self.until_us {
            return Err(refuse("the rule took too long: its time is spent"));
        }
        Ok(())
    }
}

/// Runs `f` on the state of the current call. Without one (never in a rule) there is nothing to record.
fn with_run<T: Default>(
    context: &NativeCallContext<'_>,
    f: impl FnOnce(&Run) -> Result<T, HostError>,
) -> Result<T, HostError> {
    match context.tag().and_then(Dynamic::read_lock::<RunHandle>) {
        Some(handle) => f(&handle.0),
        None => Ok(T::default()),
    }
}

/// Reads the clock from time to time.
pub(crate) fn tick(context: &NativeCallContext<'_>) -> Result<(), HostError> {
    with_run(context, Run::tick)
}

/// Records the outcome of a comparison or step, and reads the clock.
pub(crate) fn record(context: &NativeCallContext<'_>, outcome: u32) -> Result<(), HostError> {
    with_run(context, |run| {
        run.record(outcome);
        run.tick()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_path_tells_orders_and_lengths_apart() {
        let path = |outcomes: &[u32]| {
            let run = Run::new(&Limits::default());
            outcomes.iter().for_each(|o| run.record(*o));
            run.path()
        };
        let mut seen: alloc::vec::Vec<u64> = (0..12_u32)
            .flat_map(|bits| (0..=bits).map(move |n| (n, bits)))
            .map(|(n, bits)| path(&(0..bits).map(|i| n >> i & 1).collect::<alloc::vec::Vec<_>>()))
            .collect();
        seen.sort_unstable();
        let total = seen.len();
        seen.dedup();
        assert_eq!(seen.len(), total);
    }
}
