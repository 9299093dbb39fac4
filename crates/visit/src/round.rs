//! The round: one check at a time, from its hold points over its readings to its verdict, as a pure state machine.
//!
//! [`Round::step`] takes one event and the time and returns what follows. Deadlines (a hold point that lapses, a reading
//! that will not settle, a silent link) are worked off in order before the event and carry their own time, so outputs
//! depend on the events alone and not on how often somebody called. The round passes events on to its machines and gathers what they
//! say: the route, the ledger of hold points, the armed check, the leads, the newest reading. Does not decode bytes, print, or store.

mod acts;
mod picture;
mod stays;

use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Duration, Instant, Reading, Typed};

pub use crate::check::StillWaits;
pub use crate::event::{AMENDMENTS_MAX, Event, LapseReason, NO_QUESTION, Output, ResetReason, Stamped};
pub use crate::model::{Line, Slot, Supply};
pub use crate::plan::{Binding, Entered, Plan};
pub use crate::restoration::Owed;
pub use crate::route::{Progress, Route};
pub use crate::settings::Settings;
pub use crate::stay::{Recall, Service};
pub use crate::view::{
    CheckView, HoldPointState, HoldPointView, LiveState, LiveView, PairView, Phase, PointStage, PointView,
    ProofView, QuestionView, RulerView, ShownBy, View,
};

use crate::act::By;
use crate::check::{Check, Context, Endangered, Ending, Says};
use crate::evidence::{Change, Ledger};
use crate::hold::{How, Power};
use crate::job::{Job, Place};
use crate::leads::Leads;
use crate::live::{Interest, Live};
use crate::looks::Looks;
use crate::restoration::Restoration;
use crate::stay::Stays;
use crate::verdict::{PointReading, Verdict};
use judge::limits::Word;
use judge::rule::{RuleSet, Shows};

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
    restoration: Restoration,
    stays: Stays,
    paused: bool,
    /// The unit that shows life although it counted as isolated, and the sign; until somebody says what is true.
    contradicted: Option<(String, String)>,
    /// Where the route stood when somebody wanted to go on behind its end.
    ended: Option<Progress>,
    check: Option<Check>,
    /// The unit under work: that of the last armed check, until its visit is closed.
    unit: Option<String>,
    /// What leads are still on, as far as known; outlives the check.
    leads: Leads,
    live: Live,
    /// The figures of the visits that are open.
    looks: Looks,
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
            restoration: Restoration::default(),
            stays: Stays::default(),
            paused: false,
            contradicted: None,
            ended: None,
            check: None,
            unit: None,
            leads: Leads::default(),
            live: Live::default(),
            looks: Looks::default(),
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

    /// The next check of the route; `None` at its end.
    #[must_use]
    pub fn ahead(&self) -> Option<&Plan> {
        self.route.ahead()
    }

    /// The place of the armed check on the route, from 0; `None` without one, and for one that is not on the route.
    #[must_use]
    pub fn place_on_route(&self) -> Option<usize> {
        self.check.as_ref().and_then(|check| self.route.place_of(&check.job().plan))
    }

    /// True while a check is armed that has no verdict yet.
    #[must_use]
    pub fn awaits_verdict(&self) -> bool {
        self.check.as_ref().is_some_and(|check| !check.is_done())
    }

    /// What must be put back, on every unit.
    #[must_use]
    pub fn owed(&self) -> Vec<Owed> {
        self.restoration.owed(None).cloned().collect()
    }

    /// The unit under work: that of the last armed check, until its visit is closed.
    #[must_use]
    pub fn unit_under_work(&self) -> Option<&str> {
        self.unit_tag()
    }

    /// The units that have a visit open.
    #[must_use]
    pub fn visited(&self) -> Vec<String> {
        self.stays.units().map(ToString::to_string).collect()
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
            Event::Arm(plan) => self.arm(*plan, By::Unsaid),
            Event::Act { act, by } => self.act(act, by),
            Event::Reading { device, reading } => self.read(&device, reading),
            Event::Gap { device } => {
                self.live.lose(Some(&device));
                self.with_check(|check, _| check.lose(&device));
            }
            Event::Rejoined { device } => {
                let changes = self.ledger.rejoined(&device);
                self.take(changes);
            }
            Event::Rules(rules) => self.rules = rules,
            Event::Stored { verdict } => {
                let changes = self.ledger.stored(verdict);
                self.take(changes);
            }
            Event::Recall(recall) => self.recall(*recall),
            Event::Unwatched => self.forget(ResetReason::Unwatched, LapseReason::Unwatched),
            Event::Tick => {}
        }
        core::mem::take(&mut self.out)
    }

    fn job(&self) -> Option<&Job> {
        self.check.as_ref().map(Check::job)
    }

    /// The unit under work.
    fn unit_tag(&self) -> Option<&str> {
        self.unit.as_deref()
    }

    /// Where the work is: the unit, and the component of the armed check.
    fn place(&self) -> Option<Place<'_>> {
        let component = self.job().map_or("", |job| &job.plan.component);
        Some(Place::new(self.unit_tag()?, component))
    }

    fn work_off_deadlines(&mut self, now: Instant) {
        for _ in 0..DEADLINES_PER_STEP {
            let Some(due) = self.poll_at().filter(|due| *due <= now) else { return };
            self.now = self.now.max(due);
            self.lapse();
            self.with_check(|check, context| check.work_off(context));
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
    fn with_check(&mut self, happens: impl FnOnce(&mut Check, &mut Context<'_>)) -> bool {
        let Some(check) = &mut self.check else { return false };
        let mut context = Context {
            now: self.now,
            settings: &self.settings,
            asked: &mut self.questions,
            leads: &mut self.leads,
        };
        happens(check, &mut context);
        self.hear();
        true
    }

    /// Takes what the armed check says.
    fn hear(&mut self) {
        let says = self.check.as_mut().map_or_else(Vec::new, Check::take_says);
        for said in says {
            match said {
                Says::Output(Output::Settled(reading)) => {
                    if crate::evidence::is_life(&reading) {
                        self.power_back(By::Unsaid);
                    }
                    let changes = self.ledger.settled(&reading, self.now);
                    self.take_off(&reading);
                    self.say(Output::Settled(reading));
                    if !changes.is_empty() {
                        self.take(changes);
                    }
                }
                Says::Output(Output::Completed { verdict, reading, judgements, .. }) => {
                    let second_look = self.look(verdict, &reading).map(Box::new);
                    self.say(Output::Completed { verdict, reading, second_look, judgements });
                }
                Says::Output(output) => self.say(output),
                Says::Shown { name, how, device } => self.show(&name, how, Some(device)),
                Says::OnLiveSource { device, reading } => self.ledger.on_live_source(&device, &reading),
                Says::Live => {
                    let changes = self.ledger.live_pair();
                    self.take(changes);
                }
                // A hold point that fell by the last value closes the gate before the word. A danger is never gated.
                Says::Ended { ending, .. }
                    if ending.danger.is_none()
                        && ending.word != Word::NoVerdict
                        && !self.ledger.open().is_empty() => {}
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
                    if why == LapseReason::VoltsSeen && name == "proved dead" {
                        self.power_back(By::Unsaid);
                    }
                    let fell = !matches!(why, LapseReason::Failed | LapseReason::Danger);
                    if let Some(check) = &mut self.check
                        && fell
                        && check.job().hold_points().contains(&name)
                    {
                        check.evidence_fell();
                    }
                    self.say(Output::Lapsed { name, why });
                }
                Change::Contradicted { unit_tag, sign } => self.contradict(unit_tag, sign),
            }
        }
        let (open, leads) = (self.ledger.open(), self.ledger.proved_leads());
        self.with_check(|check, _| check.gate(open, leads));
    }

    fn contradict(&mut self, unit_tag: String, sign: String) {
        self.contradicted = Some((unit_tag.clone(), sign.clone()));
        self.say(Output::Contradicted { unit_tag, sign });
    }

    /// A reading was taken: what its rule takes off, opens or forces for it is owed.
    fn take_off(&mut self, reading: &PointReading) {
        let Some(job) = self.check.as_ref().map(Check::job).filter(|job| job.point(&reading.point).is_some())
        else {
            return;
        };
        let Some(header) = job.header() else { return };
        let owed: Vec<Owed> = header
            .puts_back
            .iter()
            .filter_map(|what| self.restoration.take_off(what, &header.title, job.place()))
            .collect();
        if !owed.is_empty() {
            self.visit(&By::Unsaid);
        }
        owed.into_iter().for_each(|owed| self.say(Output::Owed { owed, by: By::Unsaid }));
    }

    fn arm(&mut self, plan: Plan, by: By) {
        if !self.stays.has_room(&plan.unit_tag) {
            let tag = &plan.unit_tag;
            return self
                .refuse(format!("no check of {tag} was armed: too many visits are open; close one first"));
        }
        self.leave_check(by.clone());
        self.paused = false;
        self.ended = None;
        self.route.armed(&plan);
        self.checks = self.checks.saturating_add(1);
        self.arrive(&plan.unit_tag, by);
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

    /// Another check comes, or none: one that was begun ends without a verdict, one that was not is passed by.
    fn leave_check(&mut self, by: By) {
        let Some(check) = &self.check else { return };
        if check.is_untouched() {
            let skipped = stays::skipped(check.job(), None, by);
            self.say(skipped);
        } else if !check.is_done() {
            self.with_check(|check, context| check.finish(context));
        }
        self.drop_check();
    }

    fn drop_check(&mut self) {
        self.check = None;
        self.ledger.serve(None);
    }

    /// What makes people safe is forgotten; what is owed is not.
    fn forget(&mut self, reset: ResetReason, lapse: LapseReason) {
        self.live.lose(None);
        self.with_check(|check, _| check.forget(reset));
        let changes = self.ledger.forget(lapse);
        self.take(changes);
    }

    fn read(&mut self, device: &str, reading: Reading) {
        // A time ahead of the round's own would keep a silent link alive.
        let reading = Reading { at: reading.at.min(self.now), ..reading };
        let interest = self.check.as_ref().map_or(Interest::None, |check| check.interest(device, &reading));
        self.live.take(device, reading, interest, self.now);
        if self.now.since(reading.at) > LATE_FOR {
            return;
        }
        if self.paused {
            self.with_check(|check, context| {
                check.read_danger(device, &reading, context);
            });
            return;
        }
        let changes = self.ledger.read(device, &reading);
        if !changes.is_empty() {
            self.take(changes);
        }
        self.leads.watch(self.check.as_ref().map(Check::job), device, &reading);
        self.with_check(|check, context| check.read(device, &reading, context));
    }

    /// A person or a device shows a hold point of the armed check.
    fn show(&mut self, name: &str, how: How, device: Option<String>) {
        let known = crate::hold::of(name);
        if self.restoration.is_full() && known.owes.is_some() {
            return self.refuse(format!(
                "{name:?} was not taken: too much is owed already; put something back first"
            ));
        }
        if let (Power::Live, Some(why)) = (known.power, self.why_not_on()) {
            return self.refuse(format!(
                "{name:?} was not taken: {why}; put it back and say restored WHAT for each"
            ));
        }
        if known.power != Power::Any {
            self.contradicted = None;
        }
        let by = if let How::Confirmed(by) = &how { by.clone() } else { By::Unsaid };
        self.visit(&by);
        if let Some(check) = &mut self.check {
            check.shown();
        }
        let place = self.check.as_ref().map(|check| check.job().place());
        let owed = place.and_then(|place| self.restoration.shown(name, place));
        let changes = self.ledger.show(name, how, device, self.now);
        self.take(changes);
        if name == "locked out" {
            self.service(by.clone(), Stays::locked_out);
        }
        if known.power == Power::Live {
            self.power_back(by.clone());
        }
        if crate::hold::says_that_it_runs(name) {
            self.service(by.clone(), Stays::ran);
        }
        if let Some(owed) = owed {
            self.say(Output::Owed { owed, by });
        }
    }

    /// Why the unit under work may not have power yet: what was taken off for a test is not back.
    fn why_not_on(&self) -> Option<String> {
        let unit_tag = self.unit_tag()?;
        let of_isolation = |owed: &&Owed| {
            crate::hold::known(&owed.hold_point).is_some_and(|known| known.power == Power::Isolated)
        };
        let owed: Vec<String> =
            self.restoration.owed(Some(unit_tag)).filter(of_isolation).map(Owed::in_words).collect();
        (!owed.is_empty()).then(|| format!("{unit_tag} is owed {}", owed.join("; ")))
    }

    /// Puts the verdict of the armed check together, tells it, and lets other checks have what it shows.
    fn end(&mut self, ending: Ending, live: bool) {
        if self.check.as_ref().is_some_and(|check| !check.is_untouched()) {
            self.visit(&By::Unsaid);
        }
        let Some(check) = &mut self.check else { return };
        self.verdicts = self.verdicts.saturating_add(1);
        let job = check.job();
        let mut names = job.header().map_or_else(Vec::new, |header| header.shows.clone());
        let mut readings = check.readings();
        let danger = ending.danger.is_some();
        if let Some(Endangered { reading, ends }) = ending.danger {
            readings.retain(|other| other.point != reading.point);
            readings.insert(0, reading);
            let new = |name: &String| !names.iter().any(|shows| shows.name == *name);
            let ends: Vec<String> = ends.into_iter().filter(new).collect();
            names.extend(ends.into_iter().map(|name| Shows { name, by_conditional_pass: false }));
        }
        let as_left = check.is_as_left() || self.looks.is_left(job.place(), &job.plan.rule);
        let taken =
            |reading| self.looks.take((job.place(), &job.plan.rule), reading, (self.verdicts, as_left));
        let second_looks = if ending.word == Word::NoVerdict {
            Vec::new()
        } else {
            readings.iter().filter_map(taken).collect()
        };
        let verdict = Verdict {
            number: self.verdicts,
            check: job.number,
            unit_tag: job.plan.unit_tag.clone(),
            component: job.plan.component.clone(),
            rule: job.plan.rule.clone(),
            title: job.title().to_string(),
            rule_hash: job.rule.as_ref().map_or_else(String::new, |rule| rule.hash().to_string()),
            word: ending.word,
            danger,
            reason: ending.reason,
            judgements: ending.judgements,
            readings,
            as_left,
            second_looks,
            plate: ending.plate,
            hold_points: self.ledger.hold_points(),
            decision: self.settings.decision,
            notes: ending.notes,
            at: self.now,
        };
        let runs = job.hold_points().iter().any(|name| crate::hold::says_that_it_runs(name));
        if verdict.word != Word::NoVerdict {
            self.route.judged(&job.plan);
        }
        let slot = job.plan.slot.clone();
        check.end(verdict.clone(), live);
        // A danger waits for no hold point, so it does not say that they stood.
        if runs && verdict.word != Word::NoVerdict && !danger {
            self.service(By::Unsaid, Stays::ran);
        }
        self.say(Output::Verdict(Box::new(verdict.clone())));
        let changes = self.ledger.judged(&verdict, &slot, &names, self.settings.verdicts_are_stored);
        self.take(changes);
    }
}

#[cfg(test)]
mod tests;
