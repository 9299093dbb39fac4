//! The question of a check that is open, and what was answered with yes. One question at a time; an answer is for that one
//! alone. Does not know when to ask, nor what follows from an answer.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::Instant;

use crate::event::NO_QUESTION;

/// A question to the mechanic.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Question {
    /// Its number in the round; 0 until it is asked.
    pub(crate) number: u32,
    pub(crate) about: About,
    pub(crate) text: String,
}

impl Question {
    /// A question that is yet to be asked.
    pub(crate) fn new(about: About, text: String) -> Self {
        Self { number: 0, about, text }
    }
}

/// What a question is about; a question answered with yes is not asked again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum About {
    /// A point's value is outside what is plausible.
    Implausible(usize),
    /// A point's typed digits look swapped.
    SwappedReading(usize),
    /// A nameplate value that was entered is outside what is plausible.
    ImplausiblePlate(String),
    /// A nameplate value's digits look swapped.
    SwappedPlate(String),
    /// The leads read open, or next to nothing: are they on the part?
    OpenPart(usize),
    /// A point's value was typed with fewer digits than the meter shows.
    LeftOut(usize),
    /// The meter shows a hold point, if the leads were on.
    ProofLeads {
        /// The hold point.
        name: String,
        /// What was read.
        says: String,
        /// The device that read it.
        device: String,
        /// After this it is too old.
        until: Instant,
    },
}

impl About {
    /// Whether it is about the value of this point.
    fn is_of_point(&self, index: usize) -> bool {
        match self {
            Self::Implausible(of) | Self::SwappedReading(of) | Self::OpenPart(of) | Self::LeftOut(of) => {
                *of == index
            }
            Self::ImplausiblePlate(_) | Self::SwappedPlate(_) | Self::ProofLeads { .. } => false,
        }
    }
}

/// The open question and the answers so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Questions {
    open: Option<Question>,
    accepted: Vec<About>,
}

impl Questions {
    /// The open question.
    pub(super) fn open(&self) -> Option<&Question> {
        self.open.as_ref()
    }

    /// Asks; `asked` is the number of the last question of the round.
    pub(super) fn ask(&mut self, question: Question, asked: &mut u32) -> &Question {
        *asked = asked.saturating_add(1);
        self.open.insert(Question { number: *asked, ..question })
    }

    /// Takes the open question for its answer; `named` is the question that the answer names, `None` where it names none
    /// and is for the one that is open. With the reason where the answer is not for that one.
    ///
    /// # Errors
    /// What is asked now, if anything.
    pub(super) fn take(&mut self, named: Option<u32>, asked: u32) -> Result<Question, String> {
        let why = match (&self.open, named) {
            (Some(open), named) if named.is_none_or(|named| named == open.number) => {
                return self.open.take().ok_or_else(String::new);
            }
            (Some(Question { number, text, .. }), Some(NO_QUESTION) | None) => {
                format!("the answer was begun before question {number} was asked; now asked: {text}")
            }
            (Some(Question { number, text, .. }), Some(named)) => format!(
                "the answer is for question {named}, which is no longer asked; now asked, as question {number}: {text}"
            ),
            (None, named) => none_asked(named, asked),
        };
        Err(why)
    }

    /// Drops the open question.
    pub(super) fn drop_open(&mut self) {
        self.open = None;
    }

    /// Drops the question where the leads were: the proof it belongs to is over or begins anew.
    pub(super) fn drop_proof_question(&mut self) {
        if self.asks_for_proof_leads() {
            self.open = None;
        }
    }

    /// True while it is asked where the leads were.
    pub(super) fn asks_for_proof_leads(&self) -> bool {
        self.open.as_ref().is_some_and(|q| matches!(q.about, About::ProofLeads { .. }))
    }

    /// The point of which it is asked whether the leads are on an open part.
    pub(super) fn asks_for_open_part(&self) -> Option<usize> {
        match self.open.as_ref()?.about {
            About::OpenPart(index) => Some(index),
            _ => None,
        }
    }

    /// Whether it was answered with yes.
    pub(super) fn accepts(&self, about: &About) -> bool {
        self.accepted.contains(about)
    }

    /// It was answered with yes.
    pub(super) fn accept(&mut self, about: About) {
        self.accepted.push(about);
    }

    /// Another value was given for this point: what was accepted of the one before counts no more.
    pub(super) fn forget_point(&mut self, index: usize) {
        self.accepted.retain(|about| !about.is_of_point(index));
    }

    /// The leads of this point are on again: whether they were on an open part counts no more.
    pub(super) fn forget_open_part(&mut self, index: usize) {
        self.accepted.retain(|about| *about != About::OpenPart(index));
    }
}

/// Why an answer is refused where nothing is asked.
pub(crate) fn none_asked(named: Option<u32>, asked: u32) -> String {
    match named {
        Some(named) if (1..=asked).contains(&named) => {
            format!("question {named} is no longer asked; there is no question to answer")
        }
        _ => String::from("there is no question to answer"),
    }
}

#[cfg(test)]
mod tests;
