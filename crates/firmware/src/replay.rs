//! A recording through the pipeline, in two readings as on the host: one checks it, one plays it.
//! Does not say what a verdict looks like; `record` does.

use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString as _};

use judge::rule::RuleSet;
use pipeline::{Event, Output, Pipeline, Stamped};
use record::{FollowUpJson, Item, Reader, VerdictJson};
use semihosting::eprintln;
use visit::act::Act;
use visit::round;
use visit::verdict::Verdict;

use crate::file::File;

/// Reads the whole recording and plays nothing.
pub(crate) fn check(path: &str) -> Result<(), String> {
    let mut reader = reader(path)?;
    while let Some(item) = reader.next_item().map_err(|error| error.to_string())? {
        if let Item::Skipped(line, why) = item {
            eprintln!("{path}:{line}: {why}");
        }
    }
    Ok(())
}

/// Plays the recording and hands on the line of each verdict and of what follows it, as they come.
pub(crate) fn play(
    path: &str,
    rules: &RuleSet,
    print: &mut dyn FnMut(String) -> Result<(), String>,
) -> Result<(), String> {
    let mut reader = reader(path)?;
    let recorded_under = &reader.header().rules;
    let other_rules = !recorded_under.is_empty() && recorded_under != rules.hash();
    let mut pipeline = Pipeline::new(rules.clone(), reader.settings());
    let mut given: Option<Box<Verdict>> = None;
    while let Some(item) = reader.next_item().map_err(|error| error.to_string())? {
        let Item::Event(recorded) = item else { continue };
        let Some(event) = recorded.event else { continue };
        let event = if other_rules { for_the_open_question(event) } else { event };
        for Stamped { at, output } in pipeline.step(event, recorded.at) {
            let Output::Round(output) = output else { continue };
            if let round::Output::Verdict(verdict) = output {
                print(VerdictJson::from(&*verdict).line())?;
                given = Some(verdict);
            } else if let Some(json) = given.as_ref().and_then(|of| FollowUpJson::of(of, &output, at)) {
                print(json.line())?;
            }
        }
    }
    Ok(())
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

fn reader(path: &str) -> Result<Reader<'static, File>, String> {
    let file = File::open(path).map_err(|error| format!("cannot be opened: {error}"))?;
    Reader::new(file, &script::FrameScripts).map_err(|error| error.to_string())
}
