//! The round: one check at a time, from its hold points over its readings to its verdict, as a pure state machine.
//!
//! [`Round::step`] takes one event and the time and returns what follows. Deadlines (a hold point that lapses, a reading
//! that will not settle, a silent link) are worked off in order before the event and carry their own time, so outputs
//! depend on the events alone and not on how often somebody called. Does not decode bytes, print, or store.

mod about;
mod after;
mod check;
mod conclude;
mod contact;
mod event;
mod figure;
mod gate;
mod measure;
mod moment;
mod plate;
mod point;
mod question;
mod route;
mod settled;
mod settling;
mod since;
mod storing;
mod typed;
mod unwatched;
mod view;
mod volts;
mod waits;
mod watch;
mod why;

use alloc::boxed::Box;
use alloc::collections::VecDeque;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Instant, Reading};

pub use check::Phase;
pub use event::{
    AMENDMENTS_MAX, Binding, Entered, Event, LapseReason, NO_QUESTION, Output, Plan, ResetReason, Settings,
    Stamped,
};
pub use route::Route;
pub use view::{
    CheckView, HoldPointState, HoldPointView, LiveState, LiveView, PointStage, PointView, QuestionView,
    RulerView, ShownBy, View,
};
pub use waits::StillWaits;

use crate::act::{Act, By, Display};
use crate::hold::{self, ByStream, Evidence, How};
use check::{Check, Proving};
use contact::Contact;
use gate::{Gate, Standing};
use judge::rule::RuleSet;
use point::PointState;
use storing::Unstored;

/// Deadlines worked off in one step at most; far more than can ever be due, so that nothing loops for ever.
const DEADLINES_PER_STEP: usize = 1_000;

/// One visit: the rules in force, the hold points that stand, the armed check.
pub struct Round {
    rules: RuleSet,
    settings: Settings,
    route: Route,
    gate: Gate,
    check: Option<Check>,
    /// What leads are still on, as far as known; outlives the check.
    contacts: Vec<Contact>,
    checks: u32,
    verdicts: u64,
    /// Verdicts whose evidence waits until they are stored; see [`Settings::verdicts_are_stored`].
    unstored: VecDeque<Unstored>,
    /// Questions asked so far.
    questions: u32,
    now: Instant,
    live: Option<Live>,
    out: Vec<Stamped>,
}

/// The newest reading of any device.
#[derive(Clone, Debug)]
struct Live {
    device: String,
    reading: Reading,
    lost: bool,
    /// The armed check wants this reading, so others beside it do not take its place.
    wanted: bool,
}

impl Round {
    /// A round without a check.
    #[must_use]
    pub fn new(rules: RuleSet, settings: Settings) -> Self {
        Self {
            rules,
            settings,
            route: Route::default(),
            gate: Gate::default(),
            check: None,
            contacts: Vec::new(),
            checks: 0,
            verdicts: 0,
            unstored: VecDeque::new(),
            questions: 0,
            now: Instant::ZERO,
            live: None,
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
        self.check.as_ref().map(|check| check.number)
    }

    /// The plan of the armed check.
    #[must_use]
    pub fn plan(&self) -> Option<&Plan> {
        self.check.as_ref().map(|check| &check.plan)
    }

    /// True while a check is armed that has no verdict yet.
    #[must_use]
    pub fn awaits_verdict(&self) -> bool {
        self.check.as_ref().is_some_and(|check| check.phase != Phase::Done)
    }

    /// When something is due without any further event.
    #[must_use]
    pub fn poll_at(&self) -> Option<Instant> {
        let check = self.check.as_ref().and_then(Check::next_deadline);
        [self.gate.next_lapse(), check].into_iter().flatten().min()
    }

    /// Takes one event. `now` must not go backwards; an earlier time is taken as the latest one seen.
    pub fn step(&mut self, event: Event, now: Instant) -> Vec<Stamped> {
        let now = now.max(self.now);
        self.work_off_deadlines(now);
        self.now = now;
        match event {
            Event::Arm(plan) => self.arm(*plan),
            Event::Act { act, by } => self.act(act, by),
            Event::Reading { device, reading } => self.on_reading(&device, reading),
            Event::Gap { device } => self.on_gap(&device),
            Event::Rules(rules) => self.rules = rules,
            Event::Stored { verdict } => self.stored(verdict),
            Event::Unwatched => self.unwatched(),
            Event::Tick => {}
        }
        core::mem::take(&mut self.out)
    }

    /// Does what a person does.
    fn act(&mut self, act: Act, by: By) {
        match act {
            Act::Confirm { hold_point } => self.confirm(&hold_point, by),
            Act::Withdraw { hold_point } => self.withdraw(&hold_point),
            Act::Type { point, value: Display::Value(value), accuracy } => {
                self.typed(&point, value, accuracy)
            }
            Act::Type { point, value: Display::Open, .. } => self.typed_open(&point),
            Act::Answer { question, yes } => self.answer(question, yes),
            Act::Again => self.again(),
            Act::Next => self.next(),
            Act::Finish => self.finish(),
            Act::Energised => self.energised(),
        }
    }

    /// Arms the next check of the route.
    fn next(&mut self) {
        match self.route.go_on() {
            Some(plan) => self.arm(plan),
            None => self.refuse("the route is at its end: there is no next check".to_string()),
        }
    }

    fn work_off_deadlines(&mut self, now: Instant) {
        for _ in 0..DEADLINES_PER_STEP {
            let Some(due) = self.poll_at().filter(|due| *due <= now) else { return };
            self.now = self.now.max(due);
            self.lapse();
            self.points_due();
        }
        // Never reached in practice; a hold point whose time is over must not count all the same.
        self.now = self.now.max(now);
        self.lapse();
    }

    fn lapse(&mut self) {
        let gone = self.gate.lapse_due(self.now);
        self.fell(&gone, LapseReason::Time);
    }

    fn say(&mut self, output: Output) {
        self.out.push(Stamped { at: self.now, output });
    }

    fn refuse(&mut self, why: String) {
        self.say(Output::Refused { why });
    }

    fn arm(&mut self, plan: Plan) {
        if self.check.as_ref().is_some_and(|check| check.phase != Phase::Done) {
            self.finish();
        }
        self.checks = self.checks.saturating_add(1);
        let rule = self.rules.find(&plan.rule).cloned();
        let check = Check::new(self.checks, plan, rule);
        let cautions = check.header().map_or_else(Vec::new, |header| header.cautions.clone());
        self.say(Output::Armed {
            check: check.number,
            unit_tag: check.plan.unit_tag.clone(),
            component: check.plan.component.clone(),
            rule: check.plan.rule.clone(),
            cautions,
        });
        self.check = Some(check);
        self.refresh_gate();
    }

    fn again(&mut self) {
        let Some(check) = &mut self.check else {
            return self.refuse("nothing to take again: no check is armed".to_string());
        };
        check.forget_readings();
        check.phase = Phase::HoldPoints;
        self.refresh_gate();
    }

    /// Opens the gate when all hold points stand, closes it when one is missing, and starts the proof of the first open
    /// one if the stream can show it.
    fn refresh_gate(&mut self) {
        let Some(check) = &mut self.check else { return };
        if check.phase == Phase::Done {
            return;
        }
        check.drop_proof_question();
        let open = check.open_hold_points(&self.gate);
        let Some(first) = open.first() else {
            check.proving = None;
            if check.phase == Phase::HoldPoints {
                check.phase = Phase::Measuring;
                if check.premature {
                    check.forget_readings();
                    self.say(Output::Reset { why: ResetReason::GateClosed });
                }
            }
            return;
        };
        let closes = check.phase != Phase::HoldPoints;
        let pending = closes && check.is_pending();
        check.phase = Phase::HoldPoints;
        if check.proving.as_ref().is_none_or(|proving| proving.name != *first) {
            check.proving = Proving::new(first);
            check.proof_says.clear();
        }
        if closes {
            check.forget_readings();
        }
        if pending {
            self.say(Output::Reset { why: ResetReason::GateClosed });
        }
    }

    fn confirm(&mut self, name: &str, by: By) {
        let Some(check) = &self.check else {
            return self.refuse(format!("{name:?} was not taken: no check is armed"));
        };
        let Some(name) = check.hold_point(name).map(ToString::to_string) else {
            let listed = check.hold_points().join(", ");
            return self.refuse(format!("{name:?} is no hold point of this check; it has: {listed}"));
        };
        let open = check.open_hold_points(&self.gate);
        match open.first() {
            Some(first) if *first != name && open.contains(&name) => {
                self.refuse(format!("{name:?} was not taken: show {first:?} first"));
            }
            _ => self.show(&name, How::Confirmed(by)),
        }
    }

    fn show(&mut self, name: &str, how: How) {
        let Some(check) = &self.check else { return };
        let evidence = Evidence { at: self.now, how };
        let renewed = !check.open_hold_points(&self.gate).iter().any(|of| of == name);
        self.gate.show(name, check.place(), evidence.clone(), renewed);
        self.say(Output::HoldPoint { name: name.to_string(), evidence });
        self.refresh_gate();
    }

    fn withdraw(&mut self, name: &str) {
        let gone = self.check.as_ref().and_then(|check| {
            let known = check.hold_point(name).unwrap_or(name);
            self.gate.withdraw(known, check.place())
        });
        match gone {
            Some(gone) => self.fell(&[gone], LapseReason::Withdrawn),
            None => self.refuse(format!("{name:?} does not stand, so it cannot be taken back")),
        }
    }

    /// Power is back on the unit of the armed check; on any unit, as far as is known, when none is armed.
    fn energised(&mut self) {
        let unit_tag = self.check.as_ref().map(|check| check.plan.unit_tag.clone());
        if let Some(check) = &mut self.check {
            check.drop_proof_question();
        }
        let gone = self.gate.energised(unit_tag.as_deref());
        if let Some(proving) = self.check.as_mut().and_then(|check| check.proving.as_mut()) {
            proving.forget(None);
        }
        self.fell(&gone, LapseReason::Energised);
    }

    /// Hold points that no longer stand: say so, and let those behind them in the check's list fall too (leads
    /// excepted). Those of another unit or component fall without a word; a check there asks for them again.
    fn fell(&mut self, gone: &[Standing], why: LapseReason) {
        for fallen in gone {
            let here = self.check.as_ref().is_none_or(|check| fallen.reaches(check.place()));
            if here {
                self.say(Output::Lapsed { name: fallen.name.clone(), why });
                self.fall_behind(&fallen.name);
            }
        }
        self.refresh_gate();
    }

    fn fall_behind(&mut self, name: &str) {
        let Some(check) = &mut self.check else { return };
        let mut behind = check.hold_points().iter().skip_while(|listed| *listed != name).cloned();
        if behind.next().is_none() {
            return;
        }
        let behind: Vec<String> = behind.collect();
        check.verdict_live = false;
        for name in behind {
            let Some(check) = &self.check else { return };
            if hold::of(&name).keeps_order && self.gate.withdraw(&name, check.place()).is_some() {
                self.say(Output::Lapsed { name, why: LapseReason::Earlier });
            }
        }
    }

    fn on_gap(&mut self, device: &str) {
        if let Some(live) = &mut self.live
            && live.device == device
        {
            live.lost = true;
        }
        self.link_lost(device);
    }

    /// Feeds the proof of the asked hold point.
    fn prove(&mut self, device: &str, reading: &Reading) {
        use crate::hold::proof::Progress;
        let Some(check) = self.check.as_mut().filter(|check| !check.asks_for_proof_leads()) else { return };
        let Some(proving) = &mut check.proving else { return };
        let name = proving.name.clone();
        let Some(proof) = proving.of(device, reading.channel) else { return };
        let progress = proof.push(reading);
        let is_shown = matches!(progress, Progress::Shown(_) | Progress::ShownIfOn(_));
        if is_shown && hold::of(&name).by_stream == ByStream::LiveDeadLive {
            check.volts.on_live_source(device, reading);
        }
        match progress {
            Progress::Ignored => {}
            Progress::Waiting(says) => check.proof_says = says,
            Progress::Shown(says) => self.show(&name, How::Stream(says)),
            Progress::ShownIfOn(says) => self.ask_where_the_leads_were(name, says),
        }
    }

    fn finish(&mut self) {
        let Some(check) = &self.check else { return };
        if check.phase == Phase::Done {
            self.check = None;
            return;
        }
        let reason = self.why_none_yet();
        self.end_without(reason);
    }

    fn emit(&mut self, verdict: crate::verdict::Verdict, live: bool) {
        self.verdicts = verdict.number;
        if let Some(check) = &mut self.check {
            check.phase = Phase::Done;
            check.question = None;
            // What was still settling must not speak up after the end.
            check.points.iter_mut().filter(|p| p.settled().is_none()).for_each(|p| *p = PointState::Waiting);
            check.verdict = Some(verdict.clone());
            check.verdict_live = live;
        }
        self.say(Output::Verdict(Box::new(verdict.clone())));
        self.show_for_others(&verdict);
    }
}

#[cfg(test)]
mod tests;
