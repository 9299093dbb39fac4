//! The ends as stated: never inside the interval, hardly wider than it, on the side of the limit where the word has them.
use proptest::prelude::*;

use super::{judged, words};
use crate::{JudgementJson, ReadingJson};

fn reading(at_least: Option<f64>, at_most: Option<f64>) -> ReadingJson {
    ReadingJson {
        point: "current".into(),
        label: "current".into(),
        device: "clamp".into(),
        value: 7.0,
        unit: "A".into(),
        shown: "7.00".into(),
        standard_uncertainty: 0.1,
        count: 3,
        settled: false,
        at_least,
        at_most,
        drift: None,
        at_s: 1.0,
    }
}

fn judgement(verdict: &str, low: Option<f64>, high: Option<f64>) -> JudgementJson {
    JudgementJson {
        name: "current".into(),
        verdict: verdict.into(),
        value: 7.0,
        unit: "A".into(),
        low,
        high,
        standard_uncertainty: 0.1,
        probability_of_conformance: 0.5,
        advice: None,
        source: "nameplate".into(),
        source_class: "nameplate".into(),
        guard: 0.2,
        meter_too_coarse: false,
        expanded_uncertainty: 0.2,
    }
}

#[test]
fn a_value_not_at_rest_is_two_ends_and_never_a_value() {
    let said = |low, high| words(&reading(low, high)).unwrap();
    assert_eq!(said(Some(38.117), Some(40.35)), "between 38.1 and 40.4 A, settling");
    assert_eq!(said(Some(6.94), Some(16.9)), "between 6.9 and 16.9 A, settling");
    assert_eq!(said(Some(6.94), None), "at least 6.94 A, settling");
    assert_eq!(said(None, Some(-3.0)), "at most -3.00 A, settling");
    assert_eq!(said(Some(0.001_234), Some(0.001_29)), "between 0.001234 and 0.001290 A, settling");
    assert_eq!(said(Some(12_340.0), Some(98_760.0)), "between 12000 and 99000 A, settling");
    assert_eq!(said(None, None), "no value yet, settling");
    assert_eq!(said(Some(f64::NEG_INFINITY), Some(f64::NAN)), "no value yet, settling");
    assert_eq!(words(&ReadingJson { settled: true, ..reading(Some(1.0), Some(2.0)) }), None);
}

/// One end alone where the word needs no other.
#[test]
fn the_end_that_the_word_rests_on_stands_alone() {
    let said = |low, high, of: &JudgementJson| judged(&reading(Some(low), Some(high)), of);
    let (both, upper, lower) = ((Some(5.0), Some(6.0)), (None, Some(6.0)), (Some(5.0), None));
    let of = |word, (low, high)| judgement(word, low, high);
    assert_eq!(said(6.94, 16.9, &of("fail", upper)), "at least 6.9 A, settling");
    assert_eq!(said(6.94, 16.9, &of("fail", both)), "at least 6.9 A, settling");
    assert_eq!(said(1.04, 4.86, &of("fail", both)), "at most 4.9 A, settling");
    assert_eq!(said(5.24, 5.76, &of("pass", both)), "between 5.24 and 5.76 A, settling");
    assert_eq!(said(1.04, 4.86, &of("pass", upper)), "at most 4.9 A, settling");
    assert_eq!(said(6.94, 16.9, &of("pass", lower)), "at least 6.9 A, settling");
    assert_eq!(said(6.94, 16.9, &of("conditional fail", upper)), "between 6.9 and 16.9 A, settling");
    assert_eq!(said(6.94, 16.9, &of("no verdict", both)), "between 6.9 and 16.9 A, settling");
}

/// 5.04 rounded to a tenth is the limit itself, to a whole it is beyond it.
#[test]
fn an_end_never_passes_the_limit_for_the_sake_of_rounding() {
    let of = judgement("pass", Some(5.0), Some(60.0));
    assert_eq!(judged(&reading(Some(5.4), Some(44.0)), &of), "between 5.4 and 44 A, settling");
    assert_eq!(judged(&reading(Some(5.0), Some(44.0)), &of), "between 5 and 44 A, settling");
    assert_eq!(judged(&reading(Some(5.004), Some(44.0)), &of), "between 5.004 and 44 A, settling");
}

/// The two numbers of "between A and B".
fn stated(text: &str) -> (f64, f64) {
    let rest = text.strip_prefix("between ").unwrap().strip_suffix(" A, settling").unwrap();
    let (low, high) = rest.split_once(" and ").unwrap();
    (low.parse().unwrap(), high.parse().unwrap())
}

proptest! {
    #[test]
    fn stated_ends_hold_the_interval_and_widen_it_by_a_tenth_each(
        middle in -1e6_f64..1e6, decade in -4_i32..5, part in 1.0_f64..10.0,
    ) {
        let half = part * 10_f64.powi(decade) / 2.0;
        let (low, high) = (middle - half, middle + half);
        let (said_low, said_high) = stated(&words(&reading(Some(low), Some(high))).unwrap());
        let hair = 2e-7 * (high - low) + 1e-12 * middle.abs();
        prop_assert!(said_low <= low + hair && said_high >= high - hair, "{said_low} {low} {high} {said_high}");
        let room = 0.1 * (high - low) + hair;
        prop_assert!(low - said_low <= room && said_high - high <= room, "{said_low} {low} {high} {said_high}");
    }

    #[test]
    fn a_stated_end_is_on_the_side_of_the_limit_that_the_end_is_on(
        limit in 0.1_f64..100.0, off in 0.001_f64..1.0, width in 0.01_f64..50.0,
    ) {
        let of = judgement("pass", Some(limit), Some(limit + 1_000.0));
        let low = limit * (1.0 + off);
        let (said_low, _) = stated(&judged(&reading(Some(low), Some(low + width)), &of));
        prop_assert!(said_low > limit && said_low <= low + 1e-6 * width, "{limit} {said_low} {low}");
    }
}
