//! A reading at the armed check: watched, followed, taken for a proof or for a point, and what follows from that.

use alloc::string::ToString;

use quantity::{Kind, Reading};

use super::*;
use crate::hold::Scope;
use crate::hold::proof::Asks;

impl Check {
    /// What it makes of a reading.
    pub(crate) fn interest(&self, device: &str, reading: &Reading) -> Interest {
        if !self.takes_readings() {
            Interest::None
        } else if assigned(&self.job, self.points.states(), device, reading).is_some() {
            Interest::Wanted
        } else {
            Interest::Other
        }
    }

    /// Takes a reading.
    pub(crate) fn read(&mut self, device: &str, reading: &Reading, context: &mut Context<'_>) {
        if self.read_danger(device, reading, context) {
            return;
        }
        let measuring = self.phase() == Phase::Measuring;
        self.points.watch(&self.job, device, reading, measuring);
        // Clipping on answers the question whether the leads are on.
        let _ = self.reconsider_question();
        self.note_live();
        for seen in self.points.follow(&self.job, device, reading) {
            self.see(seen, context);
        }
        self.drop_outdated_question();
        if self.phase() == Phase::HoldPoints {
            self.prove(device, reading, context);
        } else if self.takes_readings() {
            self.measure(device, reading, context);
        }
    }

    /// Takes a reading for a danger alone; true when it ends the check.
    pub(crate) fn read_danger(&mut self, device: &str, reading: &Reading, context: &Context<'_>) -> bool {
        let found = self.dangers.read(&self.job, device, reading, context.settings.risk);
        let ends = found.is_some();
        if let Some(found) = found {
            self.endanger(found, true, context);
        }
        ends
    }

    /// True while readings are taken for points: also while it is asked whether the leads are on an open part, since a
    /// contact answers that.
    fn takes_readings(&self) -> bool {
        match self.phase() {
            Phase::Measuring => true,
            Phase::Asking => self.questions.asks_for_open_part().is_some(),
            Phase::HoldPoints | Phase::Done => false,
        }
    }

    fn see(&mut self, seen: Seen, context: &Context<'_>) {
        match &mut self.given {
            Some(given) => {
                let said = given.see(seen, &self.job, &mut self.points, context.settings.decision);
                self.says.extend(said.into_iter().map(Says::Output));
            }
            None if seen.what == What::Figure => {
                // No word yet: it will rest on the better figure.
                if let Some(settled) = self.points.settled_mut(seen.index) {
                    (settled.reading, settled.input) = (seen.reading, seen.input);
                }
            }
            None => {}
        }
    }

    /// A value that is asked about and has moved on under the same leads is nobody's answer: the question goes, and the point
    /// settles on what the leads show now.
    fn drop_outdated_question(&mut self) {
        let Some(Question { about: About::Implausible(index), .. }) = self.questions.open() else { return };
        let index = *index;
        let Some(settled) = self.points.settled(index) else { return };
        let following = settled.after.as_ref().and_then(|after| after.follow());
        let Some(following) = following.filter(|following| following.has_left(&settled.reading)) else {
            return;
        };
        let following = following.clone();
        self.points.resume(index, following);
        self.questions.drop_open();
    }

    /// Drops the question whether leads that read open are on, once they no longer read so. True when a settled value
    /// was thrown away with it.
    pub(super) fn reconsider_question(&mut self) -> bool {
        let Some(index) = self.questions.asks_for_open_part() else { return false };
        if self.phase() != Phase::Asking || self.points.reads_open(index) {
            return false;
        }
        let settled = self.points.settled(index).is_some();
        if settled {
            let _ = self.points.take_again(index);
        }
        self.questions.drop_open();
        settled
    }

    /// A verdict whose readings the leads no longer show is past.
    pub(super) fn note_live(&mut self) {
        if let Some(given) = &mut self.given {
            let danger = given.verdict().danger;
            let shown =
                if danger { self.dangers.is_still_shown(None) } else { self.points.still_shown(None) };
            given.note_live(shown);
        }
    }

    /// Feeds the proof of the hold point that is asked for.
    fn prove(&mut self, device: &str, reading: &Reading, context: &mut Context<'_>) {
        let Some(proving) = &mut self.proving else { return };
        let proved = proving.push(device, reading);
        if proving.is_on_source() {
            self.says.push(Says::OnLiveSource { device: device.to_string(), reading: *reading });
        }
        let name = || proving.name().to_string();
        match proved {
            Proved::Nothing => {}
            Proved::Volts(says) => self.tell_proof(says),
            Proved::Live(says) => {
                self.questions.drop_proof_question();
                self.alarm = Some(says.clone());
                self.tell_proof(says);
                self.says.push(Says::Live);
            }
            _ if self.questions.asks_for_proof_leads() => {}
            Proved::Step(says) => self.tell_proof(says),
            Proved::Shown(says) => {
                let (name, how, device) = (name(), How::Stream(says), device.to_string());
                self.says.push(Says::Shown { name, how, device });
            }
            Proved::Asks(Asks { says, until }) => {
                let text = proving.question(&says);
                let about = About::ProofLeads { name: name(), says, device: device.to_string(), until };
                self.ask(Question::new(about, text), context);
            }
        }
    }

    /// Whether nobody has proved the leads of this device, although the check holds on proved leads.
    fn is_unproved(&self, device: &str) -> bool {
        self.proved_leads.as_ref().is_some_and(|proved| proved.iter().all(|of| of != device))
    }

    /// Whether a reading for this point comes by leads that nobody has proved: it is not taken, and the prompt says so.
    fn has_unproved_leads(&mut self, device: &str, reading: &Reading) -> bool {
        let by_leads = matches!(
            reading.display.unit.kind(),
            Kind::Capacitance | Kind::Resistance | Kind::Voltage | Kind::Current
        );
        let unproved = by_leads && self.is_unproved(device);
        if !unproved {
            self.unproved = None;
        } else if self.unproved.as_deref() != Some(device) {
            self.unproved = Some(device.to_string());
        }
        unproved
    }

    /// The leads of another device may be proved at any time.
    fn prove_leads(&mut self, device: &str, reading: &Reading) {
        let about_leads = |name: &&String| crate::hold::of(name).scope == Scope::Leads;
        let Some(name) = self.job.hold_points().iter().find(about_leads).cloned() else { return };
        if self.proving.is_none() {
            self.proving = Proving::new(&name, &self.job);
        }
        let Some(proving) = &mut self.proving else { return };
        if let Proved::Shown(says) = proving.push(device, reading) {
            let (how, device) = (How::Stream(says), device.to_string());
            self.says.push(Says::Shown { name, how, device });
        }
    }

    /// Takes a reading for the point that it belongs to.
    fn measure(&mut self, device: &str, reading: &Reading, context: &mut Context<'_>) {
        if reading.display.unit.kind() == Kind::Resistance && self.is_unproved(device) {
            self.prove_leads(device, reading);
        }
        let changed = self.points.break_off(self.job.points(), device, reading);
        let _ = self.reconsider_question();
        if changed {
            self.reset(ResetReason::FunctionChanged);
        }
        let Some(index) = assigned(&self.job, self.points.states(), device, reading) else { return };
        let Some(rule) = self.job.rule.clone() else { return };
        let Some(point) = rule.header().points.get(index) else { return };
        if self.has_unproved_leads(device, reading) {
            return;
        }
        let blocked = context.leads.block(&self.job, point, device, reading);
        self.points.note_blocked(blocked);
        if blocked {
            return;
        }
        match self.points.overload(index, point, device, reading) {
            Asked::No => {
                let _ = self.reconsider_question();
            }
            Asked::NotYet => return,
            Asked::Now(text) => return self.ask_once(Question::new(About::OpenPart(index), text), context),
        }
        let from = Viewpoint::of(&self.points, index, reading, point);
        let (job, asking) = (&self.job, &mut self.asking);
        let Settings { risk, decision, .. } = *context.settings;
        let ask = |points: &Points| {
            from.map_or_else(Vec::new, |from| asking.thresholds(job, points, from, decision))
        };
        let measured = self.points.settle(index, point, device, reading, risk, ask);
        if matches!(measured, Measured::NotTaken) {
            return;
        }
        let _ = self.reconsider_question();
        match measured {
            Measured::Quiet | Measured::NotTaken => {}
            Measured::Reset(why) => self.reset(why),
            Measured::ReadsOpen(text) => {
                self.ask_once(Question::new(About::OpenPart(index), text), context);
            }
            Measured::Settled(done) => self.point_settled(index, *done, context),
            Measured::Impossible(why) => self.end_without(Reason::BadInput(why), context),
        }
    }

    pub(super) fn ask(&mut self, question: Question, context: &mut Context<'_>) {
        self.touch();
        let Question { number, text, .. } = self.questions.ask(question, context.asked);
        let (number, question) = (*number, text.clone());
        self.say(Output::Asked { number, question });
    }

    /// Asks unless something is asked already.
    fn ask_once(&mut self, question: Question, context: &mut Context<'_>) {
        if self.questions.open().is_none() {
            self.ask(question, context);
        }
    }

    /// A point has its value: with the last one the check concludes.
    pub(super) fn point_settled(&mut self, index: usize, done: SettledPoint, context: &mut Context<'_>) {
        self.touch();
        self.say(Output::Settled(done.reading.clone()));
        if let Some(watch) = done.watch().filter(|watch| watch.open_since.is_none()) {
            let (from, value) = (watch.from.clone(), done.reading.quantity.value());
            let contact = Contact::new(&self.job, &done.reading.point, from, watch.display, value);
            context.leads.remember(contact);
        }
        self.points.put(index, done);
        self.try_conclude(context);
    }

    /// When every point has its value: ask what must be asked, then judge.
    pub(super) fn try_conclude(&mut self, context: &mut Context<'_>) {
        if self.phase() != Phase::Measuring || !self.points.are_complete() || self.job.rule.is_none() {
            return;
        }
        let early = points::moment::too_early(&self.job, self.points.states());
        if !early.is_empty() {
            for index in early {
                let _ = self.points.take_again(index);
            }
            return self.reset(ResetReason::Apart);
        }
        match conclude(&self.facts(context.settings)) {
            None => {}
            Some(Conclusion::Ask(question)) => self.ask(question, context),
            Some(Conclusion::Judged(ending)) => {
                let live = self.points.still_shown(None);
                self.says.push(Says::Ended { ending, live });
            }
            Some(Conclusion::Without(ending)) => self.says.push(Says::Ended { ending, live: false }),
        }
    }
}
