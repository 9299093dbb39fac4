//! What follows a verdict, as JSON: the figure of a value that was not at rest when the verdict was given, and an
//! amendment if the leads contradict the verdict. Both refer to the verdict and leave it unchanged. Does not word
//! them for people (`text` does) or decide when they are due.

use alloc::borrow::ToOwned;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::Instant;
use serde::{Deserialize, Serialize};
use visit::round::{AMENDMENTS_MAX, Output};
use visit::verdict::Verdict;

use crate::early;
use crate::numbers::{rounded, seconds};
use crate::second_look::SecondLookJson;
use crate::verdict::{JudgementJson, ReadingJson, VerdictJson, judgement, unsaved_line};

/// Which of the two it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FollowUpKind {
    /// A value came to rest: its figure.
    Completed,
    /// The leads contradict the verdict, or agree with it again.
    Amended,
}

impl FollowUpKind {
    /// Its name, as in the JSON.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Completed => "completed",
            Self::Amended => "amended",
        }
    }
}

/// A completed figure or an amendment. It names its verdict by its number in the round, not by its id in the history,
/// so that a replay prints the same bytes. No key is called `verdict`, so nobody can mistake it for a verdict.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct FollowUpJson {
    pub event: FollowUpKind,
    /// The verdict's number in its round.
    pub number: u64,
    pub check: u32,
    pub unit: String,
    pub component: String,
    pub rule: String,
    pub title: String,
    /// The verdict's word.
    pub said: String,
    /// The word that the leads show now; equal to `said` if they agree with it again; null for a figure.
    pub now: Option<String>,
    /// The name of the reading: that of the judgement about it, otherwise that of its point.
    pub name: String,
    pub reading: ReadingJson,
    /// U = k u of the reading, in its unit.
    pub expanded_uncertainty: f64,
    pub coverage_factor: f64,
    /// The reading jumped to another level without lifted leads.
    #[serde(default)]
    pub moved: bool,
    /// How often the word has changed since the verdict, including this amendment; null for a figure.
    #[serde(default)]
    pub changes: Option<u32>,
    /// The figure was read before in the same visit; absent where it was not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_look: Option<SecondLookJson>,
    /// The judgements recomputed from the figures, once every reading has one; otherwise empty.
    #[serde(default)]
    pub judgements: Vec<JudgementJson>,
    pub at_s: f64,
}

impl FollowUpJson {
    /// The follow-up to `verdict` in this output of a round; `None` for any other output, or one about another
    /// verdict.
    #[must_use]
    pub fn of(verdict: &Verdict, output: &Output, at: Instant) -> Option<Self> {
        let (event, number, reading, judgements) = match output {
            Output::Completed { verdict, reading, judgements, .. } => {
                (FollowUpKind::Completed, verdict, reading, judgements)
            }
            Output::Amended { verdict, reading, judgements, .. } => {
                (FollowUpKind::Amended, verdict, reading, judgements)
            }
            _ => return None,
        };
        let (now, moved, changes) = match output {
            Output::Amended { word, moved, changes, .. } => (Some(*word), *moved, Some(*changes)),
            _ => (None, false, None),
        };
        let coverage_factor = verdict.decision.coverage_factor();
        (*number == verdict.number).then(|| Self {
            event,
            number: verdict.number,
            check: verdict.check,
            unit: verdict.unit_tag.clone(),
            component: verdict.component.clone(),
            rule: verdict.rule.clone(),
            title: verdict.title.clone(),
            said: verdict.word.text().to_owned(),
            now: now.map(|word| word.text().to_owned()),
            moved,
            changes,
            name: early::name_of(&VerdictJson::from(verdict), &reading.point, &reading.label),
            reading: ReadingJson::from(&**reading),
            expanded_uncertainty: rounded(coverage_factor * reading.quantity.standard_uncertainty()),
            coverage_factor: rounded(coverage_factor),
            second_look: match output {
                Output::Completed { second_look, .. } => second_look.as_deref().map(SecondLookJson::from),
                _ => None,
            },
            judgements: judgements.iter().map(|judged| judgement(judged, verdict.decision)).collect(),
            at_s: seconds(at),
        })
    }

    /// The leads agree with the verdict again.
    #[must_use]
    pub fn is_back(&self) -> bool {
        self.now.as_ref() == Some(&self.said)
    }

    /// The word has changed so often that later changes are no longer reported.
    #[must_use]
    pub fn is_last(&self) -> bool {
        self.changes.is_some_and(|changes| changes > AMENDMENTS_MAX)
    }

    /// Judgements derived from several readings or from a reading in another unit: everything that the reading does
    /// not already say.
    pub(crate) fn worked_out(&self) -> impl Iterator<Item = &JudgementJson> {
        self.judgements.iter().filter(|judged| !early::is_about(judged, &self.reading))
    }

    /// One line of JSON.
    #[must_use]
    pub fn line(&self) -> String {
        crate::to_line(self)
    }

    /// One line of JSON for a follow-up shown although it is not stored: `"unsaved":true` comes first.
    #[must_use]
    pub fn unsaved_line(&self) -> String {
        unsaved_line(self)
    }

    /// Parses such a line.
    ///
    /// # Errors
    /// Which JSON or key is wrong, and where.
    pub fn parse(line: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(line)
    }
}

#[cfg(test)]
pub(crate) mod tests;
