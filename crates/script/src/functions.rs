//! Registers the catalogue of crate `trade` with the engine: every function under its name, words as texts. Holds no
//! formula and no declaration.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;
use core::any::TypeId;

use rhai::{Array, Dynamic, Engine, ImmutableString, NativeCallContext};
use trade::catalogue::{self, CallError, Function, ParameterKind};

use crate::run::{HostError, record, refuse, tick};

pub(crate) fn register(engine: &mut Engine) {
    for function in catalogue::functions() {
        let types: Vec<TypeId> = function
            .parameters
            .iter()
            .map(|parameter| match parameter.kind {
                ParameterKind::Number(_) | ParameterKind::NumberOrOpen(_) => TypeId::of::<f64>(),
                ParameterKind::Word(_) => TypeId::of::<ImmutableString>(),
                ParameterKind::List(_) => TypeId::of::<Array>(),
            })
            .collect();
        engine.register_raw_fn(function.name, types, move |context, arguments| {
            call(&context, function, arguments)
        });
    }
}

fn call(
    context: &NativeCallContext<'_>,
    function: &'static Function,
    arguments: &[&mut Dynamic],
) -> Result<Dynamic, HostError> {
    let mut numbers = Vec::with_capacity(arguments.len());
    // Where each argument ends in `numbers`; empty where each is one number.
    let mut ends = Vec::new();
    for (parameter, argument) in function.parameters.iter().zip(arguments) {
        let fits = match parameter.kind {
            ParameterKind::Number(_) | ParameterKind::NumberOrOpen(_) => {
                put(&mut numbers, argument.as_float().ok())
            }
            ParameterKind::Word(list) => {
                let word = argument.read_lock::<ImmutableString>();
                let place = word.and_then(|word| list.iter().position(|known| *known == word.as_str()));
                put(&mut numbers, place.map(|place| place as f64))
            }
            ParameterKind::List(_) => argument
                .read_lock::<Array>()
                .is_some_and(|list| list.iter().all(|item| put(&mut numbers, item.as_float().ok()))),
        };
        if !fits {
            return Err(refuse(format!("{}: {} does not fit", function.name, parameter.name)));
        }
        if function.takes_lists() {
            ends.push(numbers.len());
        }
    }
    let result = if function.takes_lists() {
        let starts = core::iter::once(0).chain(ends.iter().copied());
        let slices: Vec<&[f64]> =
            starts.zip(&ends).map(|(from, to)| numbers.get(from..*to).unwrap_or(&[])).collect();
        function.call_lists(&slices)
    } else {
        function.call(&numbers)
    };
    let result = result.map_err(|error| refuse(explain(function, &numbers, &error)))?;
    if function.is_discrete {
        let bits = result.to_bits();
        #[allow(clippy::cast_possible_truncation, reason = "both halves go in")]
        record(context, (bits ^ (bits >> 32)) as u32)?;
    } else {
        tick(context)?;
    }
    Ok(function
        .word(result)
        .map_or_else(|| Dynamic::from(result), |word| Dynamic::from(ImmutableString::from(word))))
}

/// Appends a number; false if there is none.
fn put(numbers: &mut Vec<f64>, number: Option<f64>) -> bool {
    numbers.extend(number);
    number.is_some()
}

/// Why a call failed, in one sentence.
fn explain(function: &Function, numbers: &[f64], error: &CallError) -> String {
    match error {
        CallError::Count => format!("{} takes {} values", function.signature(), function.parameters.len()),
        CallError::Range(error) => format!("{}: {error}", function.name),
        CallError::NotFinite => {
            let texts: Vec<String> = numbers.iter().map(|number| format!("{number}")).collect();
            format!("{}({}) is not a finite number", function.name, texts.join(", "))
        }
    }
}
