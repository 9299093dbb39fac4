//! `cliplead replay`: recordings through the same pipeline as live, as fast as it goes.

use std::fmt::Write as _;
use std::path::Path;

use anyhow::{Context as _, bail};
use judge::rule::RuleSet;
use judge::verdict::Verdict;
use pipeline::{Output, Pipeline};
use record::{VerdictJson, text};

use crate::cli::{Format, ReplayOptions};
use crate::output::{Exit, data, emphasise, talk};
use crate::{files, rules};

/// Runs the command.
///
/// # Errors
/// When a recording, the rules or the expectation cannot be read.
pub(crate) fn run(options: &ReplayOptions) -> anyhow::Result<Exit> {
    let set = rules::load_or_say(options.rules.as_deref())?;
    let mut lines = Vec::new();
    let mut worst = Exit::Fine;
    for path in &options.recordings {
        let before = lines.len();
        replay(path, &set, &mut |verdict| {
            let json = VerdictJson::from(verdict);
            let line = match options.format {
                Format::Json => json.line(),
                Format::Text => text::line(&json),
            };
            if options.format == Format::Text {
                data(&emphasise(&line, verdict.word))?;
            } else {
                data(&line)?;
            }
            worst = worse(worst, Exit::of(verdict.word));
            lines.push(line);
            Ok(())
        })
        .with_context(|| path.display().to_string())?;
        if lines.len() == before {
            // Silence is never a pass.
            talk(&format!("{}: no verdict came of this recording", path.display()));
            worst = worse(worst, Exit::NoVerdict);
        }
    }
    match &options.expect {
        None => Ok(worst),
        Some(path) => compare(path, &lines),
    }
}

/// Plays one recording, handing each verdict on as it comes.
fn replay(
    path: &Path,
    set: &RuleSet,
    sink: &mut dyn FnMut(&Verdict) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let bytes = files::read_bytes(path, files::RECORDING_BYTES_MAX)
        .map_err(|error| anyhow::anyhow!("the recording {}", error.why()))?;
    let text = String::from_utf8(bytes).map_err(|e| {
        anyhow::anyhow!(
            "the recording is not UTF-8 text (byte {}); is it a recording?",
            e.utf8_error().valid_up_to()
        )
    })?;
    let recording = record::read(&text, &script::FrameScripts)?;
    if recording.cut_off {
        talk(&format!(
            "{}: the last line is cut off and left out; the recorder was stopped hard",
            path.display()
        ));
    }
    if !recording.header.rules.is_empty() && recording.header.rules != set.hash() {
        tracing::info!("{}: was recorded under other rules than those it is replayed with", path.display());
    }
    let mut pipeline = Pipeline::new(set.clone(), recording.settings);
    for recorded in recording.events {
        let Some(event) = recorded.event else {
            talk(&format!(
                "{}:{}: other rules came into force here; the replay goes on with those it was given",
                path.display(),
                recorded.line
            ));
            continue;
        };
        for stamped in pipeline.step(event, recorded.at) {
            if let Output::Round(judge::round::Output::Verdict(verdict)) = &stamped.output {
                sink(verdict)?;
            }
        }
    }
    Ok(())
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
            let _ = writeln!(report, "{}: verdict {}", path.display(), index + 1);
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
