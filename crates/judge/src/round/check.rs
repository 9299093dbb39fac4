//! The armed check: its plan, its rule, its points, its question and its verdict. Holds state and answers questions
//! about it; what happens next is decided in `mod.rs`, `measure.rs` and `conclude.rs`.

use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;

use quantity::Instant;

use super::event::Plan;
use super::gate::{Gate, Place};
use super::point::PointState;
use crate::evaluate::Evaluation;
use crate::hold::proof::Proof;
use crate::rule::{Header, Rule};
use crate::verdict::Verdict;

/// Where a check stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// Hold points are open.
    HoldPoints,
    /// Readings are awaited.
    Measuring,
    /// A question must be answered.
    Asking,
    /// It has its verdict.
    Done,
}

/// A question to the mechanic.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Question {
    pub(super) about: About,
    pub(super) text: String,
}

/// What a question is about; a question answered with yes is not asked again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum About {
    /// A point's value is outside what is plausible.
    Implausible(usize),
    /// A point's typed digits look swapped.
    SwappedReading(usize),
    /// A nameplate value's digits look swapped.
    SwappedPlate(String),
    /// The leads read open: are they on the part?
    OpenPart(usize),
}

/// The armed check.
pub(super) struct Check {
    pub(super) number: u32,
    pub(super) plan: Plan,
    /// `None` when the plan names a rule that does not exist.
    pub(super) rule: Option<Arc<dyn Rule>>,
    pub(super) phase: Phase,
    pub(super) proof: Option<(String, Proof)>,
    pub(super) proof_says: String,
    pub(super) points: Vec<PointState>,
    /// Points taken before the gate was open; dropped when it opens.
    pub(super) premature: bool,
    /// A point settled on this device must be lifted before the next of the same kind starts.
    pub(super) await_lift: Option<String>,
    pub(super) question: Option<Question>,
    pub(super) accepted: Vec<About>,
    pub(super) low_battery: bool,
    pub(super) volts_run: u32,
    pub(super) last_evaluation: Option<Evaluation>,
    pub(super) verdict: Option<Verdict>,
    pub(super) verdict_live: bool,
}

impl Check {
    pub(super) fn new(number: u32, plan: Plan, rule: Option<Arc<dyn Rule>>) -> Self {
        let points = rule.as_ref().map_or(0, |rule| rule.header().points.len());
        Self {
            number,
            plan,
            rule,
            phase: Phase::HoldPoints,
            proof: None,
            proof_says: String::new(),
            points: (0..points).map(|_| PointState::Waiting).collect(),
            premature: false,
            await_lift: None,
            question: None,
            accepted: Vec::new(),
            low_battery: false,
            volts_run: 0,
            last_evaluation: None,
            verdict: None,
            verdict_live: false,
        }
    }

    pub(super) fn header(&self) -> Option<&Header> {
        self.rule.as_ref().map(|rule| rule.header())
    }

    pub(super) fn place(&self) -> Place<'_> {
        Place { unit_tag: &self.plan.unit_tag, component: &self.plan.component }
    }

    pub(super) fn hold_points(&self) -> &[String] {
        self.header().map_or(&[], |header| header.hold_points.as_slice())
    }

    /// Hold points that are not shown, in order.
    pub(super) fn open_hold_points(&self, gate: &Gate) -> Vec<String> {
        let place = self.place();
        self.hold_points().iter().filter(|name| gate.evidence(name, place).is_none()).cloned().collect()
    }

    /// Forgets all readings and what followed from them.
    pub(super) fn forget_readings(&mut self) {
        for point in &mut self.points {
            *point = PointState::Waiting;
        }
        self.premature = false;
        self.await_lift = None;
        self.question = None;
        self.accepted.clear();
        self.low_battery = false;
        self.last_evaluation = None;
        self.verdict = None;
        self.verdict_live = false;
    }

    /// True when some reading is under way or taken, without a verdict yet.
    pub(super) fn is_pending(&self) -> bool {
        self.phase != Phase::Done && self.points.iter().any(|point| !matches!(point, PointState::Waiting))
    }

    /// The earliest time at which a point gives up or its link counts as silent.
    pub(super) fn next_deadline(&self) -> Option<Instant> {
        if !matches!(self.phase, Phase::Measuring | Phase::Done) {
            return None;
        }
        self.points
            .iter()
            .filter_map(|point| match point {
                PointState::Settling(settling) => {
                    [settling.gives_up_at(), settling.silent_at()].into_iter().flatten().min()
                }
                PointState::Settled(settled) if self.verdict_live => settled.watch.as_ref()?.silent_at(),
                PointState::Settled(_) | PointState::Waiting => None,
            })
            .min()
    }
}
