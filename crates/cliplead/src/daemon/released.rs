//! What the daemon shows once it may: a verdict, a figure or an amendment, an event of a visit, each with whether it is in the history. Plain data
//! and its names; `store` says when something may be shown.

use record::{FollowUpJson, FollowUpKind, VerdictJson};
use visit::round::Output;
use visit::verdict::Verdict;

use super::keeper::Key;
use super::say::words;

/// A verdict that may be shown.
#[derive(Clone)]
pub(crate) struct ReleasedVerdict {
    /// The verdict.
    pub(crate) verdict: Verdict,
    /// As it is written.
    pub(crate) json: VerdictJson,
    /// Whether it is in the history.
    pub(crate) saved: Saved,
}

/// A figure or an amendment that may be shown.
#[derive(Clone)]
pub(crate) struct ReleasedFollowUp {
    /// Its place among those of the round.
    pub(super) seq: u64,
    /// As it is written.
    pub(crate) json: FollowUpJson,
    /// Whether it is in the history.
    pub(crate) saved: Saved,
}

/// An event of a visit that may be told.
#[derive(Clone)]
pub(crate) struct ReleasedVisitEvent {
    /// Its place among those of the round.
    pub(super) seq: u64,
    /// As the round said it.
    pub(super) output: Output,
    /// Whether it is in the history.
    pub(super) saved: Saved,
}

/// Any of them.
#[derive(Clone)]
pub(super) enum Released {
    Verdict(Box<ReleasedVerdict>),
    FollowUp(Box<ReleasedFollowUp>),
    Visit(Box<ReleasedVisitEvent>),
}

/// Whether something is in the history.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Saved {
    /// It is.
    Yes,
    /// No history is kept.
    NothingKept,
    /// It is not, and should be.
    No,
}

impl Released {
    pub(super) fn key(&self) -> Key {
        match self {
            Self::Verdict(kept) => Key::Verdict(kept.verdict.number),
            Self::FollowUp(kept) => Key::FollowUp(kept.seq),
            Self::Visit(kept) => Key::Visit(kept.seq),
        }
    }

    /// The same, stored.
    pub(super) fn saved(mut self) -> Self {
        match &mut self {
            Self::Verdict(kept) => kept.saved = Saved::Yes,
            Self::FollowUp(kept) => kept.saved = Saved::Yes,
            Self::Visit(kept) => kept.saved = Saved::Yes,
        }
        self
    }

    /// "a verdict", "a figure", "an amendment".
    pub(super) fn a_name(&self) -> &'static str {
        match self {
            Self::Verdict(_) => "a verdict",
            Self::FollowUp(kept) => match kept.json.event {
                FollowUpKind::Completed => "a figure",
                FollowUpKind::Amended => "an amendment",
            },
            Self::Visit(_) => "an event of a visit",
        }
    }

    /// Which one of this round it is.
    pub(super) fn which(&self) -> String {
        match self {
            Self::Verdict(kept) => format!("verdict {} of this round", kept.verdict.number),
            Self::FollowUp(kept) => {
                let what = match kept.json.event {
                    FollowUpKind::Completed => "a figure",
                    FollowUpKind::Amended => "the amendment",
                };
                format!("{what} of verdict {} of this round", kept.json.number)
            }
            Self::Visit(kept) => match words(&kept.output) {
                Some(words) => format!("{:?}", words.trim()),
                None => "an event of a visit".to_owned(),
            },
        }
    }
}

/// How much is not in the history and should be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Unsaved {
    verdicts: usize,
    follow_ups: usize,
    visit_events: usize,
}

impl Unsaved {
    pub(super) fn count(&mut self, what: &Released) {
        match what {
            Released::Verdict(_) => self.verdicts += 1,
            Released::FollowUp(_) => self.follow_ups += 1,
            Released::Visit(_) => self.visit_events += 1,
        }
    }

    pub(super) fn and(self, other: Self) -> Self {
        Self {
            verdicts: self.verdicts + other.verdicts,
            follow_ups: self.follow_ups + other.follow_ups,
            visit_events: self.visit_events + other.visit_events,
        }
    }

    pub(super) fn is_nothing(self) -> bool {
        self == Self::default()
    }

    /// "2 verdict(s) and 1 figure(s) or amendment(s)".
    pub(super) fn words(self) -> String {
        let counted = [
            (self.verdicts, "verdict(s)"),
            (self.follow_ups, "figure(s) or amendment(s)"),
            (self.visit_events, "event(s) of a visit"),
        ];
        let some = counted.iter().filter(|(count, _)| *count > 0);
        let words: Vec<String> = some.map(|(count, what)| format!("{count} {what}")).collect();
        if words.is_empty() { "0 verdict(s)".to_owned() } else { words.join(" and ") }
    }
}
