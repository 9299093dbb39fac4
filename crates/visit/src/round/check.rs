//! The armed check: its plan, its rule, its points, its question and its verdict. Holds state and answers questions
//! about it; what happens next is decided in `round.rs`, `measure.rs` and `conclude.rs`.

use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;

use quantity::{DeviceChannel, Duration, Instant};

use super::about::{About, Question};
use super::event::Plan;
use super::gate::{Gate, Place};
use super::point::PointState;
use super::settling::SettlingPoint;
use super::since::Amended;
use super::volts::Volts;
use crate::hold::proof::Proof;
use crate::hold::{self, ByStream, Evidence};
use crate::verdict::Verdict;
use judge::evaluate::{Evaluation, Input};
use judge::rule::{Header, Point, Rule};

/// A settled reading is too old to be judged after this time. Our own choice, the shortest-lived part of it being what
/// a hold point of one component lasts.
const READING_LASTS: Duration = Duration::from_secs(30 * 60);
/// Devices that can work on one hold point at the same time; more are ignored.
const PROVING_MAX: usize = 8;

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

/// The hold point that is asked for, if a meter can show it: one proof per device and channel, since a tester proved on
/// one meter proves no other.
#[derive(Clone, Debug)]
pub(super) struct Proving {
    pub(super) name: String,
    kind: ByStream,
    sources: Vec<(DeviceChannel, Proof)>,
}

impl Proving {
    pub(super) fn new(name: &str) -> Option<Self> {
        let kind = hold::of(name).by_stream;
        (kind != ByStream::No).then(|| Self { name: String::from(name), kind, sources: Vec::new() })
    }

    /// The proof of this source, made on its first reading.
    pub(super) fn of(&mut self, device: &str, channel: u8) -> Option<&mut Proof> {
        let known = self.sources.iter().position(|(from, _)| from.is(device, channel));
        if known.is_none() && self.sources.len() < PROVING_MAX {
            self.sources.push((DeviceChannel::new(device, channel), Proof::new(self.kind)?));
        }
        let at = known.unwrap_or(self.sources.len().saturating_sub(1));
        let (from, proof) = self.sources.get_mut(at)?;
        from.is(device, channel).then_some(proof)
    }

    /// Forgets what this device has shown so far, or all of them; true if something was under way.
    pub(super) fn forget(&mut self, device: Option<&str>) -> bool {
        let mut under_way = false;
        for (_, proof) in self.sources.iter_mut().filter(|(from, _)| device.is_none_or(|d| d == from.device))
        {
            under_way |= proof.is_under_way();
            proof.reset();
        }
        under_way
    }
}

/// Overload without a break on one channel.
#[derive(Clone, Debug)]
pub(super) struct OpenRun {
    pub(super) point: usize,
    pub(super) from: DeviceChannel,
    pub(super) since: Instant,
}

/// The name among these that was typed: as it is written, else without regard to capitals.
fn named<'a, I: Iterator<Item = &'a str>>(known: impl Fn() -> I, typed: &str) -> Option<&'a str> {
    let same_letters = |name: &&str| name.to_lowercase() == typed.to_lowercase();
    known().find(|name| *name == typed).or_else(|| known().find(same_letters))
}

/// The armed check.
pub(super) struct Check {
    pub(super) number: u32,
    pub(super) plan: Plan,
    /// `None` when the plan names a rule that does not exist.
    pub(super) rule: Option<Arc<dyn Rule>>,
    pub(super) phase: Phase,
    pub(super) proving: Option<Proving>,
    pub(super) proof_says: String,
    pub(super) points: Vec<PointState>,
    /// Points taken before the gate was open; dropped when it opens.
    pub(super) premature: bool,
    /// The last reading came from leads that have not come off since the last point.
    pub(super) await_lift: bool,
    /// Overload that lasts, on a point where an open circuit is a finding.
    pub(super) open_run: Option<OpenRun>,
    pub(super) question: Option<Question>,
    pub(super) accepted: Vec<About>,
    pub(super) low_battery: bool,
    pub(super) volts: Volts,
    pub(super) last_evaluation: Option<Evaluation>,
    /// The inputs that thresholds were asked at last, and those thresholds.
    pub(super) last_asked: Option<(Vec<Input>, Vec<f64>)>,
    pub(super) verdict: Option<Verdict>,
    pub(super) verdict_live: bool,
    /// What the stream has put in place of the verdict's word.
    pub(super) amended: Amended,
}

impl Check {
    pub(super) fn new(number: u32, plan: Plan, rule: Option<Arc<dyn Rule>>) -> Self {
        let points = rule.as_ref().map_or(0, |rule| rule.header().points.len());
        Self {
            number,
            plan,
            rule,
            phase: Phase::HoldPoints,
            proving: None,
            proof_says: String::new(),
            points: (0..points).map(|_| PointState::Waiting).collect(),
            premature: false,
            await_lift: false,
            open_run: None,
            question: None,
            accepted: Vec::new(),
            low_battery: false,
            volts: Volts::default(),
            last_evaluation: None,
            last_asked: None,
            verdict: None,
            verdict_live: false,
            amended: Amended::default(),
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

    /// The hold point of this check with this name, in capitals or not.
    pub(super) fn hold_point(&self, name: &str) -> Option<&str> {
        let listed = || self.hold_points().iter().map(String::as_str);
        named(listed, name)
    }

    /// The point of the rule with this name, in capitals or not, and its place in the rule.
    pub(super) fn point(&self, name: &str) -> Option<(usize, &Point)> {
        let points = &self.header()?.points;
        let found = named(|| points.iter().map(|point| point.name.as_str()), name)?;
        points.iter().enumerate().find(|(_, point)| point.name == found)
    }

    /// Hold points that are not shown, in order.
    pub(super) fn open_hold_points(&self, gate: &Gate) -> Vec<String> {
        let shown = self.evidence(gate);
        let open = self.hold_points().iter().zip(shown).filter(|(_, evidence)| evidence.is_none());
        open.map(|(name, _)| name.clone()).collect()
    }

    /// The evidence of each hold point that counts here and now.
    pub(super) fn evidence<'a>(&self, gate: &'a Gate) -> Vec<Option<&'a Evidence>> {
        gate.evidence_of(self.hold_points(), self.place())
    }

    /// Forgets all readings and what followed from them.
    pub(super) fn forget_readings(&mut self) {
        for point in &mut self.points {
            *point = PointState::Waiting;
        }
        self.premature = false;
        self.await_lift = false;
        self.open_run = None;
        self.question = None;
        self.accepted.clear();
        self.low_battery = false;
        (self.last_evaluation, self.last_asked) = (None, None);
        self.verdict = None;
        self.verdict_live = false;
        self.amended = Amended::default();
    }

    /// True when some reading is under way or taken, without a verdict yet.
    pub(super) fn is_pending(&self) -> bool {
        let under_way = |point: &PointState| match point {
            PointState::Waiting => false,
            PointState::Settling(settling) => settling.contact_since.is_some(),
            PointState::Settled(_) => true,
        };
        self.phase != Phase::Done && self.points.iter().any(under_way)
    }

    /// Drops the question where the leads were: the proof it belongs to is over or begins anew.
    pub(super) fn drop_proof_question(&mut self) {
        if self.asks_for_proof_leads() {
            self.question = None;
        }
    }

    /// True while it is asked where the leads were.
    pub(super) fn asks_for_proof_leads(&self) -> bool {
        self.question.as_ref().is_some_and(|q| matches!(q.about, About::ProofLeads(..)))
    }

    /// True while readings are taken for points: also while it is asked whether the leads are on an open part, since a
    /// contact answers that.
    pub(super) fn takes_readings(&self) -> bool {
        let open_part = self.question.as_ref().is_some_and(|q| matches!(q.about, About::OpenPart(_)));
        self.phase == Phase::Measuring || (self.phase == Phase::Asking && open_part)
    }

    /// Drops the question whether leads that read open are on, once they no longer read so. True when a settled value
    /// was thrown away with it.
    pub(super) fn reconsider_question(&mut self) -> bool {
        let Some(Question { about: About::OpenPart(index), .. }) = &self.question else { return false };
        let Some(state) = self.points.get_mut(*index) else { return false };
        let (still_open, settled) = match state {
            PointState::Settling(settling) => (settling.open_since.is_some(), false),
            PointState::Settled(settled) => (settled.watch().is_some(), true),
            PointState::Waiting => (self.open_run.as_ref().is_some_and(|run| run.point == *index), false),
        };
        if still_open || self.phase != Phase::Asking {
            return false;
        }
        if settled {
            *state = PointState::Waiting;
        }
        self.question = None;
        self.phase = Phase::Measuring;
        settled
    }

    /// When the reading of a settled point becomes too old to be judged.
    pub(super) fn too_old_at(&self, point: &PointState) -> Option<Instant> {
        if !matches!(self.phase, Phase::Measuring | Phase::Asking) {
            return None;
        }
        Some(point.settled()?.reading.at + READING_LASTS)
    }

    /// The earliest time at which a point gives up, a reading is too old or its link counts as silent.
    pub(super) fn next_deadline(&self) -> Option<Instant> {
        let of = |point: &PointState| {
            let (first, second) = match point {
                PointState::Settling(settling) => (settling.gives_up_at(), settling.silent_at()),
                PointState::Settled(settled) => {
                    (settled.watch().and_then(SettlingPoint::silent_at), self.too_old_at(point))
                }
                PointState::Waiting => (None, None),
            };
            [first, second].into_iter().flatten().min()
        };
        self.points.iter().filter_map(of).min()
    }
}
