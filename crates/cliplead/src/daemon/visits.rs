//! Events of visits on their way to the history: each is told when it is stored, or marked UNSAVED when that takes too long, as a
//! verdict is. What is owed is in the picture of the page from then on too. Does no disk work.

use quantity::Instant;
use uuid::Uuid;
use visit::act::By;
use visit::round::{Output, Owed};

use super::keeper::Job;
use super::released::{Released, ReleasedVisitEvent, Saved};
use super::store::{Now, Store, wall_ms};
use crate::clock::Moment;

impl Store {
    /// Looks from time to time which visits other machines have open; one question at a time.
    pub(super) fn look_elsewhere(&mut self, now: Moment) {
        let Some(keeper) = &self.keeper else { return };
        if self.elsewhere.is_due(now) {
            let sent = keeper.send(Job::Elsewhere);
            self.elsewhere.asked(now, sent);
        }
    }

    /// Takes an event of a visit, as the round said it at `at`, and gives back what may be told now. `None` when it is none, or
    /// nothing is kept.
    pub(super) fn visit_event(&mut self, output: &Output, at: Instant, now: Moment) -> Option<Now> {
        let keeper = self.keeper.as_ref()?;
        let row = row(output, at)?;
        self.visit_events += 1;
        let seq = self.visit_events;
        let row = history::VisitEvent { machine: self.machine.clone(), ..row };
        let sent = self.has_room() && keeper.send(Job::Visit(seq, Box::new(row)));
        let kept = ReleasedVisitEvent { seq, output: output.clone(), saved: Saved::No };
        Some(self.wait_or_show(sent, Released::Visit(Box::new(kept)), now))
    }

    /// Asks for the visit that another machine has open at this unit.
    ///
    /// # Errors
    /// Why nobody can be asked.
    pub(super) fn take_over(&mut self, unit_tag: &str, by: &By, at: Instant) -> Result<(), String> {
        let Some(keeper) = &self.keeper else {
            return Err(
                "nothing to take over: no history is kept, so no visit of another machine is known".into()
            );
        };
        let event = history::VisitEvent {
            unit_tag: unit_tag.to_owned(),
            machine: self.machine.clone(),
            ..event("taken over", by, at)
        };
        if !keeper.send(Job::TakeOver(Box::new(event))) {
            return Err("not taken over: too much waits for the disk".into());
        }
        self.taking_over = true;
        Ok(())
    }

    /// What is owed as it may be shown, at this unit or at all: what nobody has been told of yet is not there yet, and what nobody knows to be back still is.
    pub(super) fn owed(&self, mut owed: Vec<Owed>, unit_tag: Option<&str>) -> Vec<Owed> {
        let unseen = self.unseen().filter_map(|what| match what {
            Released::Visit(kept) => Some(&kept.output),
            Released::Verdict(_) | Released::FollowUp(_) => None,
        });
        let unseen: Vec<&Output> = unseen.collect();
        for output in unseen.into_iter().rev() {
            match output {
                Output::Owed { owed: of, .. } => owed.retain(|known| known != of),
                Output::Restored { owed: of, .. } if unit_tag.is_none_or(|tag| tag == of.unit_tag) => {
                    owed.push(of.clone());
                }
                _ => {}
            }
        }
        owed
    }
}

/// An event of this kind, with an id of its own.
fn event(kind: &str, by: &By, at: Instant) -> history::VisitEvent {
    history::VisitEvent {
        uid: Uuid::now_v7().to_string(),
        kind: kind.to_owned(),
        by: by.word(),
        at_us: u64::try_from(at.micros()).unwrap_or(0),
        wall_ms: wall_ms(),
        ..history::VisitEvent::default()
    }
}

/// An event as the history stores it; `None` for what belongs to no visit. The machine is still missing.
pub(super) fn row(output: &Output, at: Instant) -> Option<history::VisitEvent> {
    let of = |kind: &str, unit_tag: &str, by: &By| history::VisitEvent {
        unit_tag: unit_tag.to_owned(),
        ..event(kind, by, at)
    };
    let of_owed = |kind: &str, owed: &Owed, by: &By| history::VisitEvent {
        component: owed.component.clone(),
        hold_point: Some(owed.hold_point.clone()),
        text: Some(owed.what.clone()),
        ..of(kind, &owed.unit_tag, by)
    };
    Some(match output {
        Output::Opened { unit_tag, by } => {
            history::VisitEvent { visit: Some(Uuid::now_v7().to_string()), ..of("opened", unit_tag, by) }
        }
        Output::Returned { unit_tag, by } => of("resumed", unit_tag, by),
        Output::Recalled { unit_tag, .. } => of("resumed", unit_tag, &By::Unsaid),
        Output::Service { unit_tag, service, by } => of(service.word()?, unit_tag, by),
        Output::Finding { unit_tag, component, text, as_left, by } => history::VisitEvent {
            component: component.clone(),
            text: Some(text.clone()),
            as_left: Some(*as_left),
            ..of("finding", unit_tag, by)
        },
        Output::Owed { owed, by } => of_owed("owed", owed, by),
        Output::Restored { owed, by } => of_owed("restored", owed, by),
        Output::Skipped { check, unit_tag, component, rule, why: Some(why), by } => history::VisitEvent {
            component: component.clone(),
            check: Some(*check),
            rule: Some(rule.clone()),
            text: Some(why.clone()),
            ..of("skipped", unit_tag, by)
        },
        Output::Paused { unit_tag, by } => of("paused", unit_tag.as_ref()?, by),
        Output::Resumed { unit_tag, by } => of("resumed", unit_tag.as_ref()?, by),
        Output::Closed { unit_tag, why, by, .. } => {
            history::VisitEvent { text: why.clone(), ..of("closed", unit_tag, by) }
        }
        _ => return None,
    })
}
