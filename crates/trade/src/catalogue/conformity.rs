//! Conformity: declarations of `conformity.rs`. Does not declare what takes lists; `trends` does.

use super::{Function, called, function, number, returns};
use crate::conformity::{self, FREEDOM, PROBABILITY, UNCERTAINTY, VALUE};

const GROUP: &str = "conformity";

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "probability_of_conformance"(value: number(VALUE), u: number(UNCERTAINTY), low: called("lower limit", VALUE), high: called("upper limit", VALUE)) -> returns(""),
        "Chance that the quantity lies between two limits, u the standard uncertainty. For one limit make the other -1e12 or 1e12.",
        "standard JCGM 106:2012, 7", conformity::probability_of_conformance(value, u, low, high)),
    function!(GROUP, "posterior_mean"(value: number(VALUE), u: number(UNCERTAINTY), prior_mean: called("mean of its like", VALUE), prior_spread: called("spread of its like", UNCERTAINTY)) -> returns(""),
        "Mean after a reading when its like are spread about a mean of their own.",
        "standard JCGM 106:2012, A.4", conformity::posterior_mean(value, u, prior_mean, prior_spread)),
    function!(GROUP, "posterior_u"(u: number(UNCERTAINTY), prior_spread: called("spread of its like", UNCERTAINTY)) -> returns(""),
        "Standard uncertainty of that mean.",
        "standard JCGM 106:2012, A.4", conformity::posterior_u(u, prior_spread)),
    function!(GROUP, "en_number"(first: number(VALUE), first_expanded: called("expanded uncertainty of the first", UNCERTAINTY), second: number(VALUE), second_expanded: called("expanded uncertainty of the second", UNCERTAINTY)) -> returns(""),
        "Whether two meters agree: |a - b| / sqrt(Ua^2 + Ub^2), at most 1.",
        "standard ISO/IEC 17043, from memory", conformity::en_number(first, first_expanded, second, second_expanded)),
    function!(GROUP, "student_quantile"(probability: number(PROBABILITY), freedom: number(FREEDOM)) -> returns(""),
        "Quantile of Student's distribution.",
        "mathematics", conformity::student_quantile(probability, freedom)),
];
