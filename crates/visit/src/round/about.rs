//! A question of a check and what it is about. Plain data; `question` asks and takes answers.

use alloc::string::String;

/// A question to the mechanic.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Question {
    /// Its number in the round; 0 until it is asked.
    pub(super) number: u32,
    pub(super) about: About,
    pub(super) text: String,
}

impl Question {
    /// A question that is yet to be asked.
    pub(super) fn new(about: About, text: String) -> Self {
        Self { number: 0, about, text }
    }
}

/// What a question is about; a question answered with yes is not asked again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum About {
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
    /// The meter shows a hold point, if the leads were on: its name and what was read.
    ProofLeads(String, String),
}
