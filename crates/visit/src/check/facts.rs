//! What a check's judgement is made from, lent by its parts: the job, the points, the answers so far. Reads only.

use alloc::vec::Vec;

use super::points::Points;
use super::questions::Questions;
use crate::job::Job;
use crate::plate;
use crate::verdict::{PlateUsed, Reason};
use judge::evaluate::Input;
use judge::limits::DecisionRule;

/// The parts of a check, to be read.
#[derive(Clone, Copy)]
pub(super) struct Facts<'a> {
    pub(super) job: &'a Job,
    pub(super) points: &'a Points,
    pub(super) questions: &'a Questions,
    pub(super) decision: DecisionRule,
}

/// The nameplate values in force, in the order of the rule; `None` without a rule.
pub(super) fn plate_of(job: &Job) -> Option<Result<Vec<PlateUsed>, Reason>> {
    Some(plate::resolve(job.header()?, &job.plan))
}

/// All inputs of the rule in its order; `None` while a point has no value. `instead` supplies one that is still settling.
pub(super) fn inputs(
    points: &Points,
    used: &[PlateUsed],
    instead: Option<(usize, Input)>,
) -> Option<Vec<Input>> {
    let mut inputs = Vec::with_capacity(points.states().len() + used.len());
    for (index, state) in points.states().iter().enumerate() {
        let given = instead.filter(|(at, _)| *at == index).map(|(_, input)| input);
        inputs.push(given.or_else(|| Some(state.settled()?.input))?);
    }
    inputs.extend(used.iter().map(|used| Input { value: used.value, standard_uncertainty: 0.0 }));
    Some(inputs)
}
