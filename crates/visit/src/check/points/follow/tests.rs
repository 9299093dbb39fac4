//! What a contact shows after its value was taken: the figure, and another value.
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::check::testing::Bench;
use crate::testing::job;

const NOTHING: Vec<String> = Vec::new();

/// A capacitance taken at 39.80 uF as soon as it lies between 38 and 42 for certain.
fn early() -> Bench {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    bench.thresholds = Vec::from([38.0, 42.0]);
    assert_eq!(bench.play("meter", "39.80 uF", 12), ["capacitance 39.80"]);
    bench.measuring = false;
    assert!(!bench.points.settled(0).unwrap().reading.settled, "the word is clear, the figure is not");
    bench
}

/// The same at rest, its figure known.
fn at_rest() -> Bench {
    let mut bench = early();
    assert_eq!(bench.play("meter", "39.80 uF", 100), ["Figure 39.80"]);
    bench
}

#[test]
fn the_figure_comes_once_the_value_rests_and_only_once() {
    let mut bench = early();
    let wide = bench.points.settled(0).unwrap().input.standard_uncertainty;
    assert_eq!(bench.play("meter", "39.80 uF", 600), ["Figure 39.80"]);
    let settled = bench.points.settled(0).unwrap();
    assert!(settled.reading.settled && settled.input.standard_uncertainty < wide);
}

#[test]
fn no_figure_comes_from_another_meter_or_after_the_leads_came_off() {
    let mut bench = early();
    assert_eq!(bench.play("other", "39.80 uF", 100), NOTHING);
    bench.play("meter", "0.00 uF", 1);
    assert_eq!(bench.play("meter", "39.80 uF", 600), NOTHING);
}

#[test]
fn a_value_at_rest_that_jumps_under_the_same_leads_has_moved() {
    let mut bench = at_rest();
    let said = bench.play("meter", "29.80 uF", 100);
    assert!(!said.is_empty() && said.iter().all(|said| said == "Moved 29.80"), "{said:?}");
    let back = bench.play("meter", "39.80 uF", 100);
    assert!(!back.is_empty() && back.iter().all(|said| said == "Moved 39.80"), "{back:?}");
    assert_eq!(bench.points.settled(0).unwrap().input.value, 39.8, "what was taken stays as it was");
}

#[test]
fn a_value_that_stays_says_nothing() {
    assert_eq!(at_rest().play("meter", "39.80 uF", 600), NOTHING);
}

#[test]
fn another_value_after_a_break_may_be_another_part() {
    for between in ["OL uF", "0.00 uF", "--- uF", "12.0 ohm"] {
        let mut bench = at_rest();
        bench.play("meter", between, 1);
        assert_eq!(bench.play("meter", "29.80 uF", 100), NOTHING, "{between}");
    }
}

#[test]
fn a_pause_at_the_jump_may_hide_lifted_leads_and_one_before_it_hides_nothing() {
    let mut bench = at_rest();
    bench.ms += 4_000;
    assert_eq!(bench.play("meter", "29.80 uF", 100), NOTHING);

    let mut bench = at_rest();
    bench.ms += 4_000;
    assert_eq!(bench.play("meter", "39.80 uF", 40), NOTHING);
    assert_eq!(bench.play("meter", "29.80 uF", 100).first().map(String::as_str), Some("Moved 29.80"));
}

#[test]
fn a_long_silence_ends_the_contact() {
    let mut bench = at_rest();
    bench.ms += 60_000;
    assert_eq!(bench.play("meter", "39.80 uF", 40), NOTHING);
    assert_eq!(bench.play("meter", "29.80 uF", 100), NOTHING);
}

#[test]
fn volts_next_to_nothing_are_leads_that_came_off() {
    let mut bench = Bench::of(job(&[("volts", "V ac")]));
    bench.play("meter", "240.0 V ac", 200);
    assert!(bench.points.are_complete());
    bench.measuring = false;
    assert_eq!(bench.play("meter", "11.0 V ac", 200), NOTHING, "less than a twentieth");
    assert_eq!(bench.play("meter", "180.0 V ac", 200), NOTHING, "on something else since");
}

#[test]
fn volts_that_sag_under_the_same_leads_have_moved() {
    let mut bench = Bench::of(job(&[("volts", "V ac")]));
    bench.play("meter", "240.0 V ac", 200);
    bench.measuring = false;
    assert_eq!(bench.play("meter", "180.0 V ac", 200).first().map(String::as_str), Some("Moved 180.0"));
}

#[test]
fn another_range_under_the_same_leads_goes_on_with_the_figure() {
    let mut bench = early();
    let said = bench.play("meter", "39.8 uF", 300);
    assert_eq!(said, ["Figure 39.8"]);
}

/// It falls by 0.02 uF a reading; the limits are 38 and 42.
#[test]
fn a_value_that_walks_away_is_seen_once_it_is_clearly_beyond_the_limit() {
    let mut bench = early();
    let falls = |tick: i32| format!("{:.2} uF", 39.80 - 0.02 * f64::from(tick));
    let first = (1..200).find_map(|tick| bench.push("meter", &[&falls(tick)]).pop());
    let shown = first.as_deref().and_then(|said| said.strip_prefix("Anew ")).unwrap();
    assert!(shown.parse::<f64>().unwrap() < 38.0, "{shown}");
}
