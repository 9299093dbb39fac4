//! `doctor`: what stands between the program and a meter, and what mends it: findings as data. Holds what a finding is, and
//! what is looked at alike on every system; the rest stands in the system's own files (`sys`). Ports are listed by `link`.
//!
//! Does not: open ports, change or run anything, word pages, know sites.

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

/// How a check came out, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// It stands in the way now.
    Hindered,
    /// It often stands in the way; whether it does here cannot be told from outside.
    Likely,
    /// It could not be looked at; never to be taken for fine.
    NotSeen,
    /// It is not there, which hinders only who needs it.
    Missing,
    /// Something is in the way of what nobody here is known to use.
    Note,
    /// Looked at, and nothing is in the way.
    Fine,
}

impl State {
    /// The word for people and programs.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Hindered => "hindered",
            Self::Likely => "likely hindered",
            Self::NotSeen => "could not be looked at",
            Self::Missing => "not there",
            Self::Note => "note",
            Self::Fine => "fine",
        }
    }

    /// Whether it counts as a hindrance.
    #[must_use]
    pub const fn hinders(self) -> bool {
        matches!(self, Self::Hindered | Self::Likely)
    }
}

/// One check's answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// The check, always the same words.
    pub check: &'static str,
    /// What was looked at.
    pub what: String,
    /// How it came out.
    pub state: State,
    /// What was seen, or why nothing could be.
    pub finding: String,
    /// Why it matters, one sentence.
    pub why: &'static str,
    /// What mends it, in order.
    pub remedies: Vec<Remedy>,
}

impl Finding {
    /// A finding without a remedy.
    #[must_use]
    pub fn new(
        check: &'static str,
        what: impl Into<String>,
        state: State,
        finding: impl Into<String>,
        why: &'static str,
    ) -> Self {
        Self { check, what: what.into(), state, finding: finding.into(), why, remedies: Vec::new() }
    }

    /// The same with one remedy more.
    #[must_use]
    pub fn with(mut self, remedy: Remedy) -> Self {
        self.remedies.push(remedy);
        self
    }
}
