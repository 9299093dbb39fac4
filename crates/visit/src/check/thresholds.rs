//! The values at which the word would change, seen from a point that still settles: they tell the settler when more readings could
//! no longer change the verdict. Remembers what was asked last. Gives no verdict.

use alloc::vec::Vec;

use quantity::{Instant, Reading, State};

use super::facts::{inputs, plate_of};
use super::points::moment::is_apart_from_others;
use super::points::{PointState, Points};
use crate::job::Job;
use judge::evaluate::{Evaluation, Input, evaluate};
use judge::limits::DecisionRule;
use judge::rule::Point;

/// What the rule said of the inputs that were asked at last.
#[derive(Default)]
pub(super) struct Asking {
    /// The newest judgement on the way to a verdict.
    evaluation: Option<Evaluation>,
    /// The inputs, and the thresholds found there.
    last: Option<(Vec<Input>, Vec<f64>)>,
}

/// From where the thresholds of a point are seen.
#[derive(Clone, Copy)]
pub(super) struct Viewpoint {
    index: usize,
    input: Input,
    at: Instant,
}

impl Viewpoint {
    /// The estimate so far, with the meter's own uncertainty there. `None` while nothing settles there, or at a reading that is
    /// no value.
    pub(super) fn of(points: &Points, index: usize, reading: &Reading, point: &Point) -> Option<Self> {
        let State::Value(shown) = reading.state else { return None };
        let settling = points.state(index).and_then(PointState::settling)?;
        let direct = reading.display.unit.convert(shown.to_f64(), point.display.unit).ok()?;
        let value = settling.estimate().unwrap_or(direct);
        let standard_uncertainty = settling.instrument_uncertainty(value, point.display.unit)?;
        Some(Self { index, input: Input { value, standard_uncertainty }, at: reading.at })
    }
}

impl Asking {
    /// The judgement that the thresholds were seen from.
    pub(super) fn evaluation(&self) -> Option<&Evaluation> {
        self.evaluation.as_ref()
    }

    /// The values at which the word would change; none near a fork of the rule, where another point is still missing, or where
    /// the rule gives no judgement: then only full settling counts. A rule says the same of the same inputs, so it is not run
    /// anew at those asked at last.
    pub(super) fn thresholds(
        &mut self,
        job: &Job,
        points: &Points,
        from: Viewpoint,
        decision: DecisionRule,
    ) -> Vec<f64> {
        self.ask(job, points, from, decision).unwrap_or_default()
    }

    fn ask(
        &mut self,
        job: &Job,
        points: &Points,
        from: Viewpoint,
        decision: DecisionRule,
    ) -> Option<Vec<f64>> {
        let Viewpoint { index, input, at } = from;
        let rule = job.rule.as_ref()?;
        if is_apart_from_others(job, points.states(), index, at) {
            return None;
        }
        let used = plate_of(job)?.ok()?;
        let inputs = inputs(points, &used, Some((index, input)))?;
        if let Some((_, thresholds)) = self.last.as_ref().filter(|(last, _)| *last == inputs) {
            return Some(thresholds.clone());
        }
        let evaluation = evaluate(&**rule, &inputs, decision).ok()?;
        let thresholds = evaluation.thresholds(index, input, decision);
        // Near a fork of the rule the margins alone do not say where the word changes: wait for full settling.
        let forks =
            matches!(&evaluation, Evaluation::Judged { path_changes, .. } if !path_changes.is_empty());
        let thresholds = if forks { Vec::new() } else { thresholds };
        self.evaluation = Some(evaluation);
        self.last = Some((inputs, thresholds.clone()));
        Some(thresholds)
    }
}

#[cfg(test)]
mod tests;
