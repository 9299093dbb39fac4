//! Runs recordings through the live pipeline at full speed and compares the output with what was expected. A
//! recording is read twice, once to validate it and once to play it: nothing of an invalid recording is played, and
//! none has to fit in memory. Does not open files, print or word its output.

use std::fmt::Write as _;

use judge::limits::Word;
use judge::rule::RuleSet;
use pipeline::{Event, Output, Pipeline, Stamped};
use record::{ByteStream, FollowUpJson, Item, ReadError, Reader, SkippedLines};
use visit::act::Act;
use visit::round::{self, StillWaits};
use visit::verdict::Verdict;

/// The output of a replay, in the order of time.
pub enum ReplayOutput<'a> {
    /// First, if it applies: the recording was made under other rules.
    OtherRules,
    /// A verdict.
    Verdict(&'a Verdict),
    /// What follows a verdict, with the verdict's word.
    FollowUp(&'a FollowUpJson, Word),
    /// At this line (from 1), other rules came into force. The replay continues with the rules it was given.
    RulesChanged(usize),
    /// At the end: this check (by number) was armed and has no verdict, because one of its points is waiting.
    StillWaits(u32, &'a StillWaits),
}

impl ReplayOutput<'_> {
    /// The word that counts: an amendment counts like the verdict it belongs to.
    #[must_use]
    pub fn word(&self) -> Option<Word> {
        match self {
            Self::Verdict(verdict) => Some(verdict.word),
            Self::FollowUp(json, said) => Some(json.now.as_deref().and_then(Word::parse).unwrap_or(*said)),
            Self::OtherRules | Self::RulesChanged(_) | Self::StillWaits(..) => None,
        }
    }
}

/// Reads a whole recording without playing it; returns the lines that were skipped.
///
/// # Errors
/// As for [`Reader::new`] and [`Reader::next_item`].
pub fn validate(source: impl ByteStream) -> Result<SkippedLines, ReadError> {
    let mut skipped = SkippedLines::default();
    let mut reader = Reader::new(source, &script::FrameScripts)?;
    while let Some(item) = reader.next_item()? {
        if let Item::Skipped(line, why) = item {
            skipped.push(line, why);
        }
    }
    Ok(skipped)
}

/// Plays one recording under these rules and passes the output on as it comes.
///
/// # Errors
/// As for [`validate`], and any error of the sink.
pub fn play(
    source: impl ByteStream,
    set: &RuleSet,
    sink: &mut dyn FnMut(&ReplayOutput<'_>) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let mut reader = Reader::new(source, &script::FrameScripts)?;
    let header = reader.header();
    let other_rules = !header.rules.is_empty() && header.rules != set.hash();
    if other_rules {
        sink(&ReplayOutput::OtherRules)?;
    }
    let mut pipeline = Pipeline::new(set.clone(), reader.settings());
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
            if let round::Output::Verdict(verdict) = output {
                sink(&ReplayOutput::Verdict(&verdict))?;
                given = Some(verdict);
            } else if let Some(of) = &given
                && let Some(json) = FollowUpJson::of(of, &output, at)
            {
                sink(&ReplayOutput::FollowUp(&json, of.word))?;
            }
        }
    }
    let number = pipeline.round().armed().unwrap_or_default();
    for waits in pipeline.round().still_waits() {
        sink(&ReplayOutput::StillWaits(number, &waits))?;
    }
    Ok(())
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

/// The differences between these lines and the expected ones, ignoring blank lines and comments (`# `); empty if
/// there are none. `name` prefixes each line.
///
/// # Errors
/// If the expectation is empty.
pub fn difference(name: &str, expectation: &str, lines: &[String]) -> anyhow::Result<String> {
    let expected: Vec<&str> =
        expectation.lines().filter(|line| !line.trim().is_empty() && !line.starts_with("# ")).collect();
    if expected.is_empty() {
        anyhow::bail!("{name} expects nothing: an expectation needs at least one line");
    }
    let mut report = String::new();
    for index in 0..expected.len().max(lines.len()) {
        let (want, got) = (expected.get(index).copied(), lines.get(index).map(String::as_str));
        if want != got {
            let _ = writeln!(report, "{name}: line {}", index + 1);
            let _ = writeln!(report, "  expected: {}", want.unwrap_or("(nothing)"));
            let _ = writeln!(report, "  got:      {}", got.unwrap_or("(nothing)"));
        }
    }
    Ok(report)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_lines_that_differ_are_reported() {
        let lines = ["a".to_owned(), "b".to_owned()];
        assert_eq!(difference("x", "# remark\na\n\nb\n", &lines).unwrap(), "");
        let want =
            "x: line 2\n  expected: c\n  got:      b\nx: line 3\n  expected: d\n  got:      (nothing)\n";
        assert_eq!(difference("x", "a\nc\nd\n", &lines).unwrap(), want);
        let nothing = difference("x", "# remark\n", &[]).unwrap_err().to_string();
        assert_eq!(nothing, "x expects nothing: an expectation needs at least one line");
    }
}
