//! `cliplead replay`: recordings through the same pipeline as live, as fast as it goes. A recording is read twice, once to
//! check it and once to play it, so that nothing of a refused one is played and none need be held in memory.

use std::fmt::Write as _;
use std::fs::File;
use std::io::{BufReader, Read as _, Seek as _};
use std::path::Path;

use anyhow::{Context as _, bail};
use judge::limits::Word;
use judge::rule::RuleSet;
use pipeline::{Event, Output, Pipeline, Stamped};
use record::{FollowUpJson, Item, LeftOutLines, Reader, VerdictJson, text};
use visit::act::Act;
use visit::round;
use visit::verdict::Verdict;

use crate::cli::{Format, ReplayOptions};
use crate::output::{Exit, data, emphasise, emphasise_follow_up, talk};
use crate::{files, rules};

/// Bytes read from a file at once.
const BUFFER_BYTES: usize = 64 * 1024;

/// Runs the command.
///
/// # Errors
/// When a recording, the rules or the expectation cannot be read.
pub(crate) fn run(options: &ReplayOptions) -> anyhow::Result<Exit> {
    let set = rules::load_or_say(options.rules.as_deref())?;
    // Only what is compared in the end is kept.
    let mut lines = options.expect.is_some().then(Vec::new);
    let mut worst = Exit::Fine;
    for path in &options.recordings {
        let mut verdicts = 0_u64;
        replay(path, &set, &mut |said| {
            let line = said.line(options.format);
            if options.format == Format::Text {
                data(&said.emphasised(&line))?;
            } else {
                data(&line)?;
            }
            worst = worse(worst, Exit::of(said.word()));
            verdicts = verdicts.saturating_add(u64::from(matches!(said, Said::Verdict(_))));
            if let Some(lines) = &mut lines {
                lines.push(line);
            }
            Ok(())
        })
        .with_context(|| path.display().to_string())?;
        if verdicts == 0 {
            // Silence is never a pass.
            talk(&format!("{}: no verdict came of this recording", path.display()));
            worst = worse(worst, Exit::NoVerdict);
        }
    }
    match &options.expect {
        None => Ok(worst),
        Some(path) => compare(path, &lines.unwrap_or_default()),
    }
}

/// What a recording gives, in the order of time.
enum Said<'a> {
    Verdict(&'a Verdict),
    /// What follows a verdict, and the verdict's word.
    FollowUp(&'a FollowUpJson, Word),
}

impl Said<'_> {
    fn line(&self, format: Format) -> String {
        match (self, format) {
            (Self::Verdict(verdict), Format::Json) => VerdictJson::from(*verdict).line(),
            (Self::Verdict(verdict), Format::Text) => text::line(&VerdictJson::from(*verdict)),
            (Self::FollowUp(json, _), Format::Json) => json.line(),
            (Self::FollowUp(json, _), Format::Text) => text::follow_up(json),
        }
    }

    fn emphasised(&self, line: &str) -> String {
        match self {
            Self::Verdict(verdict) => emphasise(line, verdict.word),
            Self::FollowUp(json, _) => emphasise_follow_up(line, json.event),
        }
    }

    /// The word that counts for the exit code: an amendment counts as well as the verdict it stands beside.
    fn word(&self) -> Word {
        match self {
            Self::Verdict(verdict) => verdict.word,
            Self::FollowUp(json, said) => json.now.as_deref().and_then(Word::parse).unwrap_or(*said),
        }
    }
}

/// Plays one recording, handing each verdict and what follows it on as they come.
fn replay(
    path: &Path,
    set: &RuleSet,
    sink: &mut dyn FnMut(&Said<'_>) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let (mut file, length) = open(path)?;
    for words in check(&file, length)?.words(&record::plain(&path.display().to_string())) {
        talk(&words);
    }
    file.rewind()?;
    let mut reader = reader(&file, length)?;
    let header = reader.header();
    let other_rules = !header.rules.is_empty() && header.rules != set.hash();
    if other_rules {
        tracing::info!("{}: was recorded under other rules than those it is replayed with", path.display());
    }
    let mut pipeline = Pipeline::new(set.clone(), reader.settings());
    // What follows a verdict refers to the last one given.
    let mut given: Option<Box<Verdict>> = None;
    while let Some(item) = reader.next_item()? {
        let Item::Event(recorded) = item else { continue };
        let Some(event) = recorded.event else {
            talk(&format!(
                "{}:{}: other rules came into force here; the replay goes on with those it was given",
                path.display(),
                recorded.line
            ));
            continue;
        };
        let event = if other_rules { for_the_open_question(event) } else { event };
        for Stamped { at, output } in pipeline.step(event, recorded.at) {
            let Output::Round(output) = output else { continue };
            if let round::Output::Verdict(verdict) = output {
                sink(&Said::Verdict(&verdict))?;
                given = Some(verdict);
            } else if let Some(of) = &given
                && let Some(json) = FollowUpJson::of(of, &output, at)
            {
                sink(&Said::FollowUp(&json, of.word))?;
            }
        }
    }
    say_what_still_waits(path, pipeline.round());
    Ok(())
}

/// A check that was armed and has no word when the recording ends: which point waits, and why.
fn say_what_still_waits(path: &Path, round: &round::Round) {
    let number = round.armed().unwrap_or_default();
    for waits in round.still_waits() {
        let (what, why) = (record::plain(&waits.what), record::plain(&waits.why));
        talk(&format!("{}: at its end check {number} still waits: {what}: {why}", path.display()));
    }
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

/// Opens a recording; gives its length too, since one that is still being written grows while it is read.
fn open(path: &Path) -> anyhow::Result<(File, u64)> {
    let file = files::open(path).map_err(|error| anyhow::anyhow!("the recording {}", error.why()))?;
    let length = file.metadata().context("the recording cannot be read")?.len();
    Ok((file, length))
}

fn reader(file: &File, length: u64) -> Result<Reader<'static, impl std::io::BufRead>, record::ReadError> {
    Reader::new(BufReader::with_capacity(BUFFER_BYTES, file.take(length)), &script::FrameScripts)
}

/// Reads the whole recording and plays nothing; the lines that are left out.
fn check(file: &File, length: u64) -> Result<LeftOutLines, record::ReadError> {
    let mut left_out = LeftOutLines::default();
    let mut reader = reader(file, length)?;
    while let Some(item) = reader.next_item()? {
        if let Item::LeftOut(line, why) = item {
            left_out.push(line, why);
        }
    }
    Ok(left_out)
}

/// A fail outweighs no verdict.
fn worse(a: Exit, b: Exit) -> Exit {
    match (a, b) {
        (Exit::Found, _) | (_, Exit::Found) => Exit::Found,
        (Exit::NoVerdict, _) | (_, Exit::NoVerdict) => Exit::NoVerdict,
        _ => Exit::Fine,
    }
}

/// Compares the lines with the expected ones and tells only the difference.
fn compare(path: &Path, lines: &[String]) -> anyhow::Result<Exit> {
    let expected = files::read_text(path, files::EXPECTATION_BYTES_MAX).context("the expectation")?;
    let expected: Vec<&str> =
        expected.lines().filter(|line| !line.trim().is_empty() && !line.starts_with("# ")).collect();
    if expected.is_empty() {
        bail!("{} expects nothing: an expectation needs at least one line", path.display());
    }
    let mut report = String::new();
    for index in 0..expected.len().max(lines.len()) {
        let (want, got) = (expected.get(index).copied(), lines.get(index).map(String::as_str));
        if want != got {
            let _ = writeln!(report, "{}: line {}", path.display(), index + 1);
            let _ = writeln!(report, "  expected: {}", want.unwrap_or("(nothing)"));
            let _ = writeln!(report, "  got:      {}", got.unwrap_or("(nothing)"));
        }
    }
    if report.is_empty() {
        return Ok(Exit::Fine);
    }
    talk(report.trim_end());
    Ok(Exit::Found)
}
