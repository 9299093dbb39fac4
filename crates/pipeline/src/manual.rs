//! Manual entry: lines `POINT=VALUE`, `POINT=OL` or `POINT=VALUE; ACCURACY` become typed values, and a few words do what the buttons
//! of the page do (`confirm locked out`, `yes`, `next` ...). A meter without a radio is typed in and gets the same
//! verdict. Does not know which points or hold points exist; the round refuses those that do not.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;

use quantity::{Accuracy, AccuracyError, ParseError, parse_typed};
use visit::round;

/// Longest typed line in bytes.
const LINE_BYTES_MAX: usize = 256;

/// Why a typed line was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ManualFault {
    /// Neither `POINT=VALUE` nor a known word.
    NoPoint {
        /// The line.
        line: String,
    },
    /// The value is wrong.
    Value(ParseError),
    /// The accuracy is wrong.
    Accuracy(AccuracyError),
    /// Longer than a line may be, or not UTF-8.
    NotALine,
}

impl fmt::Display for ManualFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPoint { line } => {
                write!(
                    f,
                    "{line:?} is not taken: write POINT=VALUE, for example capacitance=39.4uF, or one of: {WORDS}"
                )
            }
            Self::Value(error) => error.fmt(f),
            Self::Accuracy(error) => error.fmt(f),
            Self::NotALine => {
                write!(f, "a typed line is too long (at most {LINE_BYTES_MAX} bytes) or not text")
            }
        }
    }
}

impl core::error::Error for ManualFault {}

/// The words besides values.
const WORDS: &str =
    "confirm NAME, withdraw NAME, yes, no (or yes 3 for question 3), again, finish, energised, next";

/// What a line asks for.
#[derive(Debug)]
pub(crate) enum Line {
    /// Something the round takes.
    Round(round::Event),
    /// The next check of the route, which only the caller knows.
    Next,
}

/// Collects typed lines.
#[derive(Default)]
pub(crate) struct ManualLines {
    buffer: Vec<u8>,
    overlong: bool,
    /// The line in the buffer began in an earlier chunk; the question that was open then, if there was one.
    begun: Option<Option<u32>>,
}

impl ManualLines {
    pub(crate) fn bytes(&mut self, data: &[u8], sink: &mut dyn FnMut(Result<Line, ManualFault>)) {
        for byte in data {
            match byte {
                b'\n' => {
                    let line = core::mem::take(&mut self.buffer);
                    let overlong = core::mem::take(&mut self.overlong);
                    let begun = self.begun.take();
                    if overlong {
                        sink(Err(ManualFault::NotALine));
                    } else if !line.iter().all(u8::is_ascii_whitespace) {
                        sink(parse_line(&line).map(|line| line.answers_what_was_asked(begun)));
                    }
                }
                _ if self.buffer.len() < LINE_BYTES_MAX => self.buffer.push(*byte),
                _ => self.overlong = true,
            }
        }
    }

    pub(crate) fn gap(&mut self) {
        *self = Self::default();
    }

    /// At the end of a chunk: `asked` is the question that is open while the line in the buffer waits for its end. A
    /// question that comes up before that end was not known to whoever began the line.
    pub(crate) fn chunk_ends(&mut self, asked: Option<u32>) {
        if !self.buffer.is_empty() && self.begun.is_none() {
            self.begun = Some(asked);
        }
    }
}

impl Line {
    /// An answer without a number is for the question that was open when its line began.
    fn answers_what_was_asked(self, begun: Option<Option<u32>>) -> Self {
        match (self, begun) {
            (Self::Round(round::Event::Answer { question: None, yes }), Some(asked)) => {
                Self::Round(round::Event::Answer { question: Some(asked.unwrap_or(round::NO_QUESTION)), yes })
            }
            (line, _) => line,
        }
    }
}

fn parse_line(line: &[u8]) -> Result<Line, ManualFault> {
    let text = core::str::from_utf8(line).map_err(|_| ManualFault::NotALine)?.trim();
    if let Some(line) = word(text) {
        return Ok(line);
    }
    let (point, rest) = text.split_once('=').ok_or_else(|| ManualFault::NoPoint { line: text.into() })?;
    let (value, accuracy) = match rest.split_once(';') {
        Some((value, accuracy)) => (value, Some(accuracy)),
        None => (rest, None),
    };
    if round::reads_open(value) {
        return Ok(Line::Round(round::Event::Open { point: point.trim().into() }));
    }
    let typed = parse_typed(value).map_err(ManualFault::Value)?;
    let accuracy = accuracy.map(Accuracy::parse).transpose().map_err(ManualFault::Accuracy)?;
    Ok(Line::Round(round::Event::Typed { point: point.trim().into(), value: typed, accuracy }))
}

fn word(text: &str) -> Option<Line> {
    let (first, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let (first, rest) = (first.to_ascii_lowercase(), rest.trim());
    let event = match (first.as_str(), rest) {
        ("next", "") => return Some(Line::Next),
        ("confirm", name) if !name.is_empty() => round::Event::Confirm { hold_point: name.into() },
        ("withdraw", name) if !name.is_empty() => round::Event::Withdraw { hold_point: name.into() },
        ("yes" | "no", "") => round::Event::Answer { question: None, yes: first == "yes" },
        ("yes" | "no", number) => {
            round::Event::Answer { question: Some(number.parse().ok()?), yes: first == "yes" }
        }
        ("again", "") => round::Event::Again,
        ("finish", "") => round::Event::Finish,
        ("energised", "") => round::Event::Energised,
        _ => return None,
    };
    Some(Line::Round(event))
}
