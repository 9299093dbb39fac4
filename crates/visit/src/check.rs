//! The armed check: from its hold points over its readings to its ending, and on while the leads stay. It passes what happens on
//! to its parts and gathers what they say; hold points stand in the ledger, the verdict is put together by the round.

mod answer;
mod conclude;
mod danger;
mod doubts;
mod facts;
mod given;
mod naming;
mod notes;
mod picture;
mod points;
mod proving;
mod questions;
mod reading;
mod sources;
#[cfg(test)]
mod testing;
mod thresholds;
mod typed;
mod waits;

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Accuracy, Instant, Reading, Typed};

use crate::act::Display;
use crate::event::{Output, ResetReason};
use crate::hold::How;
use crate::job::Job;
use crate::leads::{Contact, Leads};
use crate::live::Interest;
use crate::settings::Settings;
use crate::verdict::{PointReading, Reason, Verdict};
use crate::view::Phase;
use conclude::{Conclusion, conclude, endangered, without};
use danger::{Dangers, Found};
use facts::Facts;
use given::Given;
use points::follow::{Seen, What};
use points::measure::{Asked, Measured};
use points::settled::{SettledPoint, open_point};
use points::{PointState, Points, assigned};
use proving::{Proved, Proving};
use questions::{About, Question, Questions};
use thresholds::{Asking, Viewpoint};

pub(crate) use conclude::{Endangered, Ending};
pub(crate) use questions::none_asked;
pub use waits::StillWaits;

/// What a check says.
pub(crate) enum Says {
    /// This, as it stands.
    Output(Output),
    /// Readings have shown a hold point.
    Shown { name: String, how: How, device: String },
    /// The leads of this device are on a known live source with this reading.
    OnLiveSource { device: String, reading: Reading },
    /// Volts on a pair that should be dead.
    Live,
    /// It has ended; `live` when the leads still show its readings.
    Ended { ending: Ending, live: bool },
}

/// What lies around a check while something happens to it.
pub(crate) struct Context<'a> {
    pub(crate) now: Instant,
    pub(crate) settings: &'a Settings,
    /// The number of the last question of the round.
    pub(crate) asked: &'a mut u32,
    /// What leads are still on.
    pub(crate) leads: &'a mut Leads,
}

/// The armed check. It is done once it has its verdict, which it keeps.
pub(crate) struct Check {
    job: Job,
    /// Its open hold points, as the ledger told them last.
    open: Vec<String>,
    /// They all stand, and it measures.
    measuring: bool,
    /// The devices whose leads are proved, where it holds on that and no person said it of all.
    proved_leads: Option<Vec<String>>,
    /// The device whose readings were not taken last because its leads are not proved.
    unproved: Option<String>,
    proving: Option<Proving>,
    /// What the leads have shown that should be dead, in words, until somebody begins anew.
    alarm: Option<String>,
    points: Points,
    dangers: Dangers,
    /// Points taken before all hold points stood; dropped when they do.
    premature: bool,
    questions: Questions,
    asking: Asking,
    given: Option<Given>,
    /// Work was done: what is read from now on is as left.
    as_left: bool,
    /// Something was done for it: a hold point shown, a value given, an answer asked for.
    touched: bool,
    says: Vec<Says>,
}

impl Check {
    /// A check that waits for its hold points.
    pub(crate) fn new(job: Job) -> Self {
        let points = Points::new(job.points().len());
        Self {
            job,
            open: Vec::new(),
            measuring: false,
            proved_leads: None,
            unproved: None,
            proving: None,
            alarm: None,
            points,
            dangers: Dangers::default(),
            premature: false,
            questions: Questions::default(),
            asking: Asking::default(),
            given: None,
            as_left: false,
            touched: false,
            says: Vec::new(),
        }
    }

    pub(crate) const fn job(&self) -> &Job {
        &self.job
    }

    /// Where it stands.
    pub(crate) fn phase(&self) -> Phase {
        match self.questions.open() {
            _ if self.given.is_some() => Phase::Done,
            _ if !self.measuring => Phase::HoldPoints,
            Some(_) => Phase::Asking,
            None => Phase::Measuring,
        }
    }

    /// What is read is as left; else as found.
    pub(crate) const fn is_as_left(&self) -> bool {
        self.as_left
    }

    pub(crate) const fn is_done(&self) -> bool {
        self.given.is_some()
    }

    /// Whether nothing was done for it yet: then it may be passed by without a word.
    pub(crate) fn is_untouched(&self) -> bool {
        !self.touched && !self.is_done() && !self.points.are_under_way()
    }

    /// Something was done for it.
    pub(crate) fn touch(&mut self) {
        self.touched = true;
    }

    /// A hold point was shown: somebody has begun anew.
    pub(crate) fn shown(&mut self) {
        self.touch();
        self.alarm = None;
    }

    /// The open question.
    pub(crate) fn question(&self) -> Option<(u32, &str)> {
        self.questions.open().map(|open| (open.number, open.text.as_str()))
    }

    /// What it has said since this was asked last.
    pub(crate) fn take_says(&mut self) -> Vec<Says> {
        core::mem::take(&mut self.says)
    }

    fn say(&mut self, output: Output) {
        self.says.push(Says::Output(output));
    }

    fn reset(&mut self, why: ResetReason) {
        self.say(Output::Reset { why });
    }

    fn refuse(&mut self, why: String) {
        self.say(Output::Refused { why });
    }

    /// Values wait for their judgement.
    fn is_awaiting(&self) -> bool {
        self.measuring && !self.is_done()
    }

    /// Some reading is under way or taken, without a verdict yet.
    fn is_pending(&self) -> bool {
        !self.is_done() && self.points.are_under_way()
    }

    /// The earliest time at which something is due without a reading.
    pub(crate) fn next_deadline(&self) -> Option<Instant> {
        self.points.next_deadline(self.is_awaiting())
    }

    /// Takes the hold points that are open now: with none it measures, else it asks for the first one and starts its proof if
    /// a stream can show it. `proved_leads` as in [`crate::evidence::Ledger::proved_leads`].
    pub(crate) fn gate(&mut self, open: Vec<String>, proved_leads: Option<Vec<String>>) {
        self.open = open;
        self.proved_leads = proved_leads;
        self.unproved = None;
        if self.is_done() {
            return;
        }
        self.questions.drop_proof_question();
        let closes = self.measuring;
        self.measuring = self.open.is_empty();
        let Some(first) = self.open.first() else {
            self.proving = None;
            if !closes && self.premature {
                self.forget_readings();
                self.reset(ResetReason::GateClosed);
            }
            return;
        };
        if self.proving.as_ref().is_none_or(|proving| proving.name() != first) {
            self.proving = Proving::new(first, &self.job);
        }
        if closes {
            let pending = self.points.are_under_way();
            self.forget_readings();
            if pending {
                self.reset(ResetReason::GateClosed);
            }
        }
    }

    /// Forgets all readings and what followed from them.
    fn forget_readings(&mut self) {
        self.points.forget();
        self.premature = false;
        self.questions = Questions::default();
        self.asking = Asking::default();
        self.given = None;
    }

    /// Its readings are to be taken again, as left where work was done since.
    pub(crate) fn again(&mut self, as_left: bool) {
        self.as_left |= as_left;
        self.forget_readings();
        self.dangers.forget();
        self.measuring = false;
    }

    /// Its verdict, put together by the round.
    pub(crate) fn end(&mut self, verdict: Verdict, live: bool) {
        self.questions.drop_open();
        self.points.stop_settling();
        self.given = Some(Given::new(verdict, live));
    }

    /// The readings that its verdict rests on.
    pub(crate) fn readings(&self) -> Vec<PointReading> {
        self.points.all_settled().map(|settled| settled.reading.clone()).collect()
    }

    /// A hold point that it needs has fallen: its verdict no longer describes what the leads show.
    pub(crate) fn evidence_fell(&mut self) {
        if let Some(given) = &mut self.given {
            given.note_live(false);
        }
    }

    /// A danger was found: it ends at once, whatever is open.
    fn endanger(&mut self, found: Found, live: bool, context: &Context<'_>) {
        self.touch();
        self.say(Output::Settled(found.reading.clone()));
        let ending = endangered(&self.facts(context.settings), found);
        self.says.push(Says::Ended { ending, live });
    }

    fn end_without(&mut self, reason: Reason, context: &Context<'_>) {
        let ending = without(&self.facts(context.settings), reason);
        self.says.push(Says::Ended { ending, live: false });
    }

    /// Ends it without a verdict, with the reason.
    pub(crate) fn finish(&mut self, context: &Context<'_>) {
        let reason = self.why_none_yet(context.settings);
        self.end_without(reason, context);
    }

    fn facts<'a>(&'a self, settings: &Settings) -> Facts<'a> {
        Facts {
            job: &self.job,
            points: &self.points,
            questions: &self.questions,
            decision: settings.decision,
        }
    }

    /// Why it has no verdict at this moment.
    fn why_none_yet(&self, settings: &Settings) -> Reason {
        if self.job.rule.is_none() {
            Reason::NoSuchRule(self.job.plan.rule.clone())
        } else if self.open.is_empty() {
            conclude::why_none_yet(&self.facts(settings))
        } else {
            Reason::HoldPointsOpen(self.open.clone())
        }
    }

    /// What it waits for; empty once it has its verdict.
    pub(crate) fn still_waits(&self, settings: &Settings) -> Vec<StillWaits> {
        let phase = self.phase();
        if phase == Phase::Done {
            return Vec::new();
        }
        if phase == Phase::Measuring {
            let unsettled = waits::unsettled(&self.job, &self.points);
            if !unsettled.is_empty() {
                return unsettled;
            }
        }
        let what = self.job.title().to_string();
        Vec::from([StillWaits { what, why: self.why_none_yet(settings).to_string() }])
    }

    /// The link of this device is lost, or bytes of it.
    pub(crate) fn lose(&mut self, device: &str) {
        let mut lost = self.proving.as_mut().is_some_and(|proving| proving.lose(device));
        self.questions.drop_proof_question();
        self.dangers.lose(device);
        lost |= self.points.lose(device);
        lost |= self.reconsider_question();
        if lost {
            self.reset(ResetReason::LinkLost);
        }
        self.note_live();
    }

    /// Works off what is due.
    pub(crate) fn work_off(&mut self, context: &Context<'_>) {
        let due = self.points.work_off(self.is_awaiting(), context.now);
        let silent = due.silent | self.reconsider_question();
        self.note_live();
        if silent {
            self.reset(ResetReason::LinkLost);
        }
        let label = |index: usize| self.job.points().get(index).map(|point| point.label.clone());
        let too_old = due.too_old.and_then(label).map(|label| {
            Reason::BadInput(format!("the reading of {label} is too old to be judged: take the check again"))
        });
        let given_up =
            due.given_up.and_then(|(index, why)| Some(Reason::Unsettled { point: label(index)?, why }));
        if let Some(reason) = too_old.or(given_up) {
            self.end_without(reason, context);
        }
    }

    /// Power is back on its unit, or may be.
    pub(crate) fn power_back(&mut self) {
        self.questions.drop_proof_question();
        if let Some(proving) = &mut self.proving {
            proving.begin_anew();
        }
    }

    /// Nobody watched, or the visit is paused: no reading from before counts.
    pub(crate) fn forget(&mut self, why: ResetReason) {
        self.evidence_fell();
        self.power_back();
        self.dangers.lose_all();
        if self.is_done() {
            return;
        }
        let pending = self.is_pending();
        self.forget_readings();
        if pending {
            self.reset(why);
        }
    }
}
