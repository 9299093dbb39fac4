//! The picture for the page: the round's view and what stands around it. A verdict that is neither stored nor shown as
//! UNSAVED is not in it, nor is what such an event of a visit says to be owed. Decides nothing.

use std::sync::Arc;

use super::core::Core;
use super::say::say;
use crate::output;

impl Core {
    /// What is wrong now, one sentence each.
    pub(super) fn around_faults(&self) -> Vec<String> {
        let mut faults = self.store.faults();
        faults.extend(self.tape.as_ref().and_then(|tape| tape.fault()));
        faults.extend(output::faults());
        if let Some(why) = &self.context.rules.refused {
            faults.push(format!("the rules in the folder are refused, others are in force: {why}"));
        }
        faults
    }

    /// A fresh picture for the page.
    pub(super) fn publish(&mut self) {
        self.seq += 1;
        for (state, health) in self.context.devices.iter_mut().zip(&self.health) {
            health.fill(state, self.pipeline.devices());
        }
        self.context.faults = self.around_faults();
        self.context.saving = self.store.saving();
        let mut view = self.pipeline.round().view(self.time.now());
        let reason = view.live.as_ref().map_or("", |live| live.settling.as_str());
        say(self.waits.look(reason, self.moment()));
        let round = self.pipeline.round();
        let unit_tag = round.unit_under_work();
        view.owed = self.store.owed(std::mem::take(&mut view.owed), unit_tag);
        self.book.owed(self.store.owed(round.owed(), None));
        if let Some(list) = self.book.changed() {
            self.routes.send_replace(Arc::from(list));
        }
        self.context.route = self.book.summary(unit_tag);
        let shown = view.verdict.as_ref().map(|(verdict, _)| verdict.number);
        self.context.unsaved = shown.is_some_and(|number| self.store.is_unsaved(number));
        if shown.is_some_and(|number| self.store.hides(number)) {
            let danger = view.verdict.take().is_some_and(|(verdict, _)| verdict.danger);
            if let Some(check) = &mut view.check {
                check.ruler = None;
                if danger {
                    check.prompt.clear();
                }
            }
        }
        let json = record::view_json(self.seq, self.time.now().micros() / 1_000, &view, &self.context);
        self.views.send_replace(Arc::from(json));
    }
}
