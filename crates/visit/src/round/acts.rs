//! What becomes of an act: passed on to the armed check, the ledger, the route or the restoration, or done here where several of
//! them are concerned.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::stays::skipped;
use super::{Check, Context, How, LapseReason, Output, Place, Plan, Progress, ResetReason, Round, Route};
use crate::act::{Act, By, Display};
use crate::check::none_asked;

impl Round {
    /// Does what a person does.
    pub(super) fn act(&mut self, act: Act, by: By) {
        if self.paused && needs_the_visit(&act) {
            if self.typed_danger(&act) {
                return;
            }
            return self.refuse("the visit is paused: resume it first".to_string());
        }
        match act {
            Act::Confirm { hold_point } => self.confirm(&hold_point, by),
            Act::Withdraw { hold_point } => self.withdraw(&hold_point),
            Act::Type { point, value, accuracy } => {
                if !self.with_check(|check, context| check.typed(&point, value, accuracy, context)) {
                    self.refuse(match value {
                        Display::Value(_) => "no check is armed".to_string(),
                        Display::Open => {
                            format!("{point:?} was not taken as open: no such reading is awaited")
                        }
                    });
                }
            }
            Act::Answer { question, yes } => {
                if !self.with_check(|check, context| check.answer(question, yes, context)) {
                    self.refuse(none_asked(question, self.questions));
                }
            }
            Act::Source { what } => self.name_for_proof(&["source ", &what].concat(), |check, context| {
                check.name_source(&what, context);
            }),
            Act::On { pair } => {
                let pair = pair.unwrap_or_default();
                self.name_for_proof(&["on ", &pair].concat(), |check, context| {
                    check.name_pair(&pair, context)
                });
            }
            Act::Again { as_left } => self.again(as_left),
            Act::Next => self.next(by),
            Act::Back => self.go(Route::back, by),
            Act::Unit { tag } => self.go(|route| route.unit(&tag), by),
            Act::Check { unit, name } => {
                let unit_tag = unit.or_else(|| self.unit_tag().map(ToString::to_string));
                self.go(|route| route.check(unit_tag.as_deref(), &name), by);
            }
            Act::Skip { why } => self.skip(why, by),
            Act::Finish => self.finish(),
            Act::Pause => {
                self.visit(&by);
                self.forget(ResetReason::Paused, LapseReason::Paused);
                self.paused = true;
                self.say(Output::Paused { unit_tag: self.unit.clone(), by });
            }
            Act::Resume if !self.paused => self.refuse("the visit is not paused".to_string()),
            Act::Resume => {
                self.paused = false;
                self.visit(&by);
                self.say(Output::Resumed { unit_tag: self.unit.clone(), by });
            }
            Act::Finding { text, as_left } => self.finding(text, as_left, by),
            Act::Restored { what } => self.restored(&what, by),
            Act::Energised => self.energised(by),
            Act::Close { why } => self.close(why, by),
            Act::TakeOver { tag } => self.take_over(tag, by),
        }
    }

    /// A typed value that is past a danger's limit counts in a pause too.
    fn typed_danger(&mut self, act: &Act) -> bool {
        let Act::Type { point, value, accuracy } = act else { return false };
        let mut ends = false;
        self.with_check(|check, context| ends = check.typed_danger(point, *value, *accuracy, context));
        ends
    }

    /// Something is named for the proof of the armed check.
    fn name_for_proof(&mut self, line: &str, names: impl FnOnce(&mut Check, &Context<'_>)) {
        if !self.with_check(|check, context| names(check, context)) {
            self.refuse(format!("{:?} was not taken: no check is armed", line.trim()));
        }
    }

    /// Arms the next check of the route.
    fn next(&mut self, by: By) {
        match self.route.next() {
            Some(plan) => self.arm(plan, by),
            None => {
                let progress @ Progress { checks, judged } = self.route.progress();
                self.ended = Some(progress);
                self.say(Output::RouteEnds { checks, judged });
            }
        }
    }

    /// Arms another check of the route.
    fn go(&mut self, way: impl FnOnce(&mut Route) -> Result<Plan, String>, by: By) {
        match way(&mut self.route) {
            Ok(plan) => self.arm(plan, by),
            Err(why) => self.refuse(why),
        }
    }

    /// Leaves the armed check for a reason, and goes on.
    fn skip(&mut self, why: String, by: By) {
        let Some(check) = &self.check else {
            return self.refuse("nothing to skip: no check is armed".to_string());
        };
        if check.is_done() {
            return self.refuse("this check has its verdict: say next to go on".to_string());
        }
        let skipped = skipped(check.job(), Some(why), by.clone());
        self.visit(&by);
        self.say(skipped);
        self.drop_check();
        self.next(by);
    }

    fn finding(&mut self, text: String, as_left: bool, by: By) {
        let Some(Place { unit_tag, component, .. }) = self.place() else {
            return self.refuse(
                "a finding belongs to a unit: go to one first, for example with unit RTU-01".to_string(),
            );
        };
        let (unit_tag, component) = (unit_tag.to_string(), component.to_string());
        self.visit(&by);
        self.say(Output::Finding { unit_tag, component, text, as_left, by });
    }

    fn restored(&mut self, what: &str, by: By) {
        let Some(Place { unit_tag, component, .. }) = self.place() else {
            return self.refuse(format!(
                "{what:?} was not taken: go to its unit first, for example with unit RTU-01"
            ));
        };
        let (unit_tag, component) = (unit_tag.to_string(), component.to_string());
        self.visit(&by);
        let place = Place::new(&unit_tag, &component);
        match self.restoration.restored(what, place) {
            Ok(owed) => {
                let changes =
                    self.ledger.put_back(&owed.hold_point, Place::new(&owed.unit_tag, &owed.component));
                self.say(Output::Restored { owed, by });
                self.take(changes);
            }
            Err(why) => self.refuse(why),
        }
    }

    fn again(&mut self, as_left: bool) {
        if self.with_check(|check, _| check.again(as_left)) {
            self.take(Vec::new());
        } else {
            self.refuse("nothing to take again: no check is armed".to_string());
        }
    }

    pub(super) fn finish(&mut self) {
        if self.awaits_verdict() {
            self.with_check(|check, context| check.finish(context));
        } else {
            self.drop_check();
        }
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
            Some(first) if *first != name && open.contains(&name) && !says_that_too(&name, first) => {
                self.refuse(format!("{name:?} was not taken: show {first:?} first"));
            }
            _ => self.show(&name, How::Confirmed(by), None),
        }
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
    fn energised(&mut self, by: By) {
        self.contradicted = None;
        self.with_check(|check, _| check.power_back());
        let unit_tag = self.job().map(|job| job.plan.unit_tag.clone());
        self.power_back(by.clone());
        let says = (!self.paused).then_some(by);
        let changes = self.ledger.energised(unit_tag.as_deref(), says, self.now);
        self.take(changes);
        if let (Some(unit_tag), Some(why)) = (unit_tag, self.why_not_on()) {
            self.contradict(unit_tag, format!("power back while {why}"));
        }
    }
}

/// Whether who says that a unit runs says with it that it has power.
fn says_that_too(name: &str, other: &str) -> bool {
    other == "power on" && crate::hold::of(name).power == crate::hold::Power::Live
}

/// What a pause leaves to do: see, put back, tell, go on or end.
const fn needs_the_visit(act: &Act) -> bool {
    !matches!(
        act,
        Act::Pause
            | Act::Resume
            | Act::Finding { .. }
            | Act::Restored { .. }
            | Act::Energised
            | Act::Close { .. }
    )
}
