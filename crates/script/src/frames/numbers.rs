//! The operators of decode scripts: whole numbers with bit operators, floats, booleans and texts; anything else is
//! rejected by name. Whole numbers are never rounded: exceeding 64 bits is an error.

use alloc::format;

use rhai::{Dynamic, Engine, ImmutableString};

use super::values::{Bytes, FrameResult};
use crate::run::{HostError, refuse};

type OnWhole = fn(i64, i64) -> Option<i64>;
type OnFloats = fn(f64, f64) -> f64;

/// Operators of two whole numbers.
const WHOLE: [(&str, OnWhole); 10] = [
    ("+", i64::checked_add),
    ("-", i64::checked_sub),
    ("*", i64::checked_mul),
    ("/", i64::checked_div),
    ("%", i64::checked_rem),
    ("&", |a, b| Some(a & b)),
    ("|", |a, b| Some(a | b)),
    ("^", |a, b| Some(a ^ b)),
    ("<<", |a, b| shift(b).and_then(|by| a.checked_mul(1_i64.checked_shl(by)?))),
    (">>", |a, b| shift(b).map(|by| a >> by)),
];

/// Operators of two numbers, at least one of them not whole.
const FLOATS: [(&str, OnFloats); 4] =
    [("+", |a, b| a + b), ("-", |a, b| a - b), ("*", |a, b| a * b), ("/", |a, b| a / b)];

const COMPARED: [&str; 6] = ["==", "!=", "<", "<=", ">", ">="];

/// The same operators with `=`: `x ^= 0x5A`.
const ASSIGNING: [&str; 10] = ["+=", "-=", "*=", "/=", "%=", "&=", "|=", "^=", "<<=", ">>="];

/// Further operators of rhai.
const REFUSED: [&str; 6] = ["**", "**=", "contains", "..", "..=", "in"];

/// Every operator that a script may write between two values or before one.
pub(super) fn is_known(operator: &str) -> bool {
    WHOLE.iter().any(|(known, _)| *known == operator) || COMPARED.contains(&operator) || operator == "!"
}

fn shift(by: i64) -> Option<u32> {
    u32::try_from(by).ok().filter(|by| *by < 63)
}

pub(super) fn register(engine: &mut Engine) {
    for ((name, f), assigning) in WHOLE.into_iter().zip(ASSIGNING) {
        engine.register_fn(name, move |a: i64, b: i64| whole(name, f, a, b));
        engine.register_fn(assigning, move |a: &mut i64, b: i64| {
            *a = whole(name, f, *a, b)?;
            Ok::<(), HostError>(())
        });
    }
    #[allow(clippy::cast_precision_loss, reason = "beyond 2^53 the nearest float is what is meant")]
    for (name, f) in FLOATS {
        engine.register_fn(name, move |a: f64, b: f64| f(a, b));
        engine.register_fn(name, move |a: i64, b: f64| f(a as f64, b));
        engine.register_fn(name, move |a: f64, b: i64| f(a, b as f64));
    }
    engine.register_fn("-", |a: i64| a.checked_neg().ok_or_else(|| refuse(format!("-({a}) is too great"))));
    engine.register_fn("-", |a: f64| -a);
    engine.register_fn("+", |a: i64| a);
    engine.register_fn("+", |a: f64| a);
    engine.register_fn("!", |a: bool| !a);
    compare::<i64>(engine);
    compare::<f64>(engine);
    engine.register_fn("==", |a: bool, b: bool| a == b);
    engine.register_fn("!=", |a: bool, b: bool| a != b);
    engine.register_fn("==", |a: ImmutableString, b: ImmutableString| a == b);
    engine.register_fn("!=", |a: ImmutableString, b: ImmutableString| a != b);
    let rest = WHOLE.into_iter().map(|(name, _)| name).chain(COMPARED).chain(ASSIGNING).chain(REFUSED);
    for name in rest {
        engine.register_fn(name, move |a: Dynamic, b: Dynamic| {
            let text = format!("{name} cannot work on {} and {}", kind_of(&a), kind_of(&b));
            Err::<Dynamic, HostError>(refuse(text))
        });
    }
}

fn whole(name: &str, f: OnWhole, a: i64, b: i64) -> Result<i64, HostError> {
    f(a, b).ok_or_else(|| refuse(format!("{a} {name} {b} has no whole number of 64 bits")))
}

fn compare<T: PartialOrd + Clone + Send + Sync + 'static>(engine: &mut Engine) {
    engine.register_fn("==", |a: T, b: T| a == b);
    engine.register_fn("!=", |a: T, b: T| a != b);
    engine.register_fn("<", |a: T, b: T| a < b);
    engine.register_fn("<=", |a: T, b: T| a <= b);
    engine.register_fn(">", |a: T, b: T| a > b);
    engine.register_fn(">=", |a: T, b: T| a >= b);
}

/// As messages name a value.
pub(super) fn kind_of(value: &Dynamic) -> &'static str {
    if value.is::<i64>() {
        "a whole number"
    } else if value.is::<f64>() {
        "a number with decimals"
    } else if value.is::<bool>() {
        "yes/no"
    } else if value.is_string() {
        "a text"
    } else if value.is_unit() {
        "nothing"
    } else if value.is::<Bytes>() {
        "the frame"
    } else if value.is::<FrameResult>() {
        "what is shown"
    } else {
        "something a decode script has no use for"
    }
}
