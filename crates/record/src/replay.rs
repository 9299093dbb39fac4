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
use crate::reader::{Item, ReadError, Reader};
use crate::skipped::SkippedLines;
use crate::stream::ByteStream;

/// What a recording gives, in the order of time.
#[derive(Debug)]
pub enum ReplayOutput<'a> {
    /// First of all, where it is so: the recording was made under other rules.
    OtherRules,
    /// A verdict.
    Verdict(&'a Verdict),
    /// What follows a verdict, and the word that counts now: an amendment's own, else the verdict's.
    FollowUp(&'a FollowUpJson, Word),
    /// At this line (from 1), other rules came into force. The replay continues with the rules it was given.
    RulesChanged(usize),
    /// What stands in this line (from 1) was not taken, and why.
    Refused(usize, &'a str),
    /// At the end: this check (by number) was armed and has no verdict, because one of its points is waiting.
    StillWaits(u32, &'a StillWaits),
}

impl ReplayOutput<'_> {
    /// The word that counts: an amendment counts like the verdict it belongs to.
    #[must_use]
    pub fn word(&self) -> Option<Word> {
        match self {
            Self::Verdict(verdict) => Some(verdict.word),
            Self::FollowUp(_, word) => Some(*word),
            Self::OtherRules | Self::RulesChanged(_) | Self::Refused(..) | Self::StillWaits(..) => None,
        }
    }
}

/// Reads a whole recording and plays nothing; returns the lines that were skipped. `scripts` makes the decode scripts of its profiles
/// ready.
///
/// # Errors
/// As [`Reader::new`] and [`Reader::next_item`].
pub fn validate(source: impl ByteStream, scripts: &dyn ScriptCompiler) -> Result<SkippedLines, ReadError> {
    let mut skipped = SkippedLines::default();
    let mut reader = Reader::new(source, scripts)?;
    while let Some(item) = reader.next_item()? {
        if let Item::Skipped(line, why) = item {
            skipped.push(line, why);
        }
    }
    Ok(skipped)
}

/// Plays one recording under these rules, handing on what it gives as it comes. Gives the pipeline as it stands at the end.
///
/// # Errors
/// As [`validate`], and whatever stops the sink.
pub fn play<E: From<ReadError>>(
    source: impl ByteStream,
    scripts: &dyn ScriptCompiler,
    rules: &RuleSet,
    sink: &mut dyn FnMut(&ReplayOutput<'_>) -> Result<(), E>,
) -> Result<Pipeline, E> {
    let mut reader = Reader::new(source, scripts)?;
    let recorded_under = &reader.header().rules;
    let other_rules = !recorded_under.is_empty() && recorded_under != rules.hash();
    if other_rules {
        sink(&ReplayOutput::OtherRules)?;
    }
    let mut pipeline = Pipeline::new(rules.clone(), reader.settings());
    // What follows a verdict refers to the last one given.
    let mut given: Option<Box<Verdict>> = None;
    while let Some(item) = reader.next_item()? {
        let Item::Event(recorded) = item else { continue };
        let Some(event) = recorded.event else {
            sink(&ReplayOutput::RulesChanged(recorded.line))?;
            continue;
        };
        let event = if other_rules { for_the_open_question(event) } else { event };
        for Stamped { at, output } in pipeline.step(event, recorded.at) {
            let Output::Round(output) = output else { continue };
            if let round::Output::Refused { why } = &output {
                sink(&ReplayOutput::Refused(recorded.line, why))?;
            } else if let round::Output::Verdict(verdict) = output {
                sink(&ReplayOutput::Verdict(&verdict))?;
                given = Some(verdict);
            } else if let Some(of) = &given
                && let Some(json) = FollowUpJson::of(of, &output, at)
            {
                let amended =
                    if let round::Output::Amended { word, .. } = output { Some(word) } else { None };
                sink(&ReplayOutput::FollowUp(&json, amended.unwrap_or(of.word)))?;
            }
        }
    }
    let number = pipeline.round().armed().unwrap_or_default();
    for waits in pipeline.round().still_waits() {
        sink(&ReplayOutput::StillWaits(number, &waits))?;
    }
    Ok(pipeline)
}

/// Other rules may ask other questions, so the recorded question numbers mean nothing: each answer goes to the open
/// question.
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
