//! Why an evaluation gave no answer, in the words that a person reads. Decides nothing.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use trade::catalogue::{CallError, Function, ParameterKind};

/// A position in the rule's text, 1-based; zero if unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct At {
    /// The line.
    pub line: u32,
    /// The column.
    pub column: u32,
}

/// Why there is no answer, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Where.
    pub at: At,
    /// What happened, one sentence.
    pub message: String,
}

impl Fault {
    pub(crate) fn new(at: At, message: impl Into<String>) -> Self {
        Self { at, message: message.into() }
    }
}

/// As messages name a word that is there, and one that is not.
pub(crate) const fn word_kind(place: f64) -> &'static str {
    if place.is_nan() { "nothing" } else { "a text" }
}

/// A word is not there (its nameplate value is beyond its list), so no form of the function fits.
pub(crate) fn no_such_function(function: &Function, missing: impl Fn(usize) -> bool) -> String {
    let kinds: Vec<&str> = function
        .parameters
        .iter()
        .enumerate()
        .map(|(index, parameter)| match parameter.kind {
            ParameterKind::Number(_) | ParameterKind::NumberOrOpen(_) => "f64",
            ParameterKind::Word(_) if missing(index) => "()",
            ParameterKind::Word(_) => "&str | ImmutableString | String",
            ParameterKind::List(_) => "array",
        })
        .collect();
    format!("no such function: {} ({})", function.name, kinds.join(", "))
}

/// Why a call of the catalogue failed.
pub(crate) fn call_failed(function: &Function, numbers: &[f64], error: &CallError) -> String {
    match error {
        CallError::Count => format!("{} takes {} values", function.signature(), function.parameters.len()),
        CallError::Range(error) => format!("{}: {error}", function.name),
        CallError::NotFinite => {
            let texts: Vec<String> = numbers.iter().map(|number| format!("{number}")).collect();
            format!("{}({}) is not a finite number", function.name, texts.join(", "))
        }
    }
}
