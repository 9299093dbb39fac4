//! A recording through the same pipeline as live, as fast as it goes: the one loop behind `cliplead replay`, the firmware and
//! the benchmark. Does not open files, print or word what it gives.
//!
//! A recording is read twice, once to check it and once to play it, so that nothing of a refused one is played and none need
//! be held in memory.

use alloc::boxed::Box;

use judge::limits::Word;
use judge::rule::RuleSet;
use pipeline::{Event, Output, Pipeline, Stamped};
use visit::act::Act;
use visit::round::{self, StillWaits};
use visit::verdict::Verdict;
use wire::script::ScriptCompiler;

use crate::follow_up::FollowUpJson;
use crate::left_out::LeftOutLines;
use crate::reader::{Item, ReadError, Reader};
use crate::stream::ByteStream;

/// What a recording gives, in the order of time.
#[derive(Debug)]
pub enum Heard<'a> {
    /// First of all, where it is so: the recording was made under other rules.
    OtherRules,
    /// A verdict.
    Verdict(&'a Verdict),
    /// What follows a verdict, and the word that counts now: an amendment's own, else the verdict's.
    FollowUp(&'a FollowUpJson, Word),
    /// Other rules came into force in this line (1-based). The replay goes on with those it was given.
    RulesChanged(usize),
    /// At the end: this check, by its number, was armed and has no word, since a point of it waits.
    StillWaits(u32, &'a StillWaits),
}

impl Heard<'_> {
    /// The word that counts: an amendment counts as well as the verdict it stands beside.
    #[must_use]
    pub fn word(&self) -> Option<Word> {
        match self {
            Self::Verdict(verdict) => Some(verdict.word),
            Self::FollowUp(_, word) => Some(*word),
            Self::OtherRules | Self::RulesChanged(_) | Self::StillWaits(..) => None,
        }
    }
}

/// Reads a whole recording and plays nothing; the lines that are left out. `scripts` makes the decode scripts of its profiles
/// ready.
///
/// # Errors
/// As [`Reader::new`] and [`Reader::next_item`].
pub fn check(source: impl ByteStream, scripts: &dyn ScriptCompiler) -> Result<LeftOutLines, ReadError> {
    let mut left_out = LeftOutLines::default();
    let mut reader = Reader::new(source, scripts)?;
    while let Some(item) = reader.next_item()? {
        if let Item::LeftOut(line, why) = item {
            left_out.push(line, why);
        }
    }
    Ok(left_out)
}

/// Plays one recording under these rules, handing on what it gives as it comes. Gives the pipeline as it stands at the end.
///
/// # Errors
/// As [`check`], and whatever stops the sink.
pub fn play<E: From<ReadError>>(
    source: impl ByteStream,
    scripts: &dyn ScriptCompiler,
    rules: &RuleSet,
    sink: &mut dyn FnMut(&Heard<'_>) -> Result<(), E>,
) -> Result<Pipeline, E> {
    let mut reader = Reader::new(source, scripts)?;
    let recorded_under = &reader.header().rules;
    let other_rules = !recorded_under.is_empty() && recorded_under != rules.hash();
    if other_rules {
        sink(&Heard::OtherRules)?;
    }
    let mut pipeline = Pipeline::new(rules.clone(), reader.settings());
    // What follows a verdict refers to the last one given.
    let mut given: Option<Box<Verdict>> = None;
    while let Some(item) = reader.next_item()? {
        let Item::Event(recorded) = item else { continue };
        let Some(event) = recorded.event else {
            sink(&Heard::RulesChanged(recorded.line))?;
            continue;
        };
        let event = if other_rules { for_the_open_question(event) } else { event };
        for Stamped { at, output } in pipeline.step(event, recorded.at) {
            let Output::Round(output) = output else { continue };
            if let round::Output::Verdict(verdict) = output {
                sink(&Heard::Verdict(&verdict))?;
                given = Some(verdict);
            } else if let Some(of) = &given
                && let Some(json) = FollowUpJson::of(of, &output, at)
            {
                let amended =
                    if let round::Output::Amended { word, .. } = output { Some(word) } else { None };
                sink(&Heard::FollowUp(&json, amended.unwrap_or(of.word)))?;
            }
        }
    }
    let number = pipeline.round().armed().unwrap_or_default();
    for waits in pipeline.round().still_waits() {
        sink(&Heard::StillWaits(number, &waits))?;
    }
    Ok(pipeline)
}

/// Other rules may ask other questions, so the numbers of the old ones say nothing: an answer is for the open question.
fn for_the_open_question(event: Event) -> Event {
    match event {
        Event::Round(round::Event::Act { act: Act::Answer { yes, .. }, by }) => {
            Event::Round(round::Event::Act { act: Act::Answer { question: None, yes }, by })
        }
        other => other,
    }
}

#[cfg(test)]
mod tests;
