//! Every operator of rules, with the types it accepts; anything else is rejected by name.
//!
//! Arithmetic takes two numbers and returns a finite number or an error. `<`, `<=`, `>`, `>=` take two numbers,
//! compare them by plain IEEE 754 (both are finite here) and record the outcome. `==` and `!=` take booleans, or
//! words of one list: two measured numbers are never meant to be exactly equal, and rhai's own float `==` is not
//! exact either.

use alloc::format;

use rhai::{Dynamic, Engine, ImmutableString, NativeCallContext};

use crate::judgement::kind_of;
use crate::run::{HostError, record, refuse, tick};

/// Operators that take two numbers and return a number.
pub(crate) const ARITHMETIC: [&str; 6] = ["+", "-", "*", "/", "%", "**"];
/// Operators that take two numbers and return a boolean.
pub(crate) const COMPARISONS: [&str; 4] = ["<", "<=", ">", ">="];
/// Operators that take two booleans.
pub(crate) const EQUALITY: [&str; 2] = ["==", "!="];
/// Operators of rhai that rules do not have.
const REFUSED: [&str; 8] = ["|", "&", "^", "<<", ">>", "contains", "..", "..="];

pub(crate) const EQUAL_NUMBERS: &str =
    "two numbers are never compared with == or !=; write a range, or abs(a - b) <= what_counts_as_equal";

pub(crate) fn register(engine: &mut Engine) {
    for (name, f) in ARITHMETIC.into_iter().zip([
        (|a, b| a + b) as fn(f64, f64) -> f64,
        |a, b| a - b,
        |a, b| a * b,
        |a, b| a / b,
        libm::fmod,
        libm::pow,
    ]) {
        engine.register_fn(name, move |context: NativeCallContext<'_>, a: f64, b: f64| {
            tick(&context)?;
            finite(f(a, b), || format!("{a} {name} {b}"))
        });
    }
    for (name, f) in COMPARISONS.into_iter().zip([
        (|a, b| a < b) as fn(f64, f64) -> bool,
        |a, b| a <= b,
        |a, b| a > b,
        |a, b| a >= b,
    ]) {
        engine.register_fn(name, move |context: NativeCallContext<'_>, a: f64, b: f64| {
            if !(a.is_finite() && b.is_finite()) {
                return Err(refuse(format!("cannot compare {a} with {b}: not a finite number")));
            }
            let outcome = f(a, b);
            record(&context, u32::from(outcome))?;
            Ok(outcome)
        });
    }
    engine.register_fn("==", |context: NativeCallContext<'_>, a: bool, b: bool| {
        record(&context, u32::from(a == b)).map(|()| a == b)
    });
    engine.register_fn("!=", |context: NativeCallContext<'_>, a: bool, b: bool| {
        record(&context, u32::from(a != b)).map(|()| a != b)
    });
    // The check lets only words of one list meet.
    engine.register_fn("==", |context: NativeCallContext<'_>, a: ImmutableString, b: ImmutableString| {
        record(&context, u32::from(a == b)).map(|()| a == b)
    });
    engine.register_fn("!=", |context: NativeCallContext<'_>, a: ImmutableString, b: ImmutableString| {
        record(&context, u32::from(a != b)).map(|()| a != b)
    });
    engine.register_fn("!", |a: bool| !a);
    engine.register_fn("-", |a: f64| -a);
    engine.register_fn("+", |a: f64| a);
    refuse_the_rest(engine);
}

/// Any other use of an operator is an error that names both types. Registered for any two values, these take
/// precedence over rhai's built-in operators, which would return `false`.
fn refuse_the_rest(engine: &mut Engine) {
    let assigning = ["+=", "-=", "*=", "/=", "%=", "**=", "|=", "&=", "^=", "<<=", ">>="];
    for name in ARITHMETIC.into_iter().chain(COMPARISONS).chain(EQUALITY).chain(REFUSED) {
        engine.register_fn(name, move |a: Dynamic, b: Dynamic| unlike(name, &a, &b));
    }
    for (name, f) in assigning.into_iter().zip([
        (|a, b| a + b) as fn(f64, f64) -> f64,
        |a, b| a - b,
        |a, b| a * b,
        |a, b| a / b,
        libm::fmod,
        libm::pow,
    ]) {
        engine.register_fn(name, move |a: &mut f64, b: f64| {
            *a = finite(f(*a, b), || format!("{a} {name} {b}"))?;
            Ok::<(), HostError>(())
        });
    }
    for name in assigning {
        engine.register_fn(name, move |a: Dynamic, b: Dynamic| unlike(name, &a, &b));
    }
}

fn unlike(name: &str, a: &Dynamic, b: &Dynamic) -> Result<Dynamic, HostError> {
    if EQUALITY.contains(&name) && a.is::<f64>() && b.is::<f64>() {
        return Err(refuse(EQUAL_NUMBERS));
    }
    Err(refuse(format!("{name} cannot work on {} and {}", kind_of(a), kind_of(b))))
}

/// The number if it is finite, otherwise an error that shows where it came from.
pub(crate) fn finite(number: f64, shown: impl FnOnce() -> alloc::string::String) -> Result<f64, HostError> {
    if number.is_finite() { Ok(number) } else { Err(refuse(format!("{} is not a finite number", shown()))) }
}
