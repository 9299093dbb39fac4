//! Trends and peers: declarations of `trend.rs` and `peers.rs`. They take lists.

use super::{Function, function, list, number, one, returns, word};
use crate::peers;
use crate::trend::{self, CONFIDENCE, DAY, VALUE};

const GROUP: &str = "trends and peers";

pub(super) const ALL: &[Function] = &[
    function!(lists GROUP, "slope_per_d"(days: list(DAY), values: list(VALUE)) -> returns(""),
        "Change a day of a value over at least four visits, by least squares.",
        "mathematics", Ok(trend::line(days, values)?.slope_per_d)),
    function!(lists GROUP, "robust_slope_per_d"(days: list(DAY), values: list(VALUE)) -> returns(""),
        "Change a day as the median of the slopes of all pairs of visits (Theil and Sen); one odd visit hardly moves it.",
        "mathematics", trend::robust_slope(days, values)),
    function!(lists GROUP, "line_at"(days: list(DAY), values: list(VALUE), day: number(DAY)) -> returns(""),
        "Value of the line through the visits on a day.",
        "mathematics", Ok(trend::line(days, values)?.at(DAY.validate(one(day))?))),
    function!(lists GROUP, "prediction_half"(days: list(DAY), values: list(VALUE), day: number(DAY), confidence: number(CONFIDENCE)) -> returns(""),
        "How far to either side of the line one new reading lies on a day, with this confidence (two-sided).",
        "mathematics", trend::line(days, values)?.prediction_half(DAY.validate(one(day))?, one(confidence))),
    function!(lists GROUP, "days_to_limit"(days: list(DAY), values: list(VALUE), limit: number(VALUE), falls: word(&trend::SIDES), confidence: number(CONFIDENCE)) -> returns("d"),
        "Days from the last visit until the worst credible value first reaches a limit (one-sided). 0: the line is there already. 7305, twenty years: not seen.",
        "mathematics", trend::days_to_limit(days, values, one(limit), super::pick(&[false, true], one(falls))?, one(confidence))),
    function!(lists GROUP, "peer_score"(value: number(VALUE), others: list(VALUE), floor: number(peers::FLOOR)) -> returns(""),
        "Modified z score of a value among its like, itself counted, at least five in all: 0.6745 (x - median) / MAD; beyond 3.5 it stands out. The MAD is at least the floor, the meter's standard uncertainty.",
        "Iglewicz and Hoaglin, from memory", peers::score(one(value), others, one(floor))),
];
