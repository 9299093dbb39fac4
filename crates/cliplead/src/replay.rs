//! `cliplead replay`: opens recordings, plays them with `record::replay`, and prints the output.

use std::fs::File;
use std::io::{BufRead, BufReader, Read as _, Seek as _};
use std::path::Path;

use anyhow::Context as _;
use bench::expected;
use judge::rule::RuleSet;
use record::replay::{self, ReplayOutput};
use record::{VerdictJson, text};
use script::FrameScripts;

use crate::cli::{Format, ReplayOptions};
use crate::output::{Exit, data, emphasise, emphasise_follow_up, talk};
use crate::{files, rules};

/// Bytes read from a file at once.
const BUFFER_BYTES: usize = 64 * 1024;
/// So many refusals of a recording are told one by one; the others are counted.
const REFUSALS_TOLD: u64 = 3;

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
        let mut refusals = 0_u64;
        replay(path, &set, &mut |heard| {
            if matches!(heard, ReplayOutput::Refused(..)) {
                refusals = refusals.saturating_add(1);
                if refusals > REFUSALS_TOLD {
                    return Ok(());
                }
            }
            let Some(line) = line(path, heard, options.format) else { return Ok(()) };
            data(&emphasised(heard, &line, options.format))?;
            if let Some(word) = heard.word() {
                worst = worse(worst, Exit::of(word));
            }
            verdicts = verdicts.saturating_add(u64::from(matches!(heard, ReplayOutput::Verdict(_))));
            if let Some(lines) = &mut lines {
                lines.push(line);
            }
            Ok(())
        })
        .with_context(|| path.display().to_string())?;
        if let Some(more @ 1..) = refusals.checked_sub(REFUSALS_TOLD) {
            talk(&format!("{}: {more} more lines were refused", path.display()));
        }
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

/// The data line for an output of the replay. Messages go to stderr and give none.
fn line(path: &Path, heard: &ReplayOutput<'_>, format: Format) -> Option<String> {
    let path = path.display();
    match (heard, format) {
        (ReplayOutput::Verdict(verdict), Format::Json) => return Some(VerdictJson::from(*verdict).line()),
        (ReplayOutput::Verdict(verdict), Format::Text) => {
            return Some(text::line(&VerdictJson::from(*verdict)));
        }
        (ReplayOutput::FollowUp(json, _), Format::Json) => return Some(json.line()),
        (ReplayOutput::FollowUp(json, _), Format::Text) => return Some(text::follow_up(json)),
        (ReplayOutput::OtherRules, _) => {
            tracing::info!("{path}: was recorded under other rules than those it is replayed with");
        }
        (ReplayOutput::RulesChanged(line), _) => talk(&format!(
            "{path}:{line}: other rules came into force here; the replay goes on with those it was given"
        )),
        (ReplayOutput::Refused(line, why), _) => {
            talk(&format!("{path}:{line}: refused: {}", record::plain(why)))
        }
        (ReplayOutput::StillWaits(number, waits), _) => {
            let (what, why) = (record::plain(&waits.what), record::plain(&waits.why));
            talk(&format!("{path}: at its end check {number} still waits: {what}: {why}"));
        }
    }
    None
}

fn emphasised(heard: &ReplayOutput<'_>, line: &str, format: Format) -> String {
    match heard {
        ReplayOutput::Verdict(verdict) if format == Format::Text => emphasise(line, verdict.word),
        ReplayOutput::FollowUp(json, _) if format == Format::Text => emphasise_follow_up(line, json.event),
        _ => line.to_owned(),
    }
}

/// Plays one recording and passes its output on.
fn replay(
    path: &Path,
    set: &RuleSet,
    sink: &mut dyn FnMut(&ReplayOutput<'_>) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let (mut file, length) = open(path)?;
    let skipped = replay::validate(buffered(&file, length), &FrameScripts)?;
    for words in skipped.words(&record::plain(&path.display().to_string())) {
        talk(&words);
    }
    file.rewind()?;
    replay::play(buffered(&file, length), &FrameScripts, set, sink)?;
    Ok(())
}

/// Opens a recording; returns its length too, since one that is still being written grows while it is read.
fn open(path: &Path) -> anyhow::Result<(File, u64)> {
    let file = files::open(path).map_err(|error| anyhow::anyhow!("the recording {}", error.why()))?;
    let length = file.metadata().context("the recording cannot be read")?.len();
    Ok((file, length))
}

fn buffered(file: &File, length: u64) -> impl BufRead {
    BufReader::with_capacity(BUFFER_BYTES, file.take(length))
}

/// A fail outweighs no verdict.
fn worse(a: Exit, b: Exit) -> Exit {
    match (a, b) {
        (Exit::Found, _) | (_, Exit::Found) => Exit::Found,
        (Exit::NoVerdict, _) | (_, Exit::NoVerdict) => Exit::NoVerdict,
        _ => Exit::Fine,
    }
}

/// Compares the lines with the expected ones and prints only the difference.
fn compare(path: &Path, lines: &[String]) -> anyhow::Result<Exit> {
    let expected = files::read_text(path, files::EXPECTATION_BYTES_MAX).context("the expectation")?;
    let report = expected::difference(&path.display().to_string(), &expected, lines)?;
    if report.is_empty() {
        return Ok(Exit::Fine);
    }
    talk(report.trim_end());
    Ok(Exit::Found)
}
