//! Many evaluations of a rule at once: inputs as columns with one lane for each evaluation, answers as columns beside
//! them. Says of each lane which set of judgements it gave, not what the judgements mean.

use alloc::sync::Arc;
use alloc::vec::Vec;

use quantity::Unit;

use super::{Answer, Judgement, Outcome, Rule};

/// Which answer a lane gave. Two lanes have the same set exactly when they gave the same judgements: names, units, and
/// which limits are present, in the same order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LaneAnswer {
    /// The set of judgements with this number, counted from 0 in the order in which the sets were first seen.
    Set(u16),
    /// Judgements of one more set than [`SETS_MAX`]; two such lanes need not have the same set.
    OtherSet,
    /// The rule itself declares that no verdict is possible.
    NoVerdict,
    /// The rule failed, gave no judgement, or a judged value or limit is not finite.
    Error,
}

/// The most sets that are told apart. A rule words its judgements by the few paths through it; one that words them by
/// its readings is still judged, and its other sets count as one.
pub const SETS_MAX: usize = 64;

/// What identifies a judgement apart from its numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signature {
    /// What is judged.
    pub name: Arc<str>,
    /// Unit of value and limits.
    pub unit: Unit,
    /// Whether there is a least allowed value.
    pub has_low: bool,
    /// Whether there is a greatest allowed value.
    pub has_high: bool,
}

impl Signature {
    fn is_of(&self, judgement: &Judgement) -> bool {
        self.name == judgement.name
            && self.unit == judgement.unit
            && self.has_low == judgement.low.is_some()
            && self.has_high == judgement.high.is_some()
    }

    fn of(judgement: &Judgement) -> Self {
        Self {
            name: judgement.name.clone(),
            unit: judgement.unit,
            has_low: judgement.low.is_some(),
            has_high: judgement.high.is_some(),
        }
    }
}

/// The numbers of one judgement, lane by lane. Only lanes whose set has this judgement hold its numbers, and a limit
/// only where the set has that limit; elsewhere the column holds 0.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Column {
    /// The judged values.
    pub value: Vec<f64>,
    /// The least allowed values.
    pub low: Vec<f64>,
    /// The greatest allowed values.
    pub high: Vec<f64>,
}

impl Column {
    fn begin(&mut self, lanes: usize) {
        for column in [&mut self.value, &mut self.low, &mut self.high] {
            column.clear();
            column.resize(lanes, 0.0);
        }
    }
}

/// The answers of one run over columns. Reused from run to run: memory is kept, and so are the numbers of the sets, so
/// that lanes of several runs of one rule compare. Begin with a new one for another rule.
#[derive(Clone, Debug, Default)]
pub struct ColumnAnswers {
    sets: Vec<Vec<Signature>>,
    answers: Vec<LaneAnswer>,
    paths: Vec<u64>,
    columns: Vec<Column>,
}

impl ColumnAnswers {
    /// Begins a run of this many lanes, each an error until it is answered. Keeps the numbers of the sets.
    pub fn begin(&mut self, lanes: usize) {
        self.answers.clear();
        self.answers.resize(lanes, LaneAnswer::Error);
        self.paths.clear();
        self.paths.resize(lanes, 0);
        self.columns.iter_mut().for_each(|column| column.begin(lanes));
    }

    /// The number of the set with these judgements; a new one if it was not seen before. Makes room for its numbers.
    pub fn set(&mut self, signatures: &[Signature]) -> LaneAnswer {
        let same = |known: &Vec<Signature>| known.as_slice() == signatures;
        self.known_or_new(same, || signatures.to_vec())
    }

    /// The number of the set that these judgements are.
    pub fn set_of(&mut self, judgements: &[Judgement]) -> LaneAnswer {
        let same = |known: &Vec<Signature>| {
            known.len() == judgements.len() && known.iter().zip(judgements).all(|(one, at)| one.is_of(at))
        };
        self.known_or_new(same, || judgements.iter().map(Signature::of).collect())
    }

    fn known_or_new(
        &mut self,
        same: impl Fn(&Vec<Signature>) -> bool,
        new: impl FnOnce() -> Vec<Signature>,
    ) -> LaneAnswer {
        let known = self.sets.iter().position(same);
        let number = known.unwrap_or(self.sets.len());
        let Some(number) = u16::try_from(number).ok().filter(|number| usize::from(*number) < SETS_MAX) else {
            return LaneAnswer::OtherSet;
        };
        if known.is_none() {
            let set = new();
            while self.columns.len() < set.len() {
                let mut column = Column::default();
                column.begin(self.answers.len());
                self.columns.push(column);
            }
            self.sets.push(set);
        }
        LaneAnswer::Set(number)
    }

    /// Writes what a lane answered and the path that led to it. A lane beyond the last is ignored.
    pub fn answer(&mut self, lane: usize, answer: LaneAnswer, path: u64) {
        if let (Some(one), Some(its_path)) = (self.answers.get_mut(lane), self.paths.get_mut(lane)) {
            (*one, *its_path) = (answer, path);
        }
    }

    /// Writes the outcome of one evaluation into a lane.
    pub fn write(&mut self, lane: usize, outcome: &Outcome) {
        let judgements = match &outcome.answer {
            Answer::NoVerdict(_) => return self.answer(lane, LaneAnswer::NoVerdict, outcome.path),
            Answer::Judgements(judgements) => judgements,
        };
        if judgements.is_empty() || !judgements.iter().all(Judgement::is_finite) {
            return self.answer(lane, LaneAnswer::Error, outcome.path);
        }
        let set = self.set_of(judgements);
        self.answer(lane, set, outcome.path);
        if set == LaneAnswer::OtherSet {
            return;
        }
        for (column, judgement) in self.columns.iter_mut().zip(judgements) {
            let numbers = [Some(judgement.value), judgement.low, judgement.high];
            for (list, number) in
                [&mut column.value, &mut column.low, &mut column.high].into_iter().zip(numbers)
            {
                if let Some(slot) = list.get_mut(lane) {
                    *slot = number.unwrap_or(0.0);
                }
            }
        }
    }

    /// How many lanes this run has.
    #[must_use]
    pub fn lanes(&self) -> usize {
        self.answers.len()
    }

    /// What each lane answered.
    #[must_use]
    pub fn answers(&self) -> &[LaneAnswer] {
        &self.answers
    }

    /// The path of each lane, as in [`Outcome::path`]; 0 for one that failed.
    #[must_use]
    pub fn paths(&self) -> &[u64] {
        &self.paths
    }

    /// The numbers of the judgement with this index; `None` if no set has so many.
    #[must_use]
    pub fn column(&self, judgement: usize) -> Option<&Column> {
        self.columns.get(judgement)
    }

    /// The numbers of the judgement with this index, to be written: slices of [`ColumnAnswers::lanes`] numbers once a
    /// set with so many judgements was given its number.
    pub fn column_mut(&mut self, judgement: usize) -> Option<&mut Column> {
        self.columns.get_mut(judgement)
    }
}

/// Answers lane by lane with [`Rule::judge`]: what [`Rule::judge_columns`] does unless a rule does better.
pub(super) fn lane_by_lane<R: Rule + ?Sized>(rule: &R, columns: &[&[f64]], out: &mut ColumnAnswers) {
    let lanes = columns.iter().map(|column| column.len()).min().unwrap_or(0);
    out.begin(lanes);
    let mut values = Vec::with_capacity(columns.len());
    for lane in 0..lanes {
        values.clear();
        values.extend(columns.iter().filter_map(|column| column.get(lane)));
        if let Ok(outcome) = rule.judge(&values) {
            out.write(lane, &outcome);
        }
    }
}

#[cfg(test)]
mod tests;
