//! What an armed check without a verdict waits for, point by point. Settles and judges nothing.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::Round;
use super::check::Phase;
use super::point::PointState;

/// One thing that a check waits for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StillWaits {
    /// The point's label; the rule's title where no point is to blame.
    pub what: String,
    /// Why, in words.
    pub why: String,
}

impl Round {
    /// What the armed check waits for; empty without one, and once it has its verdict.
    #[must_use]
    pub fn still_waits(&self) -> Vec<StillWaits> {
        let Some(check) = self.check.as_ref().filter(|check| check.phase != Phase::Done) else {
            return Vec::new();
        };
        let points = check.header().map_or(&[][..], |header| header.points.as_slice());
        let unsettled = points.iter().zip(&check.points).filter_map(|(point, state)| {
            let why = match state {
                PointState::Settled(_) => return None,
                PointState::Settling(settling) => settling.why_not_settled(),
                PointState::Waiting => "no reading".to_string(),
            };
            Some(StillWaits { what: point.label.clone(), why })
        });
        let unsettled: Vec<StillWaits> =
            if check.phase == Phase::Measuring { unsettled.collect() } else { Vec::new() };
        if !unsettled.is_empty() {
            return unsettled;
        }
        let what = check.header().map_or_else(|| check.plan.rule.clone(), |header| header.title.clone());
        alloc::vec![StillWaits { what, why: self.why_none_yet().to_string() }]
    }
}
