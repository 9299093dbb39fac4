//! What an armed check without a verdict waits for, point by point. Settles and judges nothing.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::points::{PointState, Points};
use crate::job::Job;

/// One thing that a check waits for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StillWaits {
    /// The point's label; the rule's title where no point is to blame.
    pub what: String,
    /// Why, in words.
    pub why: String,
}

/// The points that have no value yet, and why.
pub(super) fn unsettled(job: &Job, points: &Points) -> Vec<StillWaits> {
    let waits = job.points().iter().zip(points.states()).filter_map(|(point, state)| {
        let why = match state {
            PointState::Settled(_) => return None,
            PointState::Settling(settling) => settling.why_not_settled(),
            PointState::Waiting => "no reading".to_string(),
        };
        Some(StillWaits { what: point.label.clone(), why })
    });
    waits.collect()
}
