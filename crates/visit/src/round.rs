//! The round: one check at a time, from its hold points over its readings to its verdict, as a pure state machine.
//!
//! [`Round::step`] takes one event and the time and returns what follows. Deadlines (a hold point that lapses, a reading
//! that will not settle, a silent link) are worked off in order before the event and carry their own time, so outputs
//! depend on the events alone and not on how often somebody called. The round passes events on to its machines and gathers what they
//! say: the route, the ledger of hold points, the armed check, the leads, the newest reading. Does not decode bytes, print, or store.

use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Duration, Instant, Reading, Typed};

pub use crate::check::StillWaits;
pub use crate::event::{AMENDMENTS_MAX, Event, LapseReason, NO_QUESTION, Output, ResetReason, Stamped};
pub use crate::plan::{Binding, Entered, Plan};
pub use crate::route::Route;
pub use crate::settings::Settings;
pub use crate::view::{
    CheckView, HoldPointState, HoldPointView, LiveState, LiveView, Phase, PointStage, PointView,
    QuestionView, RulerView, ShownBy, View,
};

use crate::act::{Act, By, Display};
use crate::check::{Around, Check, Ending, Says, none_asked};
use crate::evidence::{Change, Ledger};
use crate::hold::How;
use crate::job::Job;
use crate::leads::Leads;
use crate::live::{Interest, Live};
use crate::verdict::Verdict;
use judge::rule::RuleSet;

/// Deadlines worked off in one step at most; far more than can ever be due, so that nothing loops for ever.
const DEADLINES_PER_STEP: usize = 1_000;
/// A reading that arrives later than this after its own time is stale: shown, never used. Our own choice.
const LATE_FOR: Duration = Duration::from_secs(5);

/// A round of checks: the rules in force, the hold points that stand, the armed check.
pub struct Round {
    rules: RuleSet,
    settings: Settings,
    route: Route,
    ledger: Ledger,
    check: Option<Check>,
    /// What leads are still on, as far as known; outlives the check.
    leads: Leads,
    live: Live,
    checks: u32,
    verdicts: u64,
    /// Questions asked so far.
    questions: u32,
    now: Instant,
    out: Vec<Stamped>,
}

impl Round {
    /// A round without a check.
    #[must_use]
    pub fn new(rules: RuleSet, settings: Settings) -> Self {
        Self {
            rules,
            settings,
            route: Route::default(),
            ledger: Ledger::default(),
            check: None,
            leads: Leads::default(),
            live: Live::default(),
            checks: 0,
            verdicts: 0,
            questions: 0,
            now: Instant::ZERO,
            out: Vec::new(),
        }
    }

    /// The same, with a route to go.
    #[must_use]
    pub fn on(self, route: Route) -> Self {
        Self { route, ..self }
    }

    /// The rules in force.
    #[must_use]
    pub fn rules(&self) -> &RuleSet {
        &self.rules
    }

    /// The shop's settings.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The number of the armed check; `None` without one. A check stays armed after its verdict.
    #[must_use]
    pub fn armed(&self) -> Option<u32> {
        self.job().map(|job| job.number)
    }

    /// The plan of the armed check.
    #[must_use]
    pub fn plan(&self) -> Option<&Plan> {
        self.job().map(|job| &job.plan)
    }

    /// True while a check is armed that has no verdict yet.
    #[must_use]
    pub fn awaits_verdict(&self) -> bool {
        self.check.as_ref().is_some_and(|check| !check.is_done())
    }

    /// The question that is open: its number and its text.
    #[must_use]
    pub fn question(&self) -> Option<(u32, &str)> {
        self.check.as_ref()?.question()
    }

    /// What the armed check waits for; empty without one, and once it has its verdict.
    #[must_use]
    pub fn still_waits(&self) -> Vec<StillWaits> {
        self.check.as_ref().map_or_else(Vec::new, |check| check.still_waits(&self.settings))
    }

    /// A typed value as the armed check takes it for the point of this name: with the point's unit where none was typed,
    /// and with its ac or dc. Unchanged where there is no such point, or where it is of another kind.
    #[must_use]
    pub fn completed(&self, name: &str, value: Typed) -> Typed {
        self.check.as_ref().map_or(value, |check| check.completed(name, value))
    }

    /// The picture at `now`, which should not be earlier than the last step.
    #[must_use]
    pub fn view(&self, now: Instant) -> View {
        let now = now.max(self.now);
        let check = self.check.as_ref();
        let settling = |check: &Check| self.live.device().map(|device| check.settling_text(device));
        View {
            check: check.map(|check| {
                let asks = check.phase() == Phase::HoldPoints;
                let hold_points = self.ledger.views(asks, check.proof_says(), now);
                check.view(hold_points, &self.settings)
            }),
            live: self.live.view(check.and_then(settling).unwrap_or_default(), now),
            verdict: check.and_then(|check| check.verdict(now)),
            amendment_changes: check.map_or(0, Check::amendment_changes),
            amendment_is_live: check.is_some_and(|check| check.amendment_is_live(now)),
        }
    }

    /// When something is due without any further event.
    #[must_use]
    pub fn poll_at(&self) -> Option<Instant> {
        let check = self.check.as_ref().and_then(Check::next_deadline);
        [self.ledger.next_lapse(), check].into_iter().flatten().min()
    }

    /// Takes one event. `now` must not go backwards; an earlier time is taken as the latest one seen.
    pub fn step(&mut self, event: Event, now: Instant) -> Vec<Stamped> {
        let now = now.max(self.now);
        self.work_off_deadlines(now);
        self.now = now;
        match event {
            Event::Arm(plan) => self.arm(*plan),
            Event::Act { act, by } => self.act(act, by),
            Event::Reading { device, reading } => self.read(&device, reading),
            Event::Gap { device } => {
                self.live.lose(Some(&device));
                self.with_check(|check, _| check.lose(&device));
            }
            Event::Rules(rules) => self.rules = rules,
            Event::Stored { verdict } => {
                let changes = self.ledger.stored(verdict);
                self.take(changes);
            }
            Event::Unwatched => {
                self.live.lose(None);
                self.with_check(|check, _| check.unwatched());
                let changes = self.ledger.unwatched();
                self.take(changes);
            }
            Event::Tick => {}
        }
        core::mem::take(&mut self.out)
    }

    /// Does what a person does.
    fn act(&mut self, act: Act, by: By) {
        match act {
            Act::Confirm { hold_point } => self.confirm(&hold_point, by),
            Act::Withdraw { hold_point } => self.withdraw(&hold_point),
            Act::Type { point, value, accuracy } => {
                if !self.with_check(|check, around| check.typed(&point, value, accuracy, around)) {
                    self.refuse(match value {
                        Display::Value(_) => "no check is armed".to_string(),
                        Display::Open => {
                            format!("{point:?} was not taken as open: no such reading is awaited")
                        }
                    });
                }
            }
            Act::Answer { question, yes } => {
                if !self.with_check(|check, around| check.answer(question, yes, around)) {
                    self.refuse(none_asked(question, self.questions));
                }
            }
            Act::Again => self.again(),
            Act::Next => self.next(),
            Act::Finish => self.finish(),
            Act::Energised => self.energised(),
        }
    }

    fn job(&self) -> Option<&Job> {
        self.check.as_ref().map(Check::job)
    }

    fn work_off_deadlines(&mut self, now: Instant) {
        for _ in 0..DEADLINES_PER_STEP {
            let Some(due) = self.poll_at().filter(|due| *due <= now) else { return };
            self.now = self.now.max(due);
            self.lapse();
            self.with_check(|check, around| check.work_off(around));
        }
        // Never reached in practice; a hold point whose time is over must not count all the same.
        self.now = self.now.max(now);
        self.lapse();
    }

    fn lapse(&mut self) {
        let changes = self.ledger.lapse(self.now);
        self.take(changes);
    }

    fn say(&mut self, output: Output) {
        self.out.push(Stamped { at: self.now, output });
    }

    fn refuse(&mut self, why: String) {
        self.say(Output::Refused { why });
    }

    /// Lets something happen to the armed check and takes what it says; false without one.
    fn with_check(&mut self, happens: impl FnOnce(&mut Check, &mut Around<'_>)) -> bool {
        let Some(check) = &mut self.check else { return false };
        let mut around = Around {
            now: self.now,
            settings: &self.settings,
            asked: &mut self.questions,
            leads: &mut self.leads,
        };
        happens(check, &mut around);
        self.hear();
        true
    }

    /// Takes what the armed check says.
    fn hear(&mut self) {
        let says = self.check.as_mut().map_or_else(Vec::new, Check::take_says);
        for said in says {
            match said {
                Says::Output(output) => self.say(output),
                Says::Shown { name, how } => self.show(&name, how),
                Says::OnLiveSource { device, reading } => self.ledger.on_live_source(&device, &reading),
                Says::Ended { ending, live } => self.end(ending, live),
            }
        }
    }

    /// Takes what became of hold points, and shows the armed check which are open now.
    fn take(&mut self, changes: Vec<Change>) {
        for change in changes {
            match change {
                Change::Shown { name, evidence } => self.say(Output::HoldPoint { name, evidence }),
                Change::Lapsed { name, why } => {
                    let fell = why != LapseReason::Failed;
                    if let Some(check) = &mut self.check
                        && fell
                        && check.job().hold_points().contains(&name)
                    {
                        check.evidence_fell();
                    }
                    self.say(Output::Lapsed { name, why });
                }
            }
        }
        let open = self.ledger.open();
        self.with_check(|check, _| check.gate(open));
    }

    fn arm(&mut self, plan: Plan) {
        if self.awaits_verdict() {
            self.finish();
        }
        self.checks = self.checks.saturating_add(1);
        let rule = self.rules.find(&plan.rule).cloned();
        let job = Job { number: self.checks, plan, rule };
        self.say(Output::Armed {
            check: job.number,
            unit_tag: job.plan.unit_tag.clone(),
            component: job.plan.component.clone(),
            rule: job.plan.rule.clone(),
            cautions: job.header().map_or_else(Vec::new, |header| header.cautions.clone()),
        });
        self.ledger.serve(Some(&job));
        self.check = Some(Check::new(job));
        self.take(Vec::new());
    }

    /// Arms the next check of the route.
    fn next(&mut self) {
        match self.route.go_on() {
            Some(plan) => self.arm(plan),
            None => self.refuse("the route is at its end: there is no next check".to_string()),
        }
    }

    fn again(&mut self) {
        if self.with_check(|check, _| check.again()) {
            self.take(Vec::new());
        } else {
            self.refuse("nothing to take again: no check is armed".to_string());
        }
    }

    fn finish(&mut self) {
        if self.awaits_verdict() {
            self.with_check(|check, around| check.finish(around));
        } else {
            self.check = None;
            self.ledger.serve(None);
        }
    }

    fn read(&mut self, device: &str, reading: Reading) {
        // A time ahead of the round's own would keep a silent link alive.
        let reading = Reading { at: reading.at.min(self.now), ..reading };
        let interest = self.check.as_ref().map_or(Interest::None, |check| check.interest(device, &reading));
        self.live.take(device, reading, interest, self.now);
        if self.now.since(reading.at) > LATE_FOR {
            return;
        }
        let changes = self.ledger.read(device, &reading);
        if !changes.is_empty() {
            self.take(changes);
        }
        self.leads.watch(self.check.as_ref().map(Check::job), device, &reading);
        self.with_check(|check, around| check.read(device, &reading, around));
    }

    fn confirm(&mut self, name: &str, by: By) {
        let Some(job) = self.job() else {
            return self.refuse(format!("{name:?} was not taken: no check is armed"));
        };
        let Some(name) = job.hold_point(name).map(ToString::to_string) else {
            let listed = job.hold_points().join(", ");
            return self.refuse(format!("{name:?} is no hold point of this check; it has: {listed}"));
        };
        let open = self.ledger.open();
        match open.first() {
            Some(first) if *first != name && open.contains(&name) => {
                self.refuse(format!("{name:?} was not taken: show {first:?} first"));
            }
            _ => self.show(&name, How::Confirmed(by)),
        }
    }

    fn show(&mut self, name: &str, how: How) {
        let changes = self.ledger.show(name, how, self.now);
        self.take(changes);
    }

    fn withdraw(&mut self, name: &str) {
        let known = self.job().and_then(|job| job.hold_point(name)).unwrap_or(name).to_string();
        let changes = self.ledger.withdraw(&known);
        if changes.is_empty() {
            return self.refuse(format!("{name:?} does not stand, so it cannot be taken back"));
        }
        self.take(changes);
    }

    /// Power is back on the unit of the armed check; on any unit, as far as is known, when none is armed.
    fn energised(&mut self) {
        self.with_check(|check, _| check.power_back());
        let unit_tag = self.job().map(|job| job.plan.unit_tag.clone());
        let changes = self.ledger.energised(unit_tag.as_deref());
        self.take(changes);
    }

    /// Puts the verdict of the armed check together, tells it, and lets other checks have what it shows.
    fn end(&mut self, ending: Ending, live: bool) {
        let Some(check) = &mut self.check else { return };
        self.verdicts = self.verdicts.saturating_add(1);
        let job = check.job();
        let verdict = Verdict {
            number: self.verdicts,
            check: job.number,
            unit_tag: job.plan.unit_tag.clone(),
            component: job.plan.component.clone(),
            rule: job.plan.rule.clone(),
            title: job.title().to_string(),
            rule_hash: job.rule.as_ref().map_or_else(String::new, |rule| rule.hash().to_string()),
            word: ending.word,
            reason: ending.reason,
            judgements: ending.judgements,
            readings: check.readings(),
            plate: ending.plate,
            hold_points: self.ledger.shown(),
            decision: self.settings.decision,
            notes: ending.notes,
            at: self.now,
        };
        let shows = job.header().map_or_else(Vec::new, |header| header.shows.clone());
        check.end(verdict.clone(), live);
        self.say(Output::Verdict(Box::new(verdict.clone())));
        let changes = self.ledger.judged(&verdict, &shows, self.settings.verdicts_are_stored);
        self.take(changes);
    }
}

#[cfg(test)]
mod tests;
