//! The values at which the word would change: those last told, and a way to ask for those of this moment. Asking runs the rule, so
//! it is done where the answer may decide, and now and then for what is shown of the wait. Knows no rule.

use alloc::vec::Vec;

use super::interval::Interval;

/// Gives the thresholds as they are now.
pub type Ask<'a> = &'a mut dyn FnMut() -> Vec<f64>;

/// Readings after which the thresholds are asked for anew, though nothing rests on them.
const SHOWN_FOR: u32 = 8;

/// A threshold this part of the interval's width inside both ends will not have left it since it was told, while the estimate it
/// was seen from has moved by no more than half of it: thresholds move with the meter's doubt there, by some hundredths of
/// that. Our own choice.
const WELL_INSIDE: f64 = 0.0625;

/// The thresholds last told.
#[derive(Clone, Debug, Default)]
pub(super) struct Thresholds {
    known: Vec<f64>,
    /// Readings since they were asked for.
    age: u32,
    asked: bool,
    /// The estimate they were seen from.
    seen_from: f64,
}

impl Thresholds {
    pub(super) fn known(&self) -> &[f64] {
        &self.known
    }

    pub(super) fn set(&mut self, thresholds: &[f64]) {
        self.known.clear();
        self.known.extend(thresholds.iter().copied().filter(|t| t.is_finite()));
    }

    fn lie_well_inside(&self, interval: Interval, estimate: f64) -> bool {
        let width = interval.width();
        let margin = WELL_INSIDE * width;
        self.asked
            && margin.is_finite()
            && libm::fabs(estimate - self.seen_from) <= 0.5 * width
            && self.known.iter().any(|t| (interval.low + margin..=interval.high - margin).contains(t))
    }

    /// For one reading, with the estimate before it: the thresholds are seen from there.
    pub(super) fn asking<'t, 'a>(&'t mut self, ask: Option<Ask<'a>>, estimate: f64) -> Asking<'t, 'a> {
        self.age = self.age.saturating_add(1);
        let is_due = ask.is_some() && (!self.asked || self.age > SHOWN_FOR);
        let mut asking = Asking { told: self, ask, estimate };
        if is_due {
            let _ = asking.now();
        }
        asking
    }
}

/// The thresholds while one reading is taken: asked for once at most.
pub(super) struct Asking<'t, 'a> {
    told: &'t mut Thresholds,
    ask: Option<Ask<'a>>,
    estimate: f64,
}

impl Asking<'_, '_> {
    /// Those of this moment.
    pub(super) fn now(&mut self) -> &[f64] {
        if let Some(ask) = self.ask.take() {
            let fresh = ask();
            self.told.set(&fresh);
            (self.told.age, self.told.asked, self.told.seen_from) = (0, true, self.estimate);
        }
        &self.told.known
    }

    /// Whether a threshold lies inside the interval. One that lay well inside when last told still does: then nothing is asked,
    /// and nothing settles on the answer. Everything that settles rests on thresholds of this moment.
    pub(super) fn leave_doubt(&mut self, interval: Interval) -> bool {
        self.told.lie_well_inside(interval, self.estimate) || interval.in_doubt(self.now())
    }

    /// Those last told.
    pub(super) fn known(&self) -> &[f64] {
        &self.told.known
    }
}

#[cfg(test)]
mod tests;
