//! The end of a check: inputs together, questions asked, the rule evaluated, the ending made. Does not handle readings or hold
//! points, and changes nothing.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::danger::Found;
use super::doubts;
use super::facts::{Facts, inputs, plate_of};
use super::points::PointState;
use super::points::moment::typed_apart;
use super::questions::Question;
use super::{notes, sources};
use crate::verdict::{PlateUsed, PointReading, Reason};
use judge::evaluate::{Evaluation, Judged, evaluate};
use judge::limits::Word;
use judge::rule::Header;

/// How a check ends: what its verdict says beyond the check itself and its hold points.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Ending {
    pub(crate) word: Word,
    pub(crate) reason: Option<Reason>,
    pub(crate) judgements: Vec<Judged>,
    pub(crate) plate: Vec<PlateUsed>,
    pub(crate) notes: Vec<String>,
    /// It ends because of a danger, whatever is open.
    pub(crate) danger: Option<Endangered>,
}

/// What a danger adds to an ending.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Endangered {
    /// The reading that is past the limit; the check need not have it otherwise.
    pub(crate) reading: PointReading,
    /// Hold points of the unit that fall.
    pub(crate) ends: Vec<String>,
}

/// What follows once every point has its value.
pub(super) enum Conclusion {
    /// Something must be asked first.
    Ask(Question),
    /// It is judged.
    Judged(Ending),
    /// It ends without being judged.
    Without(Ending),
}

/// Judges, or says what must be asked first; `None` while a point has no value.
pub(super) fn conclude(at: &Facts<'_>) -> Option<Conclusion> {
    let rule = at.job.rule.clone()?;
    let used = match plate_of(at.job)? {
        Ok(used) => used,
        Err(reason) => return Some(Conclusion::Without(without(at, reason))),
    };
    let inputs = inputs(at.points, &used, None)?;
    let evaluated = evaluate(&*rule, &inputs, at.decision);
    if let Some(question) = doubts::before_judging(at, &*rule, &used, &inputs, &evaluated) {
        return Some(Conclusion::Ask(question));
    }
    Some(match evaluated {
        Err(error) => Conclusion::Without(without(at, Reason::RuleFailed(error))),
        Ok(Evaluation::NoVerdict { because }) => Conclusion::Without(without(at, Reason::RuleSays(because))),
        Ok(Evaluation::Judged { judgements, word, path_changes }) => {
            Conclusion::Judged(with(at, word, judgements, &path_changes, used))
        }
    })
}

/// An ending without a word.
pub(super) fn without(at: &Facts<'_>, reason: Reason) -> Ending {
    let plate = plate_of(at.job).and_then(Result::ok).unwrap_or_default();
    let mut notes = Vec::new();
    add_what_always_counts(at, &mut notes);
    Ending { word: Word::NoVerdict, reason: Some(reason), judgements: Vec::new(), plate, notes, danger: None }
}

/// The ending that a danger makes.
pub(super) fn endangered(at: &Facts<'_>, found: Found) -> Ending {
    let plate = plate_of(at.job).and_then(Result::ok).unwrap_or_default();
    let Found { reading, judgements, ends, note } = found;
    let mut notes = Vec::from_iter(note);
    add_what_always_counts(at, &mut notes);
    let danger = Some(Endangered { reading, ends });
    Ending { word: Word::Fail, reason: None, judgements, plate, notes, danger }
}

/// The ending with what was judged.
fn with(
    at: &Facts<'_>,
    word: Word,
    mut judgements: Vec<Judged>,
    path_changes: &[usize],
    plate: Vec<PlateUsed>,
) -> Ending {
    sources::say_what_was_entered(&mut judgements, &plate);
    let mut notes = Vec::new();
    if let Some(header) = at.job.header() {
        notes.extend(path_changes.iter().map(|index| {
            format!(
                "within the uncertainty of {} the rule would judge by another path",
                input_name(header, *index)
            )
        }));
    }
    let coarse: Vec<String> =
        judgements.iter().filter(|j| j.meter_too_coarse).map(|j| j.judgement.name.to_string()).collect();
    let reason = (word == Word::NoVerdict).then(|| {
        if coarse.is_empty() {
            Reason::RuleSays("the rule judges by no limit".to_string())
        } else {
            Reason::MeterTooCoarse(coarse.clone())
        }
    });
    if !coarse.is_empty() {
        notes.extend(at.points.all_settled().filter_map(notes::digits_perhaps_left_out));
    }
    if reason.is_none() && !coarse.is_empty() {
        notes.push(format!("the meter is too coarse for: {}", coarse.join(", ")));
    }
    if word != Word::NoVerdict {
        notes.extend(notes::unknown_accuracy(at.points));
    }
    add_what_always_counts(at, &mut notes);
    Ending { word, reason, judgements, plate, notes, danger: None }
}

/// Notes on the readings, whatever the word.
fn add_what_always_counts(at: &Facts<'_>, notes: &mut Vec<String>) {
    notes.extend(at.points.all_settled().filter_map(notes::digits_left_out));
    notes.extend(typed_apart(at.job, at.points.states()));
    if let Some(header) = at.job.header() {
        notes.extend(at.points.all_settled().filter_map(|settled| notes::drifts(header, &settled.reading)));
    }
    if at.points.low_battery() {
        notes
            .push("the meter said that its battery is low: the reading is less sure than stated".to_string());
    }
}

/// Why a check whose hold points stand has no verdict at this moment.
pub(super) fn why_none_yet(at: &Facts<'_>) -> Reason {
    let Some(plate) = plate_of(at.job) else { return Reason::NoSuchRule(at.job.plan.rule.clone()) };
    if let Err(reason) = plate {
        return reason;
    }
    if let Some(question) = at.questions.open() {
        return Reason::Asks(question.text.clone());
    }
    let points = || at.job.points().iter().zip(at.points.states());
    let unsettled = points().find_map(|(point, state)| {
        let settling = state.settling().filter(|settling| settling.has_something())?;
        Some(Reason::Unsettled { point: point.label.clone(), why: settling.why_not_settled() })
    });
    let missing = || {
        let waiting = points().filter(|(_, state): &(_, &PointState)| state.settled().is_none());
        Reason::ReadingsMissing(waiting.map(|(point, _)| point.label.clone()).collect())
    };
    unsettled.unwrap_or_else(missing)
}

fn input_name(header: &Header, index: usize) -> String {
    header.points.get(index).map_or_else(
        || {
            header
                .nameplate
                .get(index - header.points.len())
                .map_or_else(String::new, |item| item.name.clone())
        },
        |point| point.label.clone(),
    )
}

#[cfg(test)]
mod tests;
