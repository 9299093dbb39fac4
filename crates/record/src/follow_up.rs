//! What follows a verdict, as JSON: the figure of a value that was not at rest when the word was given, and an amendment
//! when the leads contradict the word. Both refer to the verdict and leave it as it is. Does not word them for people
//! (`text` does) and does not decide when either is due.

use judge::round::Output;
use judge::verdict::Verdict;
use quantity::Instant;
use serde::{Deserialize, Serialize};

use crate::early;
use crate::verdict::{ReadingJson, VerdictJson, rounded, seconds, unsaved_line};

/// Which of the two it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FollowUpKind {
    /// A value came to rest: its figure.
    Completed,
    /// The leads contradict the word.
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

/// A completed figure or an amendment. It names its verdict by its number in the round, not by the id that a history gives
/// it: a replay prints the same bytes. No key is called `verdict`, so that nobody takes one for a verdict.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in the README, "The verdict as JSON"
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
    /// The word that the leads show now; null for a figure.
    pub now: Option<String>,
    /// What the reading is called: as the judgement that is about it, else as its point.
    pub name: String,
    pub reading: ReadingJson,
    /// U = k u of the reading, in its unit.
    pub expanded_uncertainty: f64,
    pub coverage_factor: f64,
    pub at_s: f64,
}

impl FollowUpJson {
    /// What this output of a round adds to `verdict` at this time; `None` for any other output, or one about another verdict.
    #[must_use]
    pub fn of(verdict: &Verdict, output: &Output, at: Instant) -> Option<Self> {
        let (event, number, now, reading) = match output {
            Output::Completed { verdict, reading } => (FollowUpKind::Completed, verdict, None, reading),
            Output::Amended { verdict, word, reading } => {
                (FollowUpKind::Amended, verdict, Some(*word), reading)
            }
            _ => return None,
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
            name: early::name_of(&VerdictJson::from(verdict), &reading.point, &reading.label),
            reading: ReadingJson::from(reading),
            expanded_uncertainty: rounded(coverage_factor * reading.quantity.standard_uncertainty()),
            coverage_factor: rounded(coverage_factor),
            at_s: seconds(at),
        })
    }

    /// One line of JSON.
    #[must_use]
    pub fn line(&self) -> String {
        crate::to_line(self)
    }

    /// One line of JSON when it is shown although it is not stored: `"unsaved":true` comes first.
    #[must_use]
    pub fn unsaved_line(&self) -> String {
        unsaved_line(self)
    }

    /// Reads such a line.
    ///
    /// # Errors
    /// What JSON or which key is wrong, and where.
    pub fn parse(line: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(line)
    }
}

#[cfg(test)]
pub(crate) mod tests;
