//! What a person says to the armed check: values typed in, and answers to its question.

use super::typed::{completed, typed_point};
use super::*;

impl Check {
    /// A typed value, or overload that a person reads off.
    pub(crate) fn typed(
        &mut self,
        name: &str,
        value: Display,
        accuracy: Option<Accuracy>,
        context: &mut Context<'_>,
    ) {
        if self.typed_danger(name, value, accuracy, context) {
            return;
        }
        let taken = match value {
            Display::Value(typed) => self.typed_value(name, typed, accuracy, context.now),
            Display::Open => self.typed_open(name, context.now),
        };
        match taken {
            Ok((index, done)) => {
                self.premature |= self.phase() == Phase::HoldPoints;
                if self.phase() == Phase::Asking {
                    // The question was about the values before this one; what is still odd is asked again.
                    self.questions.drop_open();
                }
                match value {
                    Display::Value(_) => self.questions.forget_point(index),
                    Display::Open => self.questions.forget_open_part(index),
                }
                self.point_settled(index, done, context);
            }
            Err(why) => self.refuse(why),
        }
    }

    /// A typed value that is past a danger's limit ends the check, whatever is open; false for any other.
    pub(crate) fn typed_danger(
        &mut self,
        name: &str,
        value: Display,
        accuracy: Option<Accuracy>,
        context: &Context<'_>,
    ) -> bool {
        let found = match value {
            Display::Value(typed) => typed_point(&self.job, name, typed, accuracy, context.now)
                .ok()
                .and_then(|(index, done)| self.dangers.typed(&self.job, index, done)),
            Display::Open => self.dangers.typed_over(&self.job, name, context.now),
        };
        let ends = found.is_some();
        if let Some(found) = found {
            self.endanger(found, true, context);
        }
        ends
    }

    fn typed_value(
        &self,
        name: &str,
        value: Typed,
        accuracy: Option<Accuracy>,
        now: Instant,
    ) -> Result<(usize, SettledPoint), String> {
        self.takes_typed()?;
        typed_point(&self.job, name, value, accuracy, now)
    }

    /// The meter shows overload with both leads on: the point's value is what an open circuit counts as.
    fn typed_open(&self, name: &str, now: Instant) -> Result<(usize, SettledPoint), String> {
        let found = self.job.point(name);
        let (index, point) =
            found.ok_or_else(|| format!("{name:?} was not taken as open: no such reading is awaited"))?;
        self.takes_typed()?;
        let done = open_point(point, "typed", now);
        let done =
            done.ok_or_else(|| format!("{name}: an open circuit is no reading for this rule; type a value"))?;
        Ok((index, done))
    }

    fn takes_typed(&self) -> Result<(), String> {
        if self.is_done() {
            return Err("this check has its verdict; take it again to enter a new value".to_string());
        }
        Ok(())
    }

    /// A typed value as the point of this name takes it; unchanged where there is no such point.
    pub(crate) fn completed(&self, name: &str, value: Typed) -> Typed {
        self.job.point(name).map_or(value, |(_, point)| completed(point, value))
    }

    /// Takes an answer; `named` is the question that it names, `None` where it is for the one that is open.
    pub(crate) fn answer(&mut self, named: Option<u32>, yes: bool, context: &mut Context<'_>) {
        match self.questions.take(named, *context.asked) {
            Ok(question) => self.answered(question, yes, context),
            Err(why) => self.refuse(why),
        }
    }

    fn answered(&mut self, question: Question, yes: bool, context: &mut Context<'_>) {
        let Question { about, text, .. } = question;
        match (about, yes) {
            (About::ProofLeads { name, until, .. }, true) if context.now > until => {
                self.refuse(format!("the readings of {name:?} are too old: begin anew"));
                if let Some(proving) = &mut self.proving {
                    proving.begin_anew();
                }
            }
            (About::ProofLeads { name, says, device, .. }, true) => {
                let how = How::Stream(format!("{says}; both leads on each: confirmed"));
                self.says.push(Says::Shown { name, how, device });
            }
            (About::ProofLeads { .. }, false) => {
                if let Some(proving) = &mut self.proving {
                    proving.begin_anew();
                }
            }
            (about @ About::OpenPart(index), true) => {
                self.questions.accept(about);
                self.take_open_part(index, context);
            }
            (About::OpenPart(index), false) => {
                if let Some(PointState::Settled(settled)) = self.points.take_again(index) {
                    context.leads.touch_nothing(&self.job, &settled.reading.point);
                }
            }
            (about @ About::LeftOut(index), true) => {
                if let Some(settled) = self.points.settled_mut(index) {
                    settled.take_as_shown();
                }
                self.questions.accept(about);
                self.try_conclude(context);
            }
            (about, true) => {
                self.questions.accept(about);
                self.try_conclude(context);
            }
            (About::Implausible(index) | About::SwappedReading(index) | About::LeftOut(index), false) => {
                let _ = self.points.take_again(index);
            }
            (About::ImplausiblePlate(_) | About::SwappedPlate(_), false) => {
                self.end_without(Reason::Asks(text), context);
            }
        }
    }

    /// The mechanic says that the leads are on and the part reads open: the display as it stands is the value.
    fn take_open_part(&mut self, index: usize, context: &mut Context<'_>) {
        let Some(rule) = self.job.rule.clone() else { return };
        let Some(point) = rule.header().points.get(index) else { return };
        if let Some(from) = self.points.take_open_run(index) {
            // Leads that come off an open circuit change nothing, so nothing is watched.
            return match open_point(point, &from.device, context.now) {
                Some(done) => self.point_settled(index, done, context),
                None => self.refuse(String::from("an open circuit is no reading for this rule")),
            };
        }
        if self.points.state(index).and_then(PointState::settling).is_none() {
            return self.try_conclude(context);
        }
        match self.points.as_displayed(index, point, context.now) {
            Some(done) => self.point_settled(index, done, context),
            None => self.refuse(String::from("the open reading could not be taken; clip on again")),
        }
    }
}
