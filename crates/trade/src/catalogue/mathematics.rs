//! Plain mathematics, as on a calculator. No trade.

use libm::{ceil, cos, exp, fabs, floor, log, log10, round, sin, sqrt, tan};

use super::{Function, Returns, function, number, returns};
use crate::range::Argument;

const GROUP: &str = "mathematics";
const X: Argument = Argument { what: "number", unit: "", least: f64::MIN, greatest: f64::MAX };
const ANGLE: Argument = Argument { what: "angle", unit: "radian", ..X };
const SAME: Returns = returns("");

macro_rules! maths {
    ($name:literal($($argument:ident),+), $doc:literal, $body:expr) => {
        function!(GROUP, $name($($argument: number(X)),+) -> SAME, $doc, "mathematics", Ok($body))
    };
}

// These jump.
const FLOOR: Function = maths!("floor"(x), "Next whole number down.", floor(x));
const CEIL: Function = maths!("ceil"(x), "Next whole number up.", ceil(x));
const ROUND: Function = maths!("round"(x), "Nearest whole number, halves away from zero.", round(x));

pub(super) const ALL: &[Function] = &[
    maths!("abs"(x), "The number without its sign.", fabs(x)),
    maths!("sqrt"(x), "Square root; an error below zero.", sqrt(x)),
    maths!("exp"(x), "e to the power x.", exp(x)),
    maths!("ln"(x), "Natural logarithm; an error at zero and below.", log(x)),
    maths!("log10"(x), "Logarithm to base 10; an error at zero and below.", log10(x)),
    function!(GROUP, "sin"(angle: number(ANGLE)) -> SAME, "Sine.", "mathematics", Ok(sin(angle))),
    function!(GROUP, "cos"(angle: number(ANGLE)) -> SAME, "Cosine.", "mathematics", Ok(cos(angle))),
    function!(GROUP, "tan"(angle: number(ANGLE)) -> SAME, "Tangent.", "mathematics", Ok(tan(angle))),
    maths!("min"(a, b), "The smaller of two.", a.min(b)),
    maths!("min"(a, b, c), "The smallest of three.", a.min(b).min(c)),
    maths!("max"(a, b), "The larger of two.", a.max(b)),
    maths!("max"(a, b, c), "The largest of three.", a.max(b).max(c)),
    maths!("middle"(a, b, c), "The middle one of three.", a.min(b).max(a.max(b).min(c))),
    Function { is_discrete: true, ..FLOOR },
    Function { is_discrete: true, ..CEIL },
    Function { is_discrete: true, ..ROUND },
];
