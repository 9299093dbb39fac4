//! What a round does for the visits themselves: opens them, remembers one from before, follows how far a unit is back in service, and
//! closes.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::{Output, Owed, Place, Recall, Round, Service};
use crate::act::By;
use crate::job::Job;
use crate::second_look::SecondLook;
use crate::stay::Stays;
use crate::verdict::PointReading;
use judge::limits::Word;

/// A check that is left without a verdict.
pub(super) fn skipped(job: &Job, why: Option<String>, by: By) -> Output {
    Output::Skipped {
        check: job.number,
        unit_tag: job.plan.unit_tag.clone(),
        component: job.plan.component.clone(),
        rule: job.plan.rule.clone(),
        why,
        by,
    }
}

impl Round {
    /// A check of this unit is armed.
    pub(super) fn arrive(&mut self, unit_tag: &str, by: By) {
        if self.stays.is_open(unit_tag) && self.unit_tag() != Some(unit_tag) {
            self.say(Output::Returned { unit_tag: unit_tag.to_string(), by });
        }
        self.unit = Some(unit_tag.to_string());
    }

    /// Something is done at the unit under work. Its visit begins with it, unless one is open; what an earlier one left undone is
    /// owed to it too. A unit that is only passed by has no visit.
    pub(super) fn visit(&mut self, by: &By) {
        let Some(unit_tag) = self.unit.clone().filter(|unit_tag| self.stays.open(unit_tag)) else { return };
        let owed: Vec<Owed> = self.restoration.owed(Some(&unit_tag)).cloned().collect();
        self.say(Output::Opened { unit_tag, by: by.clone() });
        for owed in owed {
            self.say(Output::Owed { owed, by: By::Unsaid });
        }
    }

    /// A visit from before goes on. Nothing that was shown then counts.
    pub(super) fn recall(&mut self, recall: Recall) {
        let Recall { unit_tag, owed, judged, failed, findings, service, closed } = recall;
        if closed {
            return self.restoration.recall(&unit_tag, owed);
        }
        if !self.stays.has_room(&unit_tag) {
            return self.refuse(format!(
                "the visit at {unit_tag} was not taken up: too many visits are open; close one first"
            ));
        }
        let begins = self.check.is_none();
        self.stays.recall(&unit_tag, service);
        self.restoration.recall(&unit_tag, owed);
        self.recall_failed(&unit_tag, &failed);
        self.route.recalled(&unit_tag, &judged, begins);
        if begins {
            self.unit = Some(unit_tag.clone());
        }
        let owed = self.restoration.owed(Some(&unit_tag)).cloned().collect();
        self.say(Output::Recalled { unit_tag, owed, judged: judged.len(), findings });
    }

    /// The figure of a reading that was not at rest when its verdict was given: the second look that it is, if it is one.
    pub(super) fn look(&mut self, verdict: u64, reading: &PointReading) -> Option<SecondLook> {
        let check = self.check.as_ref()?;
        let of = check.verdict(self.now)?.0;
        if of.number != verdict || of.word == Word::NoVerdict {
            return None;
        }
        let job = check.job();
        self.looks.take((job.place(), &job.plan.rule), reading, (verdict, of.as_left))
    }

    /// What failed before the round began shows nothing in it either.
    fn recall_failed(&mut self, unit_tag: &str, failed: &[(String, String)]) {
        for (component, rule) in failed {
            let Some(shows) = self.rules.find(rule).map(|rule| rule.header().shows.clone()) else { continue };
            let slot = self.route.slot(unit_tag, component).cloned().unwrap_or_default();
            let place = Place { unit_tag, component, slot: &slot };
            for shows in shows {
                let changes = self.ledger.failed_before(&shows.name, place, self.now);
                self.take(changes);
            }
        }
    }

    pub(super) fn take_over(&mut self, tag: String, by: By) {
        if let Some(open) = self.stays.find(&tag) {
            let why = format!("nothing to take over: a visit at {open} is open here already; close it first");
            return self.refuse(why);
        }
        self.say(Output::TakeOver { unit_tag: tag, by });
    }

    /// The unit under work has power.
    pub(super) fn power_back(&mut self, by: By) {
        self.service(by, Stays::power_back);
    }

    /// Something says how far the unit under work is back in service.
    pub(super) fn service(&mut self, by: By, what: impl Fn(&mut Stays, &str) -> Option<Service>) {
        let Some(unit_tag) = self.unit.clone() else { return };
        if let Some(service) = what(&mut self.stays, &unit_tag) {
            self.say(Output::Service { unit_tag, service, by });
        }
    }

    /// Ends the visit at the unit under work. It stays open while something is owed, or the unit is not back in service, and no
    /// reason is given.
    pub(super) fn close(&mut self, why: Option<String>, by: By) {
        let Some(unit_tag) = self.unit_tag().map(ToString::to_string) else {
            return self.refuse("there is no visit to close: no unit is under work".to_string());
        };
        let owed: Vec<Owed> = self.restoration.owed(Some(&unit_tag)).cloned().collect();
        let service = self.stays.service(&unit_tag);
        if why.is_none()
            && let Some(open) = not_in_order(&owed, service)
        {
            return self.refuse(format!("{unit_tag} stays open: {open}, or close WHY"));
        }
        self.visit(&by);
        self.leave_check(by.clone());
        let changes = self.ledger.leave(&unit_tag);
        self.take(changes);
        self.paused = false;
        self.contradicted = None;
        self.unit = None;
        self.stays.close(&unit_tag);
        self.looks.leave(&unit_tag);
        self.say(Output::Closed { unit_tag, why, owed, service, by });
    }
}

/// What keeps a visit open, and what to do about it.
fn not_in_order(owed: &[Owed], service: Service) -> Option<String> {
    let list: Vec<String> = owed.iter().map(Owed::in_words).collect();
    let owed =
        (!list.is_empty()).then(|| format!("it is owed {}; say restored WHAT for each", list.join("; ")));
    let service = service.lacks().zip(service.next_step());
    let service = service.map(|(lacks, step)| format!("{lacks}; {step}"));
    let open: Vec<String> = owed.into_iter().chain(service).collect();
    (!open.is_empty()).then(|| open.join("; "))
}
