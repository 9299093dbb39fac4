//! Manual entry: lines `POINT=VALUE` or `POINT=VALUE; ACCURACY` become typed values. A meter without a radio is typed in
//! and gets the same verdict. Does not know which points exist; the round refuses those that do not.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;

use judge::round;
use quantity::{Accuracy, AccuracyError, ParseError, parse_typed};

/// Longest typed line in bytes.
const LINE_BYTES_MAX: usize = 256;

/// Why a typed line was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ManualFault {
    /// No `POINT=` in front.
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
                write!(f, "{line:?} is not taken: write POINT=VALUE, for example capacitance=39.4uF")
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

/// Collects typed lines.
#[derive(Default)]
pub(crate) struct ManualLines {
    buffer: Vec<u8>,
    overlong: bool,
}

impl ManualLines {
    pub(crate) fn bytes(&mut self, data: &[u8], sink: &mut dyn FnMut(Result<round::Event, ManualFault>)) {
        for byte in data {
            match byte {
                b'\n' => {
                    let line = core::mem::take(&mut self.buffer);
                    let overlong = core::mem::take(&mut self.overlong);
                    if overlong {
                        sink(Err(ManualFault::NotALine));
                    } else if !line.iter().all(u8::is_ascii_whitespace) {
                        sink(parse_line(&line));
                    }
                }
                _ if self.buffer.len() < LINE_BYTES_MAX => self.buffer.push(*byte),
                _ => self.overlong = true,
            }
        }
    }

    pub(crate) fn gap(&mut self) {
        self.buffer.clear();
        self.overlong = false;
    }
}

fn parse_line(line: &[u8]) -> Result<round::Event, ManualFault> {
    let text = core::str::from_utf8(line).map_err(|_| ManualFault::NotALine)?.trim();
    let (point, rest) = text.split_once('=').ok_or_else(|| ManualFault::NoPoint { line: text.into() })?;
    let (value, accuracy) = match rest.split_once(';') {
        Some((value, accuracy)) => (value, Some(accuracy)),
        None => (rest, None),
    };
    let typed = parse_typed(value).map_err(ManualFault::Value)?;
    let accuracy = accuracy.map(Accuracy::parse).transpose().map_err(ManualFault::Accuracy)?;
    Ok(round::Event::Typed { point: point.trim().into(), value: typed, accuracy })
}
