//! Lines of a recording that were skipped, each with its number and the reason. Holds the first few and counts the
//! rest.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;

use crate::lines::LINE_BYTES_MAX;

/// Lines listed individually; the rest is counted.
const NAMED_MAX: usize = 5;

/// Why a line was skipped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SkipReason {
    /// The last line is incomplete: the recorder was killed.
    CutOff,
    /// It is not UTF-8 text.
    NotText,
    /// It is longer than a line may be.
    TooLong,
}

impl fmt::Display for SkipReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CutOff => {
                f.write_str("the last line is cut off and left out; the recorder was stopped hard")
            }
            Self::NotText => write!(f, "the line is not UTF-8 text and left out; {LOST}"),
            Self::TooLong => {
                write!(f, "the line is longer than {LINE_BYTES_MAX} bytes and left out; {LOST}")
            }
        }
    }
}

/// The consequence of a line lost in the middle.
const LOST: &str =
    "what it said is not known, and every device begins anew there, as after bytes that were lost";

/// The skipped lines of one recording.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SkippedLines {
    named: Vec<(usize, SkipReason)>,
    count: usize,
}

impl SkippedLines {
    /// Adds one: its number, from 1, and the reason.
    pub fn push(&mut self, line: usize, why: SkipReason) {
        self.count = self.count.saturating_add(1);
        if self.named.len() < NAMED_MAX {
            self.named.push((line, why));
        }
    }

    /// How many there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.count
    }

    /// A sentence for each of the first few, and one for the rest; `name` is the recording's.
    pub fn words(&self, name: &str) -> impl Iterator<Item = String> {
        let rest = self.count.saturating_sub(self.named.len());
        let rest = (rest > 0).then(|| format!("{name}: {rest} more lines are left out"));
        self.named.iter().map(move |(line, why)| format!("{name}:{line}: {why}")).chain(rest)
    }
}
