//! What the leads show after the word: the figure, once the value has come to rest, and a word that the stream contradicts.
//! Both are told beside the verdict; the verdict itself stays as it was given. Settles and shows nothing by itself.

use alloc::boxed::Box;
use alloc::vec::Vec;

use quantity::{Duration, Kind, Reading, State};

use super::Round;
use super::about::{About, Question};
use super::check::{Check, Phase};
use super::conclude::say_what_was_entered;
use super::event::{AMENDMENTS_MAX, Output};
use super::plate;
use super::point::PointState;
use super::settled::SettledPoint;
use super::settling::{SettlingPoint, wants};
use super::since::Amended;
use crate::verdict::PointReading;
use judge::evaluate::{Evaluation, Input, Judged, evaluate};
use judge::limits::Word;
use judge::rule::Point;
use judge::settle::Settling;

/// What a reading brought about at a point that has its value.
struct Seen {
    index: usize,
    reading: PointReading,
    input: Input,
    what: What,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum What {
    /// The value has come to rest.
    Figure,
    /// It has settled anew, perhaps elsewhere.
    Anew,
    /// It has jumped to another level and settled there, without lifted leads.
    Moved,
}

/// Of a value that was settled, this part is next to nothing: the leads, the clamp or the hose are off, or the machine stopped.
/// Our own choice.
const OFF_PART: f64 = 0.05;
/// A value that jumps up to so many conversions after the word is the same contact's next conversion. Our own choice.
const CONVERSIONS_LATE: i64 = 2;

impl SettledPoint {
    /// Quantities that show a number next to nothing where leads, clamp or hose are off.
    fn off(&self, reading: &Reading) -> bool {
        let State::Value(shown) = reading.state else { return true };
        let kinds = [Kind::Voltage, Kind::Current, Kind::GaugePressure, Kind::PressureDifference];
        kinds.contains(&reading.unit.kind())
            && shown.to_f64().abs() < OFF_PART * self.reading.quantity.value().abs()
    }

    /// Whether this reading may be of the same contact. Open leads and another function end it: what comes after may be another
    /// part. A range that changed has been followed before.
    fn may_go_on(&self, reading: &Reading, point: &Point) -> bool {
        let Some(following) = self.after.as_ref().and_then(|after| after.follow()) else { return false };
        wants(point, reading) && following.continues(reading) && !self.off(reading)
    }

    /// The meter has changed its range under the same leads: it settles anew there, and what was known of its pace counts.
    fn follow_range(&mut self, device: &str, reading: &Reading, point: &Point) {
        let Some(after) = &mut self.after else { return };
        let Some(following) = after.follow().filter(|following| following.changes_range(reading)) else {
            return;
        };
        if !wants(point, reading) {
            return;
        }
        let Some(mut fresh) = SettlingPoint::start(device, reading, point, following.risk()) else { return };
        fresh.goes_on_from(following);
        after.begin_anew(fresh);
    }

    /// Takes a reading while the contact lasts. What settles anew is handed out: a figure once, and what is not at rest yet
    /// once for each new settling.
    fn follow(
        &mut self,
        device: &str,
        reading: &Reading,
        point: &Point,
    ) -> Option<(PointReading, Input, What)> {
        self.after.as_ref()?.follow().filter(|following| following.is_from(device, reading))?;
        self.follow_range(device, reading, point);
        if !self.may_go_on(reading, point) {
            self.ends_follow();
            return None;
        }
        let after = self.after.as_mut()?;
        let step = match after.taken() {
            // Watching took it already; while it watched, the link was not silent.
            Some(step) => step,
            None => {
                if after.follow()?.silent_at().is_some_and(|at| at <= reading.at) {
                    self.ends_follow();
                    return None;
                }
                let _ = after.push(reading, point.unit);
                after.taken()?
            }
        };
        let following = after.follow()?;
        if let (Settling::Settled(before), None) = (step.before, self.since.level) {
            self.since.level = Some(before.since);
        }
        self.since.paused |= step.after_a_pause;
        let settled = match following.state {
            Settling::Settled(settled) => settled,
            Settling::Moving(_) | Settling::BounceRejected => return None,
            Settling::Empty | Settling::Held | Settling::Frozen { .. } | Settling::LiftedOff => {
                self.ends_follow();
                return None;
            }
        };
        if self.since.level.replace(settled.since) == Some(settled.since) {
            self.since.paused = false;
        } else if self.since.paused {
            // The leads may have been on another part when it paused.
            self.ends_follow();
            return None;
        }
        if matches!(step.before, Settling::Settled(before) if before.at_rest == settled.at_rest) {
            return None;
        }
        // What jumps at once is the next conversion of a display that was taken for at rest; later the value itself has moved.
        let conversion = following.conversion();
        let late = Duration::from_micros(conversion.micros().saturating_mul(CONVERSIONS_LATE));
        let done = Self::of_settled(following, point, &settled, reading.at)?;
        let (low, high) = (self.reading.at_least, self.reading.at_most);
        let value = done.reading.quantity.value();
        let inside = low.is_some_and(|low| low <= value) && high.is_some_and(|high| value <= high);
        // In another range the contact seems to begin anew: a value that the word's interval holds is its figure.
        let its_own = inside && !self.reading.settled && !self.since.moved;
        let what = if settled.since > self.reading.at + late && !its_own {
            self.since.moved = true;
            What::Moved
        } else if done.reading.settled && !self.reading.settled {
            What::Figure
        } else {
            What::Anew
        };
        Some((done.reading, done.input, what))
    }
}

impl Round {
    /// Feeds the points that have their value, and tells of figures and of words that no longer hold.
    pub(super) fn follow_settled(&mut self, device: &str, reading: &Reading) {
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let mut all_seen = Vec::new();
        for (index, (state, point)) in check.points.iter_mut().zip(&rule.header().points).enumerate() {
            let PointState::Settled(settled) = state else { continue };
            let Some((reading, input, what)) = settled.follow(device, reading, point) else { continue };
            all_seen.push(Seen { index, reading, input, what });
        }
        for seen in all_seen {
            self.tell(seen);
        }
        self.drop_outdated_question();
    }

    fn tell(&mut self, seen: Seen) {
        let Seen { index, reading, input, what } = seen;
        let Some(check) = &mut self.check else { return };
        let given = check.verdict.as_ref().filter(|_| check.phase == Phase::Done);
        let given = given.map(|verdict| (verdict.number, verdict.word));
        let Some(PointState::Settled(settled)) = check.points.get_mut(index) else { return };
        let Some((verdict, said)) = given else {
            // No word yet: it will rest on the better figure.
            if what == What::Figure {
                (settled.reading, settled.input) = (reading, input);
            }
            return;
        };
        settled.since.now = Some(input);
        if what == What::Figure {
            (settled.reading.settled, settled.input) = (true, input);
            let judgements = self.judged_from_figures();
            self.say(Output::Completed { verdict, reading: Box::new(reading.clone()), judgements });
        }
        self.amend(verdict, said, index, reading, what);
    }

    /// A value that is asked about and has moved on under the same leads is nobody's answer: the question goes, and the point
    /// settles on what the leads show now.
    fn drop_outdated_question(&mut self) {
        let Some(check) = &mut self.check else { return };
        let Some(Question { about: About::Implausible(index), .. }) = &check.question else { return };
        let Some(state) = check.points.get_mut(*index) else { return };
        let PointState::Settled(settled) = state else { return };
        let following = settled.after.as_ref().and_then(|after| after.follow());
        let Some(following) = following.filter(|following| following.has_left(&settled.reading)) else {
            return;
        };
        *state = PointState::Settling(Box::new(following.clone()));
        (check.question, check.phase) = (None, Phase::Measuring);
    }

    /// Says a word that is another than the last one told, as long as there are not too many.
    fn amend(&mut self, verdict: u64, said: Word, index: usize, reading: PointReading, what: What) {
        let Some(judged @ Evaluation::Judged { .. }) = self.evaluation_of(|point| point.since.now) else {
            return;
        };
        let word = judged.word();
        let Some(check) = &mut self.check else { return };
        let against = contradicts(said, word);
        let back = word == said && check.amended.word.is_some();
        if !(back || against && check.amended.word != Some(word)) {
            return;
        }
        let changes = check.amended.changes.saturating_add(1);
        check.amended = Amended { word: against.then_some(word), by: Some(index), changes };
        check.verdict_live = false;
        let at_rest = reading.settled && check.rests_but_for(index);
        let judgements = if at_rest { self.with_sources(judged) } else { Vec::new() };
        if changes <= AMENDMENTS_MAX + 1 {
            let moved = what == What::Moved;
            let reading = Box::new(reading);
            self.say(Output::Amended { verdict, word, reading, moved, changes, judgements });
        }
    }

    /// What the verdict judged, worked out from the figures; empty until each of its readings has one.
    fn judged_from_figures(&self) -> Vec<Judged> {
        let judged_something =
            |check: &Check| check.verdict.as_ref().is_some_and(|verdict| !verdict.judgements.is_empty());
        let complete = self.check.as_ref().is_some_and(|check| {
            judged_something(check)
                && check.points.iter().all(|state| state.settled().is_some_and(|s| s.reading.settled))
        });
        if !complete {
            return Vec::new();
        }
        self.evaluation_of(|_| None).map_or_else(Vec::new, |judged| self.with_sources(judged))
    }

    /// What the rule says of the values as they were completed; `instead` gives another where there is one.
    fn evaluation_of(&self, instead: impl Fn(&SettledPoint) -> Option<Input>) -> Option<Evaluation> {
        let check = self.check.as_ref()?;
        let rule = check.rule.clone()?;
        let used = plate::resolve(rule.header(), &check.plan).ok()?;
        let mut inputs = super::conclude::inputs(check, &used, None)?;
        for (input, state) in inputs.iter_mut().zip(&check.points) {
            *input = state.settled().and_then(&instead).unwrap_or(*input);
        }
        evaluate(&*rule, &inputs, self.settings.decision).ok()
    }

    fn with_sources(&self, judged: Evaluation) -> Vec<Judged> {
        let Evaluation::Judged { mut judgements, .. } = judged else { return Vec::new() };
        let used = self.check.as_ref().and_then(|check| plate::resolve(check.header()?, &check.plan).ok());
        say_what_was_entered(&mut judgements, &used.unwrap_or_default());
        judgements
    }
}

impl Check {
    /// Whether every reading beside this one has come to rest.
    fn rests_but_for(&self, index: usize) -> bool {
        let others = self.points.iter().enumerate().filter(|(at, _)| *at != index);
        others.map(|(_, state)| state.settled()).all(|settled| settled.is_some_and(|s| s.reading.settled))
    }
}

/// A word that was given and another that the leads show. No verdict says nothing, so it contradicts nothing.
fn contradicts(before: Word, now: Word) -> bool {
    before != now && before != Word::NoVerdict && now != Word::NoVerdict
}
