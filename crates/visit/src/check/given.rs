//! After the word: the verdict as it was given, whether it still describes what the leads show, its figures once they have come to
//! rest, and a word that the stream contradicts. The verdict itself stays as it was given. Takes what the points have seen.

use alloc::boxed::Box;
use alloc::vec::Vec;

use super::facts::{inputs, plate_of};
use super::points::Points;
use super::points::follow::{Seen, What};
use super::points::settled::SettledPoint;
use super::sources::say_what_was_entered;
use crate::event::{AMENDMENTS_MAX, Output};
use crate::job::Job;
use crate::verdict::{PointReading, Verdict};
use judge::evaluate::{Evaluation, Input, Judged, evaluate};
use judge::limits::{DecisionRule, Word};

/// A verdict that was given.
pub(super) struct Given {
    verdict: Verdict,
    live: bool,
    amended: Amended,
}

/// What the stream has put in place of a verdict's word.
#[derive(Clone, Debug, Default)]
struct Amended {
    /// The word, while it is another than the verdict's.
    word: Option<Word>,
    /// The point that was the last to change it.
    by: Option<usize>,
    /// How often it has changed.
    changes: u32,
}

impl Given {
    /// A verdict; `live` when the leads still show what it describes.
    pub(super) fn new(verdict: Verdict, live: bool) -> Self {
        Self { verdict, live, amended: Amended::default() }
    }

    pub(super) const fn verdict(&self) -> &Verdict {
        &self.verdict
    }

    /// Whether it still describes what the leads show.
    pub(super) const fn is_live(&self) -> bool {
        self.live
    }

    /// The leads show it only while `still_shown`; once past, it stays so.
    pub(super) fn note_live(&mut self, still_shown: bool) {
        self.live = self.live && still_shown;
    }

    /// The point that was the last to contradict it.
    pub(super) const fn amended_by(&self) -> Option<usize> {
        self.amended.by
    }

    /// How often its word has changed since.
    pub(super) const fn changes(&self) -> u32 {
        self.amended.changes
    }

    /// Takes what a point has seen: its figure, and a word that no longer holds.
    pub(super) fn see(
        &mut self,
        seen: Seen,
        job: &Job,
        points: &mut Points,
        decision: DecisionRule,
    ) -> Vec<Output> {
        let Seen { index, reading, input, what } = seen;
        let mut says = Vec::new();
        if self.verdict.danger {
            // A danger rests on its own reading, and stands until the mechanic goes on.
            return says;
        }
        let Some(settled) = points.settled_mut(index) else { return says };
        settled.since.now = Some(input);
        if what == What::Figure {
            (settled.reading.settled, settled.input) = (true, input);
            let judgements = self.judged_from_figures(job, points, decision);
            let (verdict, reading) = (self.verdict.number, Box::new(reading.clone()));
            says.push(Output::Completed { verdict, reading, second_look: None, judgements });
        }
        says.extend(self.amend(job, points, index, reading, what, decision));
        says
    }

    /// Says a word that is another than the last one told, as long as there are not too many.
    fn amend(
        &mut self,
        job: &Job,
        points: &Points,
        index: usize,
        reading: PointReading,
        what: What,
        decision: DecisionRule,
    ) -> Option<Output> {
        let now = evaluation_of(job, points, decision, |point| point.since.now);
        let judged @ Evaluation::Judged { .. } = now? else { return None };
        let (word, said) = (judged.word(), self.verdict.word);
        let against = contradicts(said, word);
        let back = word == said && self.amended.word.is_some();
        if !(back || against && self.amended.word != Some(word)) {
            return None;
        }
        let changes = self.amended.changes.saturating_add(1);
        self.amended = Amended { word: against.then_some(word), by: Some(index), changes };
        self.live = false;
        if changes > AMENDMENTS_MAX + 1 {
            return None;
        }
        let at_rest = reading.settled && points.rest_but_for(Some(index));
        let judgements = if at_rest { with_sources(job, judged) } else { Vec::new() };
        let (verdict, moved) = (self.verdict.number, what == What::Moved);
        Some(Output::Amended { verdict, word, reading: Box::new(reading), moved, changes, judgements })
    }

    /// What the verdict judged, worked out from the figures; empty until each of its readings has one.
    fn judged_from_figures(&self, job: &Job, points: &Points, decision: DecisionRule) -> Vec<Judged> {
        if self.verdict.judgements.is_empty() || !points.rest_but_for(None) {
            return Vec::new();
        }
        let judged = evaluation_of(job, points, decision, |_| None);
        judged.map_or_else(Vec::new, |judged| with_sources(job, judged))
    }
}

/// What the rule says of the values as they were completed; `instead` gives another where there is one.
fn evaluation_of(
    job: &Job,
    points: &Points,
    decision: DecisionRule,
    instead: impl Fn(&SettledPoint) -> Option<Input>,
) -> Option<Evaluation> {
    let rule = job.rule.as_ref()?;
    let used = plate_of(job)?.ok()?;
    let mut inputs = inputs(points, &used, None)?;
    for (input, state) in inputs.iter_mut().zip(points.states()) {
        *input = state.settled().and_then(&instead).unwrap_or(*input);
    }
    evaluate(&**rule, &inputs, decision).ok()
}

fn with_sources(job: &Job, judged: Evaluation) -> Vec<Judged> {
    let Evaluation::Judged { mut judgements, .. } = judged else { return Vec::new() };
    let used = plate_of(job).and_then(Result::ok).unwrap_or_default();
    say_what_was_entered(&mut judgements, &used);
    judgements
}

/// A word that was given and another that the leads show. No verdict says nothing, so it contradicts nothing.
fn contradicts(before: Word, now: Word) -> bool {
    before != now && before != Word::NoVerdict && now != Word::NoVerdict
}

#[cfg(test)]
mod tests;
