//! What the leads show after the word: the figure, once the value has come to rest, and a word that the stream contradicts.
//! Both are told beside the verdict; the verdict itself stays as it was given. Settles and shows nothing by itself.

use alloc::vec::Vec;

use quantity::{Duration, Kind, Reading, State};

use super::Round;
use super::check::{Check, Phase};
use super::event::Output;
use super::plate;
use super::point::{PointState, SettledPoint, wants};
use crate::evaluate::{Evaluation, Input, evaluate};
use crate::limits::Word;
use crate::rule::Point;
use crate::settle::Settling;
use crate::verdict::PointReading;

/// What a reading brought about at a point that has its value.
enum Seen {
    /// The value has come to rest.
    Figure(usize, PointReading, Input),
    /// It has settled anew, perhaps elsewhere.
    Elsewhere(usize, PointReading, Input),
}

/// Of a value that was settled, this part is next to nothing: the leads or the clamp are off. Our own choice.
const OFF_PART: f64 = 0.05;
/// A value that jumps up to so many conversions after the word is still the same contact's. Our own choice.
const CONVERSIONS_LATE: i64 = 2;

impl SettledPoint {
    /// Volts and amps next to nothing: leads that came off show a number there.
    fn off(&self, reading: &Reading) -> bool {
        let State::Value(shown) = reading.state else { return false };
        matches!(reading.unit.kind(), Kind::Voltage | Kind::Current)
            && shown.to_f64().abs() < OFF_PART * self.reading.quantity.value().abs()
    }

    /// Takes a reading while the contact lasts. What settles anew is handed out: a figure once, and what is not at rest yet
    /// once for each new settling.
    fn follow(&mut self, device: &str, reading: &Reading, point: &Point) -> Option<(PointReading, Input)> {
        let following =
            self.after.as_ref()?.follow().filter(|following| following.is_from(device, reading))?;
        if !(wants(point, reading) && following.continues(reading)) || self.off(reading) {
            self.ends_follow();
            return None;
        }
        let after = self.after.as_mut()?;
        let before = match after.taken() {
            // Watching took it already; while it watched, the link was not silent.
            Some(before) => before,
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
        let settled = match following.state {
            Settling::Settled(settled) => settled,
            Settling::Moving(_) | Settling::BounceRejected => return None,
            Settling::Empty | Settling::Held | Settling::Frozen { .. } | Settling::LiftedOff => {
                self.ends_follow();
                return None;
            }
        };
        // What jumps may be the next conversion of a display that was taken for at rest; later it is another contact.
        let conversion = following.conversion();
        let late = Duration::from_micros(conversion.micros().saturating_mul(CONVERSIONS_LATE));
        if settled.since > self.reading.at + late {
            self.ends_follow();
            return None;
        }
        let same = matches!(before, Settling::Settled(before) if before.at_rest == settled.at_rest);
        if same {
            return None;
        }
        let done = following.finish_settled(point, &settled, reading.at)?;
        Some((done.reading, done.input))
    }
}

impl Round {
    /// Feeds the points that have their value, and tells of figures and of words that no longer hold.
    pub(super) fn follow_settled(&mut self, device: &str, reading: &Reading) {
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let mut seen = Vec::new();
        for (index, (state, point)) in check.points.iter_mut().zip(&rule.header().points).enumerate() {
            let PointState::Settled(settled) = state else { continue };
            let Some((reading, input)) = settled.follow(device, reading, point) else { continue };
            seen.push(if reading.settled && !settled.reading.settled {
                Seen::Figure(index, reading, input)
            } else {
                Seen::Elsewhere(index, reading, input)
            });
        }
        for seen in seen {
            self.tell(seen);
        }
    }

    fn tell(&mut self, seen: Seen) {
        let given = self.check.as_ref().filter(|check| check.phase == Phase::Done).and_then(|check| {
            let verdict = check.verdict.as_ref()?;
            Some((verdict.number, verdict.word))
        });
        let (Seen::Figure(index, _, input) | Seen::Elsewhere(index, _, input)) = &seen;
        let (index, input) = (*index, *input);
        let word = self.word_with(index, input);
        let Some(check) = &mut self.check else { return };
        let Some(PointState::Settled(settled)) = check.points.get_mut(index) else { return };
        let Some((verdict, before)) = given else {
            // No word yet: it will rest on the better figure.
            if let Seen::Figure(_, reading, input) = seen {
                (settled.reading, settled.input) = (reading, input);
            }
            return;
        };
        let elsewhere = matches!(seen, Seen::Elsewhere(..));
        let reading = match seen {
            Seen::Figure(_, reading, input) => {
                (settled.reading.settled, settled.input) = (true, input);
                reading
            }
            Seen::Elsewhere(_, reading, _) => reading,
        };
        let against = word.filter(|word| contradicts(before, *word)).filter(|_| check.amended != word);
        if against.is_some() {
            (check.amended, check.amended_by) = (against, Some(index));
            check.verdict_live = false;
        }
        if reading.settled && !elsewhere {
            self.say(Output::Completed { verdict, reading: reading.clone() });
        }
        if let Some(word) = against {
            self.say(Output::Amended { verdict, word, reading });
        }
    }

    /// The word if this point had this value instead.
    fn word_with(&self, index: usize, input: Input) -> Option<Word> {
        let check: &Check = self.check.as_ref()?;
        let rule = check.rule.clone()?;
        let used = plate::resolve(rule.header(), &check.plan).ok()?;
        let inputs = super::conclude::inputs(check, &used, Some((index, input)))?;
        match evaluate(&*rule, &inputs, self.settings.decision).ok()? {
            Evaluation::NoVerdict { .. } => None,
            judged @ Evaluation::Judged { .. } => Some(judged.word()),
        }
    }
}

/// A word that was given and another that the figure gives: what a conditional word left open is no contradiction.
fn contradicts(before: Word, now: Word) -> bool {
    before != now && before != Word::NoVerdict && now != Word::NoVerdict
}
