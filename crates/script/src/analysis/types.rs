//! The types of the analysis. Holds no rules about where a type is allowed.

use alloc::vec::Vec;

use quantity::Unit;
use rhai::{ImmutableString, Position};

use super::units::Measure;

/// The nameplate items and limits a number was made from, as bits by index.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Origins {
    plate: u32,
    limits: u32,
}

impl Origins {
    pub(crate) const fn plate(index: usize) -> Self {
        Self { plate: 1 << (index % 32), limits: 0 }
    }

    pub(crate) const fn limit(index: usize) -> Self {
        Self { plate: 0, limits: 1 << (index % 32) }
    }

    pub(crate) const fn and(self, other: Self) -> Self {
        Self { plate: self.plate | other.plate, limits: self.limits | other.limits }
    }

    pub(crate) const fn has_plate(self, index: usize) -> bool {
        self.plate & Self::plate(index).plate != 0
    }

    pub(crate) const fn has_limit(self, index: usize) -> bool {
        self.limits & Self::limit(index).limits != 0
    }

    pub(crate) const fn is_empty(self) -> bool {
        self.plate == 0 && self.limits == 0
    }
}

/// The group of values that a name denotes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Record {
    Readings,
    Nameplate,
    Limits,
}

impl Record {
    /// The name it has in every function.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Readings => "m",
            Self::Nameplate => "plate",
            Self::Limits => "limit",
        }
    }
}

/// A judgement made somewhere in the rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Made {
    pub(crate) at: Position,
    /// Its unit is known.
    pub(crate) unit: bool,
    /// The unit of the reading or nameplate item of its name, unless `.unit(...)` gives another.
    pub(crate) named: Option<Unit>,
    /// What its value and limits measure.
    pub(crate) measure: Measure,
    /// Its source is known.
    pub(crate) source: bool,
}

/// The type of a value in the rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Type {
    /// What it was made from, and what it measures.
    Number(Origins, Measure),
    Bool,
    /// A text, with its content if known.
    Text(Option<ImmutableString>),
    /// One of these words: a choice of the nameplate, or the result of a catalogue function.
    Word(Vec<ImmutableString>, Origins),
    Record(Record),
    /// A list of numbers, which only a catalogue function takes.
    List(Origins),
    /// One judgement; all candidates.
    Judgement(Vec<Made>),
    /// What `judge` may return besides one judgement: several, or no verdict.
    Answer(Vec<Made>),
    Nothing,
    /// Unreachable: after a return.
    Never,
    /// Sometimes one type, sometimes another.
    Mixed,
    /// An error was reported here; any use is accepted, so that it is reported once.
    Any,
}

impl Type {
    /// The type after either of two branches.
    pub(crate) fn or(self, other: Self) -> Self {
        match (self, other) {
            (a, b) if a == b => a,
            (Self::Never, other) | (other, Self::Never) => other,
            (Self::Any, _) | (_, Self::Any) => Self::Any,
            (Self::Number(a, x), Self::Number(b, y)) => Self::Number(a.and(b), x.or(y)),
            (Self::Text(_), Self::Text(_)) => Self::Text(None),
            (Self::Word(a, x), Self::Word(b, y)) if a == b => Self::Word(a, x.and(y)),
            (Self::Judgement(a), Self::Judgement(b)) => Self::Judgement(both(a, b)),
            (Self::Judgement(a) | Self::Answer(a), Self::Judgement(b) | Self::Answer(b)) => {
                Self::Answer(both(a, b))
            }
            _ => Self::Mixed,
        }
    }

    /// As messages name it.
    pub(crate) const fn words(&self) -> &'static str {
        match self {
            Self::Number(..) => "a number",
            Self::Bool => "yes/no",
            Self::Text(_) => "a text",
            Self::Word(..) => "a word of a list",
            Self::Record(_) => "a group of values",
            Self::List(_) => "a list",
            Self::Judgement(_) => "a judgement",
            Self::Answer(_) => "several judgements or no_verdict",
            Self::Nothing | Self::Never => "nothing",
            Self::Mixed => "sometimes one thing, sometimes another or nothing (an if without else?)",
            Self::Any => "something unknown",
        }
    }
}

fn both(mut a: Vec<Made>, b: Vec<Made>) -> Vec<Made> {
    for made in b {
        if !a.contains(&made) {
            a.push(made);
        }
    }
    a
}
