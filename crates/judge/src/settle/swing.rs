//! How much a reading may come back of the way it has just come: a filter that rings overshoots by a part of its travel.
//! Finds the travel; what it is worth stands in the spec.

use super::contact::FIRST;
use super::window::Obs;

/// A look of one span believes that what came up to this many spans before its end may come back in part: a ring would have
/// shown in a span as long as the movement took.
const REBOUND_SPANS: f64 = 2.0;

/// How far the readings travelled over a growing span that ends with the newest.
pub(super) struct Swing<'a> {
    obs: &'a [Obs],
    /// A step of this size is movement.
    step: f64,
    /// Readings not yet looked at; the first of a contact is looked at only when a movement leads there.
    left: usize,
    low: f64,
    high: f64,
}

impl<'a> Swing<'a> {
    pub(super) fn new(obs: &'a [Obs], step: f64) -> Self {
        Self { obs, step, left: obs.len(), low: f64::INFINITY, high: f64::NEG_INFINITY }
    }

    /// The travel over [`REBOUND_SPANS`] spans of this window, up to its end; a movement that was under way when that span
    /// began counts from where it began. Windows come in growing order.
    pub(super) fn over(&mut self, window: &[Obs]) -> f64 {
        let (Some(first), Some(last)) = (window.first(), window.last()) else { return 0.0 };
        let from_s = last.t_s - REBOUND_SPANS * (last.t_s - first.t_s) - 1e-9;
        while let Some(obs) = self.left.checked_sub(1).and_then(|at| self.obs.get(at)) {
            if obs.t_s < from_s || self.left <= FIRST {
                break;
            }
            (self.low, self.high) = (self.low.min(obs.value), self.high.max(obs.value));
            self.left -= 1;
        }
        let (mut low, mut high, mut at) = (self.low, self.high, self.left);
        let value = |at: usize| self.obs.get(at).map(|obs| obs.value);
        let mut step = value(at + 1).zip(value(at)).map_or(0.0, |(a, b)| a - b);
        while let Some((before, here)) = at.checked_sub(1).and_then(value).zip(value(at)) {
            if libm::fabs(step) < self.step || (here - before) * step <= 0.0 {
                break;
            }
            (low, high) = (low.min(before), high.max(before));
            step = here - before;
            at -= 1;
        }
        (high - low).max(0.0)
    }
}
