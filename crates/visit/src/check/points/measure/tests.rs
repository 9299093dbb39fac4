//! Taking readings for points: overload that lasts, functions and ranges that change, open leads that look like a number.
use super::*;
use crate::check::testing::Bench;
use crate::testing::{at, job, point, reading};
use alloc::vec::Vec;

/// A coil and another: for both an open circuit is a finding.
fn coils() -> Bench {
    let mut coil = point("coil", "ohm");
    coil.open_counts_as = Some(1e6);
    let points = Vec::from([coil.clone(), Point { name: "other".into(), label: "other".into(), ..coil }]);
    let header = judge::rule::Header { points, ..judge::rule::Header::default() };
    Bench::of(crate::testing::job_of(header, |_| Err(crate::testing::rule_error("nothing is judged here"))))
}

const ASKS: &str = "The meter reads OL ohm, as on open leads. Are both leads on: coil? \
                    Yes: it is judged as an open circuit. No: clip on.";

#[test]
fn overload_is_asked_about_once_it_has_lasted_eight_seconds() {
    let mut bench = coils();
    assert_eq!(bench.play("meter", "OL ohm", 80), Vec::<String>::new(), "7.9 s");
    assert_eq!(bench.play("meter", "OL ohm", 1), [ASKS]);
    assert!(bench.points.reads_open(0));
    assert_eq!(bench.points.take_open_run(0).map(|from| from.device).as_deref(), Some("meter"));
    assert_eq!(bench.points.take_open_run(0), None, "one yes is one open circuit");
}

#[test]
fn a_touch_in_between_begins_the_eight_seconds_anew() {
    let mut bench = coils();
    bench.play("meter", "OL ohm", 79);
    bench.play("meter", "12.0 ohm", 1);
    bench.play("meter", "OL ohm", 6);
    assert_eq!(bench.play("meter", "OL ohm", 70), Vec::<String>::new());
}

#[test]
fn another_meter_in_between_begins_them_anew_too() {
    let mut bench = coils();
    bench.play("meter", "OL ohm", 79);
    bench.play("other", "OL ohm", 1);
    assert_eq!(bench.play("meter", "OL ohm", 79), Vec::<String>::new());
}

#[test]
fn where_an_open_circuit_is_no_finding_overload_is_open_leads_for_ever() {
    let mut bench = Bench::of(job(&[("winding", "ohm")]));
    let said = bench.play("meter", "OL ohm", 300);
    assert!(said.iter().all(|said| said == "not taken"), "{said:?}");
    assert_eq!(bench.stages(), ["waits"]);
}

#[test]
fn a_held_overload_is_not_asked_about() {
    let mut bench = coils();
    for _ in 0..200 {
        bench.ms += 100;
        let said = bench.take("meter", crate::testing::held(bench.ms, "OL ohm"));
        assert!(!said.iter().any(|said| said == ASKS));
    }
}

#[test]
fn open_leads_that_look_like_a_number_are_asked_about_too() {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    assert_eq!(bench.play("meter", "0.01 uF", 80), Vec::<String>::new());
    let asks = "The meter reads 0.01 uF, as on open leads. Are both leads on the part? \
                Yes: it is judged as an open part. No: clip on.";
    assert_eq!(bench.play("meter", "0.01 uF", 1), [asks]);
    assert!(bench.points.reads_open(0));
    let done = bench.points.as_displayed(0, &bench.job.points()[0], at(bench.ms)).unwrap();
    assert_eq!((done.input.value, done.reading.count, done.reading.open), (0.01, 1, false));
}

#[test]
fn leads_that_come_off_in_the_middle_are_told_and_what_settled_is_thrown_away() {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    assert_eq!(bench.push("meter", &["12.00 uF", "30.00 uF", "0.00 uF"]), Vec::<String>::new(), "it bounced");
    bench.push("meter", &["12.00 uF", "30.00 uF", "36.00 uF", "38.00 uF"]);
    assert!(bench.points.states()[0].is_in_contact());
    assert_eq!(bench.play("meter", "0.00 uF", 10), ["leads lifted"]);
    assert!(!bench.points.states()[0].is_in_contact());
}

#[test]
fn a_meter_turned_to_another_function_throws_away_what_settled_on_it() {
    let mut bench = Bench::of(job(&[("capacitance", "uF"), ("volts", "V ac")]));
    bench.play("meter", "40.00 uF", 2);
    bench.play("other", "240.0 V ac", 2);
    assert_eq!(bench.play("meter", "1.0 ohm", 1), ["another function"]);
    assert_eq!(bench.stages(), ["waits", "settles on other"]);
    bench.play("meter", "0.00 uF", 2);
    assert_eq!(bench.play("meter", "1.0 ohm", 1), Vec::<String>::new(), "there was no contact");
}

#[test]
fn another_range_begins_anew_without_a_word() {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    assert_eq!(bench.push("meter", &["9.99 uF", "9.99 uF", "40.0 uF"]), Vec::<String>::new());
    let in_contact_since = |bench: &Bench| bench.points.states()[0].settling().and_then(|s| s.contact_since);
    assert_eq!(in_contact_since(&bench), Some(at(100)), "the patience goes on");
    bench.settle("meter", "40.0 uF");
    assert_eq!(bench.points.settled(0).unwrap().input.value, 40.0, "nothing of the other range is in it");
}

#[test]
fn a_reading_without_a_number_begins_nothing() {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    assert_eq!(bench.play("meter", "--- uF", 1), ["not taken"]);
    assert_eq!(bench.stages(), ["waits"]);
}

#[test]
fn a_value_is_taken_in_the_rules_unit_and_shown_in_the_meters() {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    bench.settle("meter", "400.0 nF");
    let settled = bench.points.settled(0).unwrap();
    assert!((settled.input.value - 0.4).abs() < 1e-12);
    assert_eq!(settled.reading.shown.to_f64(), 400.0);
    assert_eq!(settled.reading.display.unit, reading(0, "1 nF").display.unit);
}

#[test]
fn a_point_that_is_taken_again_has_eight_seconds_to_be_clipped_on() {
    let mut bench = coils();
    bench.play("meter", "OL ohm", 81);
    let _ = bench.points.take_again(1);
    assert!(bench.points.reads_open(0), "the other point");
    let _ = bench.points.take_again(0);
    assert!(!bench.points.reads_open(0));
    assert_eq!(bench.play("meter", "OL ohm", 80), Vec::<String>::new());
    assert_eq!(bench.play("meter", "OL ohm", 1), [ASKS]);
}

#[test]
fn overload_before_a_lost_link_says_nothing_of_the_leads_now() {
    let mut bench = coils();
    bench.play("meter", "OL ohm", 81);
    let _ = bench.points.lose("other");
    assert!(bench.points.reads_open(0), "the link of another");
    let _ = bench.points.lose("meter");
    assert!(!bench.points.reads_open(0));
    assert_eq!(bench.points.take_open_run(0), None);
    assert_eq!(bench.play("meter", "OL ohm", 80), Vec::<String>::new());
}
