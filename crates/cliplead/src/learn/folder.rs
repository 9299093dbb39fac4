//! The folder of a learned class, in the form of `hardware-notes`. Does not decide the content of the profile.

use std::fmt::Write as _;
use std::path::Path;

use ::learn::Learned;
use anyhow::{Context as _, bail};
use wire::Profile;
use wire::stream::expected;

use super::Lesson;

/// The profile's id, from the name of the new folder; the folder must not be there yet.
///
/// # Errors
/// When the name is no id, or something is at the place already.
pub(super) fn id(path: &Path) -> anyhow::Result<String> {
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    let fits = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
    if name.is_empty() || name.len() > 64 || !name.bytes().all(fits) {
        bail!(
            "{}: the folder's name becomes the profile's id; use lower case letters, digits and hyphens",
            path.display()
        );
    }
    if path.symlink_metadata().is_ok() {
        bail!("{} is there already and is not written over; choose another name", path.display());
    }
    Ok(name.to_owned())
}

/// Writes the folder: `profile.toml`, `stream.hex`, `expected.txt`, `README.md`.
///
/// # Errors
/// When the folder has come into being meanwhile, or a file cannot be written.
pub(super) fn write(
    path: &Path,
    id: &str,
    toml: &str,
    remarks: &[String],
    lesson: &Lesson,
    learned: &Learned,
) -> anyhow::Result<()> {
    let profile = Profile::parse(toml).context("the learned profile does not load")?;
    std::fs::create_dir(path).with_context(|| format!("{} cannot be made", path.display()))?;
    let origin = if lesson.captured {
        "captured from a device"
    } else {
        "taken from a file; captured or synthesised, whoever has the file must say which"
    };
    let files = [
        ("profile.toml", toml.to_owned()),
        ("stream.hex", format!("# The recording: {origin}.\n{}", lesson.recording.to_hex())),
        ("expected.txt", expected(&profile, &lesson.recording)),
        ("README.md", note(id, origin, remarks, lesson, learned)),
    ];
    for (name, text) in files {
        let file = path.join(name);
        std::fs::write(&file, text).with_context(|| format!("{} cannot be written", file.display()))?;
    }
    Ok(())
}

fn note(id: &str, origin: &str, remarks: &[String], lesson: &Lesson, learned: &Learned) -> String {
    let mut text = format!(
        "# {id}\n\nLearned by `cliplead devices learn`. The stream is **{origin}**. Still to be said by hand: what kind of device it\n\
         is, its firmware, the cable, the date.\n\nFraming:\n\n"
    );
    for (index, h) in learned.hypotheses.iter().enumerate() {
        let rank = if index == 0 { "taken" } else { "less likely" };
        let _ = writeln!(text, "- {rank}: {}; {} frames bear it out, {} drops", h.words, h.intact, h.damaged);
    }
    text.push_str("\nWhat the display showed, as told, and the profile gives back:\n\n| seconds | display |\n|---|---|\n");
    for o in &lesson.seen {
        let _ = writeln!(text, "| {:.3} to {:.3} | {} |", o.from.seconds(), o.to.seconds(), o.shown.text());
    }
    text.push_str("\nNot known:\n\n");
    for remark in remarks {
        let _ = writeln!(text, "- {remark}");
    }
    text.push_str(
        "- the accuracy: only the rounding of the display counts. Copy it from the meter's manual, range by range\n\n\
         `expected.txt` is what the profile makes of the stream; only the times in the table above were compared with the display.\n",
    );
    text
}
