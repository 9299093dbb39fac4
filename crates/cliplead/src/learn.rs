//! `cliplead devices learn`: records a meter, asks what its display shows, reports what the bytes may be, and writes
//! the folder of a class. Crate `learn` decides what is learned.

mod folder;
mod record;
mod source;

use std::io::IsTerminal as _;

use ::learn::{Conclusion, Displayed, Learned, Observation, ProfileHeader, learn};
use anyhow::{Context as _, bail};
use quantity::Instant;
use wire::stream::Recording;

use crate::cli::{Format, LearnOptions};
use crate::daemon;
use crate::links;
use crate::output::{Exit, data, talk};

/// Shown before anything is recorded from a meter (`hardware-notes/README.md`).
const CAUTIONS: &str = "\
Before you plug in: a cable that is not isolated joins the computer's earth to the meter's common. Connect it before the
leads touch anything, and use only an isolated cable made for the meter, within its voltage category. Learn on parts that
are isolated and proved dead. Live work is for those who are licensed for it, by the local code.";

/// What has been recorded and observed so far.
pub(crate) struct Lesson {
    recording: Recording,
    seen: Vec<Observation>,
    /// The `[link]` table of the profile.
    link: String,
    /// Recorded here from a device, not read from a file.
    captured: bool,
}

/// Runs the command.
///
/// # Errors
/// When the device or the file cannot be used, or what was shown cannot be read.
pub(crate) fn run(options: &LearnOptions) -> anyhow::Result<Exit> {
    let id = options.write.as_deref().map(folder::id).transpose()?;
    let chosen = id.unwrap_or_else(|| "learned-meter".into());
    let id = chosen.as_str();
    let (lesson, learned) = match &options.from {
        Some(path) => {
            let recording = source::read(path)?;
            let seen = observations(&options.shows, &recording)?;
            considered(Lesson { recording, seen, link: String::new(), captured: false }, id)?
        }
        None => {
            talk(CAUTIONS);
            links::run(&daemon::registry(), async |registry, stop| {
                let lesson = record::lesson(options, registry, stop).await?;
                let all = considered(lesson, id)?;
                if stop.is_asked().await? {
                    bail!(record::STOPPED);
                }
                Ok(all)
            })?
        }
    };
    let written = match (&learned.outcome, &options.write) {
        (Conclusion::Profile { toml, remarks }, Some(path)) => {
            folder::write(path, id, toml, remarks, &lesson, &learned)?;
            Some(path.display().to_string())
        }
        _ => None,
    };
    tell(options.format, &learned, written.as_deref())?;
    Ok(match learned.outcome {
        Conclusion::Profile { .. } => Exit::Fine,
        Conclusion::Ask(_) if lesson.seen.is_empty() && options.write.is_none() => Exit::Fine,
        Conclusion::Ask(_) | Conclusion::Nothing(_) => Exit::Found,
    })
}

/// The recording as it will be written, and the result of learning from it.
fn considered(lesson: Lesson, id: &str) -> anyhow::Result<(Lesson, Learned)> {
    let lesson = in_milliseconds(lesson)?;
    let title = format!("Learned meter {id}");
    let learned =
        learn(ProfileHeader { id, title: &title, link: &lesson.link }, &lesson.recording, &lesson.seen);
    Ok((lesson, learned))
}

/// The recording as `stream.hex` will hold it, so that what is verified is what is written.
fn in_milliseconds(lesson: Lesson) -> anyhow::Result<Lesson> {
    let Lesson { recording, mut seen, link, captured } = lesson;
    let left_out = recording.left_out();
    let whole = Recording::parse_hex(&recording.to_hex())
        .map_err(|line| anyhow::anyhow!("the recording does not read back, line {line}"))?;
    let floor = |at: Instant| Instant::from_micros(at.micros().div_euclid(1000) * 1000);
    for observation in &mut seen {
        observation.from = floor(observation.from);
    }
    if left_out > 0 {
        talk(&format!("{left_out} bytes beyond the most that is kept were left out"));
    }
    Ok(Lesson { recording: whole, seen, link, captured })
}

/// `FROM..TO=TEXT`, or `TEXT` for an equal share of the recording, in the order given.
fn observations(texts: &[String], recording: &Recording) -> anyhow::Result<Vec<Observation>> {
    let Some((first, last)) = recording.span() else { return Ok(Vec::new()) };
    let count = i64::try_from(texts.len().max(1))?;
    let share = last.since(first).micros() / count;
    let mut seen = Vec::new();
    for (index, text) in texts.iter().enumerate() {
        let index = i64::try_from(index)?;
        let (from, to, shown) = match split_times(text)? {
            Some(timed) => timed,
            None => {
                let begin = first.micros() + index * share + i64::from(index > 0);
                let end =
                    if index + 1 == count { last.micros() } else { first.micros() + (index + 1) * share };
                (Instant::from_micros(begin), Instant::from_micros(end), text.as_str())
            }
        };
        seen.push(Observation { from, to, shown: Displayed::parse(shown)? });
    }
    Ok(seen)
}

fn split_times(text: &str) -> anyhow::Result<Option<(Instant, Instant, &str)>> {
    let Some((times, shown)) = text.split_once('=') else { return Ok(None) };
    let wrong = || format!("{text:?}: write the seconds as FROM..TO=TEXT, for example '0.5..2=12.46 uF'");
    let (from, to) = times.split_once("..").with_context(wrong)?;
    let seconds = |text: &str| -> anyhow::Result<Instant> {
        let seconds: f64 = text.trim().parse().with_context(wrong)?;
        if !(0.0..=1e6).contains(&seconds) {
            bail!(wrong());
        }
        #[allow(clippy::cast_possible_truncation)] // bounded just above
        let whole = (seconds * 1e6).round() as i64;
        Ok(Instant::from_micros(whole))
    };
    let (from, to) = (seconds(from)?, seconds(to)?);
    if to < from {
        bail!(wrong());
    }
    Ok(Some((from, to, shown.trim())))
}

#[derive(serde::Serialize)]
struct HypothesisJson {
    framing: String,
    sound: usize,
    damaged: usize,
}

#[derive(serde::Serialize)]
struct LearnedJson<'l> {
    outcome: &'static str,
    hypotheses: Vec<HypothesisJson>,
    next: Option<&'l str>,
    profile: Option<&'l str>,
    remarks: &'l [String],
    folder: Option<&'l str>,
}

fn tell(format: Format, learned: &Learned, folder: Option<&str>) -> anyhow::Result<()> {
    let (outcome, next, profile, remarks) = match &learned.outcome {
        Conclusion::Profile { toml, remarks } => ("profile", None, Some(toml.as_str()), remarks.as_slice()),
        Conclusion::Ask(what) => ("ask", Some(what.as_str()), None, [].as_slice()),
        Conclusion::Nothing(what) => ("nothing", Some(what.as_str()), None, [].as_slice()),
    };
    if format == Format::Json {
        let hypotheses = learned.hypotheses.iter().map(|h| HypothesisJson {
            framing: h.words.clone(),
            sound: h.intact,
            damaged: h.damaged,
        });
        let hypotheses = hypotheses.collect();
        return data(&record_line(&LearnedJson { outcome, hypotheses, next, profile, remarks, folder }));
    }
    for (index, h) in learned.hypotheses.iter().enumerate() {
        let rank = if index == 0 { "best" } else { "less likely" };
        data(&format!("{rank}: {}; {} frames bear it out, {} drops", h.words, h.intact, h.damaged))?;
    }
    if let Some(next) = next {
        data(&format!("no profile: {next}"))?;
    }
    for remark in remarks {
        data(&format!("not known: {remark}"))?;
    }
    match (folder, profile) {
        (Some(folder), _) => data(&format!("written: {folder} (the profile gives back all that was shown)")),
        (None, Some(toml)) => data(toml),
        (None, None) => Ok(()),
    }
}

fn record_line(value: &impl serde::Serialize) -> String {
    ::record::to_line(value)
}

/// True if somebody may answer: a terminal, or a program that writes our stdin.
fn may_ask(options: &LearnOptions) -> bool {
    if options.shows.is_empty() && std::io::stdin().is_terminal() {
        talk("You will be asked what the display shows. An empty answer ends the questions.");
    }
    options.shows.is_empty()
}
