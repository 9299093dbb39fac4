//! Learns a profile from a recording and from what a person read on the display meanwhile. Holds the ranking of the
//! hypotheses, and the final verification: the profile is loaded and run over the recording before anybody gets it.
//!
//! A value that was never seen is never guessed. Bits that were not set during the observations go into the profile
//! as "no value", unseen codes have no row, and constant bytes become required. Anything new yields no reading until
//! it has been observed too.
//!
//! It uses the framers, numbers and digits of crate `wire` that decoding uses ([`wire::analysis`]), so what it finds
//! in the bytes is what the decoder will find.
//!
//! To add a shape: a proposal in `binary.rs`, `lines.rs` or `display.rs`. The real framer counts what supports it,
//! and the real loader and decoder must reproduce the observations (`verify.rs`). Run
//! `made_up_binary_meters_are_learned_or_asked_about_and_never_misread` over more seeds than it has.
//!
//! Does not: read files or clocks, ask anybody, or write the folder of a class.
#![cfg_attr(test, allow(clippy::float_cmp, clippy::string_slice, clippy::cast_possible_truncation))]

mod binary;
mod display;
mod displayed;
mod draft;
mod fields;
mod line_profile;
mod lines;
mod numbers;
mod pace;
mod runs;
mod text;
mod tokens;
mod verify;

use quantity::Instant;

pub use displayed::{Displayed, DisplayedError};
use wire::Profile;
use wire::stream::Recording;

/// What the display showed while the bytes from `from` to `to` arrived.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// First moment.
    pub from: Instant,
    /// Last moment, included.
    pub to: Instant,
    /// The text of the display.
    pub shown: Displayed,
}

/// One possible framing of the bytes, with its evidence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hypothesis {
    /// A sentence for people: the shape.
    pub words: String,
    /// Frames that support it.
    pub intact: usize,
    /// Frames begun but damaged (dropped by the framer).
    pub damaged: usize,
    /// Text, a checksum, or bytes that carry their index. Regular frames without any of these may also come from a
    /// wrong baud rate.
    pub distinctive: bool,
}

/// The result.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Conclusion {
    /// A profile that reproduces every observation, with remarks on what is unknown.
    Profile {
        /// Text of `profile.toml`.
        toml: String,
        /// What is unknown, in sentences.
        remarks: Vec<String>,
    },
    /// The bytes have a shape, but several profiles fit, or something is missing: what to display next.
    Ask(String),
    /// The bytes fit no shape: what to try.
    Nothing(String),
}

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Learned {
    /// Best first.
    pub hypotheses: Vec<Hypothesis>,
    /// The result.
    pub outcome: Conclusion,
}

/// The beginning of the profile.
#[derive(Clone, Copy, Debug)]
pub struct ProfileHeader<'h> {
    /// Name of the class.
    pub id: &'h str,
    /// A line for people.
    pub title: &'h str,
    /// The `[link]` table, or nothing.
    pub link: &'h str,
}

/// A draft, or why there is none.
enum Draft {
    Made { toml: String, remarks: Vec<String> },
    Ask(String),
}

/// Learns from a recording. Without observations only the hypotheses are useful.
#[must_use]
pub fn learn(head: ProfileHeader<'_>, recording: &Recording, seen: &[Observation]) -> Learned {
    let (mut hypotheses, mut answers) = (Vec::new(), Vec::new());
    if let Some(display) = display::find(recording) {
        hypotheses.push(display.hypothesis());
        answers.push(if seen.is_empty() { Draft::Ask(nothing_shown()) } else { display.draft(head, seen) });
    } else if let Some(text) = tokens::find(recording).or_else(|| lines::find(recording)) {
        hypotheses.push(text.hypothesis());
        answers.push(if seen.is_empty() { Draft::Ask(nothing_shown()) } else { text.draft(head, seen) });
    } else {
        let found = binary::find(recording);
        let many = found.len() > 1 && !found.iter().skip(1).all(|cut| cut.is_weaker_than(found.first()));
        for (place, cut) in found.iter().enumerate() {
            hypotheses.push(cut.hypothesis());
            if place == 0 {
                answers.push(match (seen.is_empty(), many) {
                    (true, _) => Draft::Ask(nothing_shown()),
                    (false, true) => Draft::Ask(
                        "the bytes can be cut into frames in more than one way; record with the times of receipt, \
                         or longer, with the value moving"
                            .into(),
                    ),
                    (false, false) => fields::draft(head, cut, seen),
                });
            }
        }
    }
    let outcome = match answers.into_iter().next() {
        None => Conclusion::Nothing(no_shape(recording)),
        Some(Draft::Ask(what)) => Conclusion::Ask(what),
        Some(Draft::Made { toml, remarks }) => {
            let (toml, remarks) = with_pace(toml, remarks, recording, seen);
            match verify::reproduces(&toml, recording, seen) {
                Ok(()) => Conclusion::Profile { toml, remarks },
                Err(why) => Conclusion::Ask(why),
            }
        }
    };
    Learned { hypotheses, outcome }
}

/// Adds the conversion time of the display to the draft, if the recording reveals it; otherwise a remark that it is
/// unknown.
fn with_pace(
    toml: String,
    mut remarks: Vec<String>,
    recording: &Recording,
    seen: &[Observation],
) -> (String, Vec<String>) {
    let readings = verify::readings(&toml, recording).unwrap_or_default();
    let title = toml.find("\ntitle = ").and_then(|at| Some(at + 1 + toml.get(at + 1..)?.find('\n')? + 1));
    match (pace::measure(&readings, seen), title.and_then(|at| toml.split_at_checked(at))) {
        (Some(pace), Some((before, behind))) => (format!("{before}{}{behind}", pace.line()), remarks),
        _ => {
            remarks.push(pace::not_measured());
            (toml, remarks)
        }
    }
}

fn nothing_shown() -> String {
    "nothing was said of the display; say what it showed while the bytes came, for example \"12.46 uF\""
        .into()
}

fn no_shape(recording: &Recording) -> String {
    if recording.is_empty() {
        return "no byte came: is the meter on and set to send, does its cable need DTR or RTS, is it the right port?"
            .into();
    }
    if text::changing_width(recording) {
        return "the bytes are lines of text of changing width; for those write the profile by hand, with a loose pattern"
            .into();
    }
    format!(
        "{} bytes came that fit no lines of text, no frames of one length and no frames that say their length. Try \
         another baud rate (a wrong one gives garbage), parity and stop bits, or record longer with the value moving",
        recording.len()
    )
}

/// Loads a profile that the learner wrote. If a text of our own does not load, that is reported, never ignored.
fn load(toml: &str) -> Result<Profile, String> {
    Profile::parse(toml).map_err(|error| format!("the profile drawn from this does not load: {error}"))
}

#[cfg(test)]
mod tests;
