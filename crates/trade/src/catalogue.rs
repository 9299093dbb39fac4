//! The catalogue of formulas, each declared once: name, parameters, result, meaning and source. The command line, the
//! rule language, the reference and the editors' definitions all read it. Does not hold the formulas.
//!
//! A call takes numbers in the units of the declaration. A word ("R-410A", "copper") is passed as its index in its
//! list. A few functions take lists: the visits of a trend, the peers of a part.

#![allow(non_snake_case, reason = "names of arguments carry units as they are written")]

mod air;
mod capacitors;
mod compressors;
mod conformity;
mod contacts;
mod gas;
mod mathematics;
mod motors;
mod refrigerants;
mod sensors;
mod supply;
mod trends;

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::range::{Argument, OutOfRange};

/// The kind of a parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ParameterKind {
    /// A number in a range.
    Number(Argument),
    /// A resistance or similar that may also be open: infinite.
    NumberOrOpen(Argument),
    /// One of these words.
    Word(&'static [&'static str]),
    /// Several numbers, each in a range.
    List(Argument),
}

/// One parameter of a function.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameter {
    /// Its name.
    pub name: &'static str,
    /// Its kind and range.
    pub kind: ParameterKind,
}

impl Parameter {
    /// Its unit; empty for a plain number or a word.
    #[must_use]
    pub const fn unit(&self) -> &'static str {
        match self.kind {
            ParameterKind::Number(argument)
            | ParameterKind::NumberOrOpen(argument)
            | ParameterKind::List(argument) => argument.unit,
            ParameterKind::Word(_) => "",
        }
    }
}

/// The result of a function.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Returns {
    /// A number in this unit; empty for a plain number, or for the unit of the arguments.
    Number(&'static str),
    /// One of these words; the result is its index.
    Word(&'static [&'static str]),
}

#[derive(Clone, Copy, Debug)]
enum Body {
    Numbers(fn(&[f64]) -> Result<f64, OutOfRange>),
    Lists(fn(&[&[f64]]) -> Result<f64, OutOfRange>),
}

/// One function.
#[derive(Clone, Copy, Debug)]
pub struct Function {
    /// Its name.
    pub name: &'static str,
    /// Its group: "capacitors".
    pub group: &'static str,
    /// Its parameters, in order.
    pub parameters: &'static [Parameter],
    /// Its result.
    pub returns: Returns,
    /// Its meaning, in one sentence or two.
    pub doc: &'static str,
    /// Where the formula comes from.
    pub source: &'static str,
    body: Body,
    /// Its result jumps (floor, a word), so it counts as a decision of a rule.
    pub is_discrete: bool,
}

/// Why a call failed.
#[derive(Clone, Debug, PartialEq)]
pub enum CallError {
    /// Another number of arguments than declared.
    Count,
    /// An argument outside its range.
    Range(OutOfRange),
    /// The result is not finite.
    NotFinite,
}

impl Function {
    /// Its signature: `series_uF(first, second)`.
    #[must_use]
    pub fn signature(&self) -> String {
        let names: Vec<&str> = self.parameters.iter().map(|parameter| parameter.name).collect();
        format!("{}({})", self.name, names.join(", "))
    }

    /// Calls it; words are passed as indices.
    ///
    /// # Errors
    /// [`CallError`]: the number of arguments, an argument out of range, a result that is not finite.
    pub fn call(&self, arguments: &[f64]) -> Result<f64, CallError> {
        if arguments.len() != self.parameters.len() {
            return Err(CallError::Count);
        }
        match self.body {
            Body::Numbers(body) => finite(body(arguments)),
            Body::Lists(body) => {
                let lists: Vec<&[f64]> = arguments.iter().map(core::slice::from_ref).collect();
                finite(body(&lists))
            }
        }
    }

    /// Calls it if some parameters are lists; a number or word is a list of one.
    ///
    /// # Errors
    /// [`CallError`], as for [`Self::call`]; also the count if something other than a list is not exactly one number.
    pub fn call_lists(&self, arguments: &[&[f64]]) -> Result<f64, CallError> {
        if arguments.len() != self.parameters.len() {
            return Err(CallError::Count);
        }
        let single = |(parameter, given): (&Parameter, &&[f64])| match (parameter.kind, given) {
            (ParameterKind::List(_), _) => Ok(f64::NAN),
            (_, [number]) => Ok(*number),
            _ => Err(CallError::Count),
        };
        let numbers: Vec<f64> =
            self.parameters.iter().zip(arguments).map(single).collect::<Result<_, _>>()?;
        match self.body {
            Body::Numbers(body) => finite(body(&numbers)),
            Body::Lists(body) => finite(body(arguments)),
        }
    }

    /// Whether some parameter is a list.
    #[must_use]
    pub fn takes_lists(&self) -> bool {
        matches!(self.body, Body::Lists(_))
    }

    /// The word that a result denotes; `None` if the result is a number.
    #[must_use]
    pub fn word(&self, result: f64) -> Option<&'static str> {
        match self.returns {
            Returns::Word(words) => words.get(place(result)).copied(),
            Returns::Number(_) => None,
        }
    }
}

fn finite(result: Result<f64, OutOfRange>) -> Result<f64, CallError> {
    match result {
        Ok(number) if number.is_finite() => Ok(number),
        Ok(_) => Err(CallError::NotFinite),
        Err(error) => Err(CallError::Range(error)),
    }
}

/// All groups, in the order of the round.
const GROUPS: [&[Function]; 12] = [
    mathematics::ALL,
    capacitors::ALL,
    supply::ALL,
    contacts::ALL,
    motors::ALL,
    compressors::ALL,
    refrigerants::ALL,
    air::ALL,
    gas::ALL,
    sensors::ALL,
    conformity::ALL,
    trends::ALL,
];

/// Every function, mathematics first. A name with several numbers of arguments appears once per number.
pub fn functions() -> impl Iterator<Item = &'static Function> + Clone {
    GROUPS.into_iter().flatten()
}

/// The functions of this name.
pub fn find(name: &str) -> impl Iterator<Item = &'static Function> + Clone {
    functions().filter(move |function| function.name == name)
}

/// The index that a number denotes; beyond every list if it denotes none.
fn place(number: f64) -> usize {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // within 0 to 1000
    if (0.0..1000.0).contains(&number) { number as usize } else { usize::MAX }
}

/// The item that a word denotes.
fn pick<T: Copy>(list: &[T], number: f64) -> Result<T, OutOfRange> {
    let error = OutOfRange { what: "word", value: number, unit: "", least: 0.0, greatest: 0.0 };
    list.get(place(number)).copied().ok_or(error)
}

/// The number in a slice of one.
fn one(slice: &[f64]) -> f64 {
    slice.first().copied().unwrap_or(f64::NAN)
}

const fn list(argument: Argument) -> ParameterKind {
    ParameterKind::List(argument)
}

const fn number(argument: Argument) -> ParameterKind {
    ParameterKind::Number(argument)
}

const fn open(argument: Argument) -> ParameterKind {
    ParameterKind::NumberOrOpen(argument)
}

const fn word(words: &'static [&'static str]) -> ParameterKind {
    ParameterKind::Word(words)
}

/// The same argument under another description.
const fn called(what: &'static str, argument: Argument) -> ParameterKind {
    ParameterKind::Number(Argument { what, ..argument })
}

const fn returns(unit: &'static str) -> Returns {
    Returns::Number(unit)
}

/// `function!(GROUP, "name"(argument: what, ...) -> returns, "doc", "source", expression)`. With `lists` before the
/// group every argument is a slice; [`one`] extracts a number.
macro_rules! function {
    (lists $($declaration:tt)+) => {
        $crate::catalogue::function!(@ Lists $($declaration)+)
    };
    (@ $body_kind:ident $group:expr, $name:literal($($argument:ident: $what:expr),+ $(,)?) -> $returns:expr, $doc:literal, $source:literal, $body:expr) => {
        $crate::catalogue::Function {
            name: $name,
            group: $group,
            parameters: &[$($crate::catalogue::Parameter { name: stringify!($argument), kind: $what }),+],
            returns: $returns,
            doc: $doc,
            source: $source,
            body: $crate::catalogue::Body::$body_kind(|arguments| match *arguments {
                [$($argument),+] => $body,
                // The number was checked.
                _ => Ok(f64::NAN),
            }),
            is_discrete: matches!($returns, $crate::catalogue::Returns::Word(_)),
        }
    };
    ($($declaration:tt)+) => {
        $crate::catalogue::function!(@ Numbers $($declaration)+)
    };
}
use function;

#[cfg(test)]
mod tests;
