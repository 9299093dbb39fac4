//! Manual entry: turns bytes into lines and each line into an act ([`Act::of_line`]): `POINT=VALUE`, or a word that
//! does the same as a button on the page. A meter without a radio is typed in and gets the same verdict. Does not
//! know which points or hold points exist; the round rejects unknown ones.

use alloc::vec::Vec;
use core::fmt;

use visit::act::{Act, ActError};
use visit::round::NO_QUESTION;

/// Longest typed line in bytes.
const LINE_BYTES_MAX: usize = 256;

/// Why a typed line was rejected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ManualFault {
    /// It is not an act.
    NoAct(ActError),
    /// Too long for a line, or not UTF-8.
    NotALine,
    /// `help` or `?`: somebody wants to know what can be typed.
    AsksForHelp,
}

impl fmt::Display for ManualFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoAct(error) => error.fmt(f),
            Self::NotALine => {
                write!(f, "a typed line is too long (at most {LINE_BYTES_MAX} bytes) or not text")
            }
            Self::AsksForHelp => f.write_str("somebody asks what can be typed"),
        }
    }
}

impl core::error::Error for ManualFault {}

/// Collects typed lines.
#[derive(Default)]
pub(crate) struct ManualLines {
    buffer: Vec<u8>,
    overlong: bool,
    /// The buffered line began in an earlier chunk; holds the question open at that time, if any.
    begun: Option<Option<u32>>,
}

impl ManualLines {
    pub(crate) fn bytes(&mut self, data: &[u8], sink: &mut dyn FnMut(Result<Act, ManualFault>)) {
        for byte in data {
            match byte {
                b'\n' => {
                    let line = core::mem::take(&mut self.buffer);
                    let overlong = core::mem::take(&mut self.overlong);
                    let begun = self.begun.take();
                    if overlong {
                        sink(Err(ManualFault::NotALine));
                    } else if !line.iter().all(u8::is_ascii_whitespace) {
                        sink(parse_line(&line).map(|act| answers_what_was_asked(act, begun)));
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

    /// Called at the end of a chunk. `asked` is the question open while the buffered line is incomplete: whoever
    /// began the line cannot have known of a question that comes up later.
    pub(crate) fn chunk_ends(&mut self, asked: Option<u32>) {
        if !self.buffer.is_empty() && self.begun.is_none() {
            self.begun = Some(asked);
        }
    }
}

/// An answer without a number goes to the question that was open when its line began.
fn answers_what_was_asked(act: Act, begun: Option<Option<u32>>) -> Act {
    match (act, begun) {
        (Act::Answer { question: None, yes }, Some(asked)) => {
            Act::Answer { question: Some(asked.unwrap_or(NO_QUESTION)), yes }
        }
        (act, _) => act,
    }
}

fn parse_line(line: &[u8]) -> Result<Act, ManualFault> {
    let text = core::str::from_utf8(line).map_err(|_| ManualFault::NotALine)?;
    let text = text.trim();
    if text == "?" || text.eq_ignore_ascii_case("help") {
        return Err(ManualFault::AsksForHelp);
    }
    Act::of_line(text).map_err(ManualFault::NoAct)
}
