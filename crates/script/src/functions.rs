//! The functions a rule may call for a number: mathematics and the trade's formulas, declared once in [`FUNCTIONS`] with
//! arguments, units, result, meaning and source; documentation and the engine both read this table.
//! Does not hold the formulas themselves (crate `trade`) nor the judgement words.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use libm::{ceil, cos, exp, fabs, floor, log, log10, round, sin, sqrt, tan};
use rhai::{Engine, NativeCallContext};
use trade::{OutOfRange, capacitor};

use crate::operators::finite;
use crate::run::{HostError, record, refuse, tick};

/// One argument of a function.
#[derive(Clone, Copy, Debug)]
pub struct Argument {
    /// Its name.
    pub name: &'static str,
    /// Its unit; empty when any unit goes.
    pub unit: &'static str,
}

/// One function a rule may call.
#[derive(Clone, Copy, Debug)]
pub struct Function {
    /// Its name in a rule.
    pub name: &'static str,
    /// What it takes, in order.
    pub arguments: &'static [Argument],
    /// Unit of the result; empty when it is that of the arguments or none.
    pub result_unit: &'static str,
    /// What it gives, one sentence.
    pub doc: &'static str,
    /// Where the formula comes from.
    pub source: &'static str,
    body: Body,
    /// It jumps (floor and the like): its result counts as a decision of the rule.
    steps: bool,
}

/// The code behind a function, by number of arguments.
#[derive(Clone, Copy, Debug)]
enum Body {
    One(fn(f64) -> Result<f64, OutOfRange>),
    Two(fn(f64, f64) -> Result<f64, OutOfRange>),
    Three(fn(f64, f64, f64) -> Result<f64, OutOfRange>),
    Four(fn(f64, f64, f64, f64) -> Result<f64, OutOfRange>),
}

const fn arg(name: &'static str, unit: &'static str) -> Argument {
    Argument { name, unit }
}

const fn maths(
    name: &'static str,
    arguments: &'static [Argument],
    doc: &'static str,
    body: Body,
) -> Function {
    Function { name, arguments, result_unit: "", doc, source: "mathematics", body, steps: false }
}

const fn step(name: &'static str, doc: &'static str, body: Body) -> Function {
    Function { steps: true, ..maths(name, X, doc, body) }
}

const fn formula(
    name: &'static str,
    arguments: &'static [Argument],
    result_unit: &'static str,
    doc: &'static str,
    body: Body,
) -> Function {
    Function { name, arguments, result_unit, doc, source: "physics", body, steps: false }
}

const X: &[Argument] = &[arg("x", "")];
const AB: &[Argument] = &[arg("a", ""), arg("b", "")];
const ABC: &[Argument] = &[arg("a", ""), arg("b", ""), arg("c", "")];
const RADIANS: &[Argument] = &[arg("angle", "radian")];

/// Every function, mathematics first. Names with several numbers of arguments stand once per number.
pub const FUNCTIONS: &[Function] = &[
    maths("abs", X, "The number without its sign.", Body::One(|x| Ok(fabs(x)))),
    maths("sqrt", X, "Square root; an error below zero.", Body::One(|x| Ok(sqrt(x)))),
    maths("exp", X, "e to the power x.", Body::One(|x| Ok(exp(x)))),
    maths("ln", X, "Natural logarithm; an error at zero and below.", Body::One(|x| Ok(log(x)))),
    maths("log10", X, "Logarithm to base 10; an error at zero and below.", Body::One(|x| Ok(log10(x)))),
    maths("sin", RADIANS, "Sine.", Body::One(|x| Ok(sin(x)))),
    maths("cos", RADIANS, "Cosine.", Body::One(|x| Ok(cos(x)))),
    maths("tan", RADIANS, "Tangent.", Body::One(|x| Ok(tan(x)))),
    maths("min", AB, "The smaller of two.", Body::Two(|a, b| Ok(a.min(b)))),
    maths("min", ABC, "The smallest of three.", Body::Three(|a, b, c| Ok(a.min(b).min(c)))),
    maths("max", AB, "The larger of two.", Body::Two(|a, b| Ok(a.max(b)))),
    maths("max", ABC, "The largest of three.", Body::Three(|a, b, c| Ok(a.max(b).max(c)))),
    maths(
        "middle",
        ABC,
        "The middle one of three.",
        Body::Three(|a, b, c| Ok(a.min(b).max(a.max(b).min(c)))),
    ),
    step("floor", "Next whole number down.", Body::One(|x| Ok(floor(x)))),
    step("ceil", "Next whole number up.", Body::One(|x| Ok(ceil(x)))),
    step("round", "Nearest whole number, halves away from zero.", Body::One(|x| Ok(round(x)))),
    formula(
        "capacitance_under_load_uF",
        &[arg("amps", "A"), arg("volts", "V"), arg("hertz", "Hz")],
        "uF",
        "Capacitance from the current through a capacitor and the volts across it: amps * 10^6 / (2 pi hertz volts).",
        Body::Three(capacitor::capacitance_under_load_uf),
    ),
    formula(
        "capacitor_current_A",
        &[arg("microfarads", "uF"), arg("volts", "V"), arg("hertz", "Hz")],
        "A",
        "Current through a capacitor: 2 pi hertz * farads * volts.",
        Body::Three(capacitor::current_a),
    ),
    formula(
        "series_uF",
        &[arg("first", "uF"), arg("second", "uF")],
        "uF",
        "Two capacitors in series: c1 c2 / (c1 + c2); what HERM to FAN of a dual can reads.",
        Body::Two(capacitor::series_uf),
    ),
    formula(
        "time_constant_s",
        &[arg("microfarads", "uF"), arg("ohms", "ohm")],
        "s",
        "Time constant of a capacitor and a resistor: ohms * farads.",
        Body::Two(capacitor::time_constant_s),
    ),
    formula(
        "discharge_volts",
        &[arg("start_volts", "V"), arg("microfarads", "uF"), arg("ohms", "ohm"), arg("seconds", "s")],
        "V",
        "Volts left after a time across a resistor.",
        Body::Four(capacitor::discharge_volts),
    ),
    formula(
        "discharge_time_s",
        &[arg("start_volts", "V"), arg("end_volts", "V"), arg("microfarads", "uF"), arg("ohms", "ohm")],
        "s",
        "Time until a capacitor across a resistor has fallen to the end volts.",
        Body::Four(capacitor::discharge_time_s),
    ),
    formula(
        "stored_energy_J",
        &[arg("microfarads", "uF"), arg("volts", "V")],
        "J",
        "Energy in a charged capacitor: farads * volts^2 / 2.",
        Body::Two(capacitor::stored_energy_j),
    ),
    formula(
        "crest_volts",
        &[arg("volts_rms", "V")],
        "V",
        "Crest of a sine wave: volts * sqrt 2.",
        Body::One(capacitor::crest_volts),
    ),
];

impl Function {
    /// How it is called: `series_uF(first, second)`.
    #[must_use]
    pub fn signature(&self) -> String {
        let names: Vec<&str> = self.arguments.iter().map(|a| a.name).collect();
        format!("{}({})", self.name, names.join(", "))
    }

    /// Calls it.
    ///
    /// # Errors
    /// A sentence: wrong number of arguments, an argument outside the formula's range, a result that is not finite.
    pub fn call(&self, arguments: &[f64]) -> Result<f64, String> {
        let result = match (self.body, arguments) {
            (Body::One(f), &[a]) => f(a),
            (Body::Two(f), &[a, b]) => f(a, b),
            (Body::Three(f), &[a, b, c]) => f(a, b, c),
            (Body::Four(f), &[a, b, c, d]) => f(a, b, c, d),
            _ => return Err(format!("{} takes {} numbers", self.signature(), self.arguments.len())),
        };
        match result {
            Ok(number) if number.is_finite() => Ok(number),
            Ok(_) => Err(format!("{}({}) is not a finite number", self.name, listed(arguments))),
            Err(error) => Err(format!("{}: {error}", self.name)),
        }
    }
}

fn listed(arguments: &[f64]) -> String {
    let texts: Vec<String> = arguments.iter().map(|a| format!("{a}")).collect();
    texts.join(", ")
}

pub(crate) fn register(engine: &mut Engine) {
    for function in FUNCTIONS {
        let name = function.name;
        match function.body {
            Body::One(f) => {
                engine.register_fn(name, move |context: NativeCallContext<'_>, a: f64| {
                    answer(&context, function, f(a), &[a])
                });
            }
            Body::Two(f) => {
                engine.register_fn(name, move |context: NativeCallContext<'_>, a: f64, b: f64| {
                    answer(&context, function, f(a, b), &[a, b])
                });
            }
            Body::Three(f) => {
                engine.register_fn(name, move |context: NativeCallContext<'_>, a: f64, b: f64, c: f64| {
                    answer(&context, function, f(a, b, c), &[a, b, c])
                });
            }
            Body::Four(f) => {
                engine.register_fn(
                    name,
                    move |context: NativeCallContext<'_>, a: f64, b: f64, c: f64, d: f64| {
                        answer(&context, function, f(a, b, c, d), &[a, b, c, d])
                    },
                );
            }
        }
    }
}

fn answer(
    context: &NativeCallContext<'_>,
    function: &Function,
    result: Result<f64, OutOfRange>,
    arguments: &[f64],
) -> Result<f64, HostError> {
    let result = result.map_err(|error| refuse(format!("{}: {error}", function.name)))?;
    let number = finite(result, || format!("{}({})", function.name, listed(arguments)))?;
    if function.steps {
        let bits = number.to_bits();
        #[allow(clippy::cast_possible_truncation, reason = "both halves go in")]
        record(context, (bits ^ (bits >> 32)) as u32)?;
    } else {
        tick(context)?;
    }
    Ok(number)
}
