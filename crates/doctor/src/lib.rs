//! `doctor`: finds what keeps the program from a meter and what fixes it; findings are data. Holds the type of a
//! finding and the tests that are the same on every system; the rest is in each system's own files (`sys`). `link`
//! lists the ports.
//!
//! Does not: open ports, change or run anything, format output, know sites.

#[cfg(feature = "tcp")]
mod network;
mod remedy;
mod sys;

#[cfg(feature = "tcp")]
pub use network::tcp;
pub use remedy::{Remedy, RunPolicy, Step};

pub use sys::{Machine, bluetooth, storage};
#[cfg(feature = "serial")]
pub use sys::{serial, serial_place, udev_rule};

/// The result of a finding, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// It is in the way now.
    Blocked,
    /// It is often in the way; whether it is here cannot be seen from outside.
    Likely,
    /// It could not be examined. Never to be taken for fine.
    Unknown,
    /// It is missing, which matters only to those who need it.
    Missing,
    /// Something is in the way of a thing that nobody here is known to use.
    Note,
    /// Examined, and nothing is in the way.
    Fine,
}

impl State {
    /// The text for people and programs.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Blocked => "hindered",
            Self::Likely => "likely hindered",
            Self::Unknown => "could not be looked at",
            Self::Missing => "not there",
            Self::Note => "note",
            Self::Fine => "fine",
        }
    }

    /// Whether it counts as a problem.
    #[must_use]
    pub const fn is_problem(self) -> bool {
        matches!(self, Self::Blocked | Self::Likely)
    }
}

/// One finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What it is about, always in the same words.
    pub topic: &'static str,
    /// What was examined.
    pub what: String,
    /// The result.
    pub state: State,
    /// What was seen, or why nothing could be seen.
    pub finding: String,
    /// Why it matters, one sentence.
    pub why: &'static str,
    /// What fixes it, in order.
    pub remedies: Vec<Remedy>,
}

impl Finding {
    /// A finding without a remedy.
    #[must_use]
    pub fn new(
        topic: &'static str,
        what: impl Into<String>,
        state: State,
        finding: impl Into<String>,
        why: &'static str,
    ) -> Self {
        Self { topic, what: what.into(), state, finding: finding.into(), why, remedies: Vec::new() }
    }

    /// The same with one more remedy.
    #[must_use]
    pub fn with(mut self, remedy: Remedy) -> Self {
        self.remedies.push(remedy);
        self
    }
}
