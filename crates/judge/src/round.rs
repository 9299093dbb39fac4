//! The round: one check at a time, from its hold points over its readings to its verdict, as a pure state machine.
//!
//! [`Round::step`] takes one event and the time and returns what follows. Deadlines (a hold point that lapses, a reading
//! that will not settle, a silent link) are worked off in order before the event and carry their own time, so outputs
//! depend on the events alone and not on how often somebody called. Does not decode bytes, print, or store.

mod check;
mod conclude;
mod event;
mod gate;
mod measure;
mod plate;
mod point;
mod question;
mod view;

use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Instant, Reading};

pub use check::Phase;
pub use event::{Binding, Entered, Event, LapseReason, Output, Plan, ResetReason, Settings, Stamped};
pub use view::{CheckView, HoldPointView, LiveView, PointView, RulerView, View};

use crate::hold::proof::Proof;
use crate::hold::{self, ByStream, Evidence, How};
use crate::rule::RuleSet;
use check::Check;
use gate::Gate;

/// Deadlines worked off in one step at most; far more than can ever be due, so that nothing loops for ever.
const DEADLINES_PER_STEP: usize = 1_000;

/// One visit: the rules in force, the hold points that stand, the armed check.
pub struct Round {
    rules: RuleSet,
    settings: Settings,
    gate: Gate,
    check: Option<Check>,
    checks: u32,
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
}

impl Round {
    /// A round without a check.
    #[must_use]
    pub fn new(rules: RuleSet, settings: Settings) -> Self {
        Self {
            rules,
            settings,
            gate: Gate::default(),
            check: None,
            checks: 0,
            now: Instant::ZERO,
            live: None,
            out: Vec::new(),
        }
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
            Event::Finish => self.finish(),
            Event::Again => self.again(),
            Event::Confirm { hold_point } => self.confirm(&hold_point),
            Event::Withdraw { hold_point } => self.withdraw(&hold_point),
            Event::Energised => self.energised(),
            Event::Reading { device, reading } => self.on_reading(&device, reading),
            Event::Gap { device } => self.on_gap(&device),
            Event::Typed { point, value, accuracy } => {
                self.typed(&point, value, accuracy)
            }
            Event::Answer { yes } => self.answer(yes),
            Event::Rules(rules) => self.rules = rules,
            Event::Tick => {}
        }
        core::mem::take(&mut self.out)
    }

    fn work_off_deadlines(&mut self, now: Instant) {
        for _ in 0..DEADLINES_PER_STEP {
            let Some(due) = self.poll_at().filter(|due| *due <= now) else { return };
            self.now = self.now.max(due);
            for (name, _) in self.gate.lapse_due(self.now) {
                self.fell(&name, LapseReason::Time);
            }
            self.points_due();
        }
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
        let open = check.open_hold_points(&self.gate);
        let Some(first) = open.first() else {
            check.proof = None;
            if check.phase == Phase::HoldPoints {
                check.phase = Phase::Measuring;
                if check.premature {
                    check.forget_readings();
                    self.say(Output::Reset { why: ResetReason::GateClosed });
                }
            }
            return;
        };
        let pending = check.phase != Phase::HoldPoints && check.is_pending();
        check.phase = Phase::HoldPoints;
        if check.proof.as_ref().is_none_or(|(name, _)| name != first) {
            check.proof = Proof::new(hold::of(first).by_stream).map(|proof| (first.clone(), proof));
            check.proof_says.clear();
        }
        if pending {
            check.forget_readings();
            self.say(Output::Reset { why: ResetReason::GateClosed });
        }
    }

    fn confirm(&mut self, name: &str) {
        let Some(check) = &self.check else {
            return self.refuse(format!("{name:?} was not taken: no check is armed"));
        };
        if !check.hold_points().iter().any(|listed| listed == name) {
            let listed = check.hold_points().join(", ");
            return self.refuse(format!("{name:?} is no hold point of this check; it has: {listed}"));
        }
        let first_open = check.open_hold_points(&self.gate).into_iter().next();
        match first_open {
            Some(first) if first != name && self.gate.evidence(name, check.place()).is_none() => {
                self.refuse(format!("{name:?} was not taken: show {first:?} first"));
            }
            _ => self.show(name, How::Confirmed),
        }
    }

    fn show(&mut self, name: &str, how: How) {
        let Some(check) = &self.check else { return };
        let evidence = Evidence { at: self.now, how };
        self.gate.show(name, check.place(), evidence.clone());
        self.say(Output::HoldPoint { name: name.to_string(), evidence });
        self.refresh_gate();
    }

    fn withdraw(&mut self, name: &str) {
        let stood = self.check.as_ref().is_some_and(|check| self.gate.withdraw(name, check.place()));
        if stood {
            self.fell(name, LapseReason::Withdrawn);
        } else {
            self.refuse(format!("{name:?} does not stand, so it cannot be taken back"));
        }
    }

    fn energised(&mut self) {
        let Some(check) = &self.check else { return };
        let unit_tag = check.plan.unit_tag.clone();
        for name in self.gate.energised(&unit_tag) {
            self.fell(&name, LapseReason::Energised);
        }
        self.refresh_gate();
    }

    /// A hold point no longer stands: say so, and let those behind it in the check's list fall too (leads excepted).
    fn fell(&mut self, name: &str, why: LapseReason) {
        self.say(Output::Lapsed { name: name.to_string(), why });
        let Some(check) = &self.check else { return };
        let later: Vec<String> =
            check.hold_points().iter().skip_while(|listed| *listed != name).skip(1).cloned().collect();
        for name in later {
            let Some(check) = &self.check else { return };
            if hold::of(&name).scope != hold::Scope::Leads && self.gate.withdraw(&name, check.place()) {
                self.say(Output::Lapsed { name, why: LapseReason::Earlier });
            }
        }
        self.refresh_gate();
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
    fn prove(&mut self, reading: &Reading) {
        use crate::hold::proof::Progress;
        let Some(check) = &mut self.check else { return };
        let Some((name, proof)) = &mut check.proof else { return };
        match proof.push(reading) {
            Progress::Ignored => {}
            Progress::Waiting(says) => check.proof_says = says,
            Progress::Shown(says) => {
                let name = name.clone();
                self.show(&name, How::Stream(says));
            }
        }
    }

    /// True while the asked hold point is itself a test with volts.
    fn proving_with_volts(&self) -> bool {
        self.check.as_ref().and_then(|check| check.proof.as_ref()).is_some_and(|(name, _)| {
            matches!(hold::of(name).by_stream, ByStream::LiveDeadLive | ByStream::Discharged)
        })
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
        if let Some(check) = &mut self.check {
            check.phase = Phase::Done;
            check.question = None;
            check.verdict = Some(verdict.clone());
            check.verdict_live = live;
        }
        self.say(Output::Verdict(Box::new(verdict)));
    }
}

#[cfg(test)]
mod tests;
