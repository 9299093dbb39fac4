//! The points by themselves: what time, a lost link and a fresh start do to them.
use alloc::format;

use super::*;
use crate::check::testing::Bench;
use crate::testing::{at, job, reading};
use quantity::{Flags, Reading};

fn two_capacitances() -> Bench {
    Bench::of(job(&[("c_herm", "uF"), ("c_fan", "uF")]))
}

#[test]
fn a_steady_value_settles_and_the_last_one_completes_them() {
    let mut bench = two_capacitances();
    bench.settle("meter", "40.00 uF");
    assert_eq!(bench.stages(), ["has it from meter", "waits"]);
    assert!(!bench.points.are_complete() && bench.points.are_under_way());
    bench.play("meter", "0.00 uF", 10);
    bench.settle("meter", "5.00 uF");
    assert!(bench.points.are_complete());
    assert_eq!(
        bench.points.all_settled().map(|settled| settled.input.value).collect::<Vec<_>>(),
        [40.0, 5.0]
    );
}

#[test]
fn a_reading_is_too_old_to_be_judged_after_half_an_hour() {
    let mut bench = two_capacitances();
    bench.settle("meter", "40.00 uF");
    bench.play("meter", "OL uF", 1);
    let settled_at = bench.points.settled(0).unwrap().reading.at;
    let (points, due) = (&mut bench.points, settled_at + READING_LASTS);
    points.stop_settling();
    points.settled_mut(0).unwrap().after = None;
    assert_eq!(points.next_deadline(true), Some(due));
    assert_eq!(points.next_deadline(false), None, "after the word nothing is due");
    assert_eq!(points.work_off(true, settled_at + Duration::from_secs(30 * 60 - 1)).too_old, None);
    assert_eq!(points.work_off(false, due).too_old, None);
    assert_eq!(points.work_off(true, due).too_old, Some(0));
}

#[test]
fn a_link_that_goes_silent_under_a_contact_is_told_and_the_point_waits_again() {
    let mut bench = two_capacitances();
    bench.play("meter", "40.00 uF", 2);
    let due = bench.points.next_deadline(true).unwrap();
    assert!(due >= at(bench.ms) + Duration::from_secs(5), "not at once");
    let before = bench.points.work_off(true, due + Duration::from_micros(-1));
    assert!(!before.silent && bench.stages()[0] == "settles on meter");
    assert!(bench.points.work_off(true, due).silent);
    assert_eq!(bench.stages(), ["waits", "waits"]);
}

#[test]
fn a_meter_with_open_leads_that_goes_silent_is_no_loss() {
    let mut bench = two_capacitances();
    bench.play("meter", "0.00 uF", 2);
    let due = bench.points.next_deadline(true).unwrap();
    assert!(!bench.points.work_off(true, due).silent);
    assert_eq!(bench.stages(), ["waits", "waits"]);
}

#[test]
fn a_settled_value_outlives_the_silence_and_is_live_no_more() {
    let mut bench = two_capacitances();
    bench.settle("meter", "40.00 uF");
    assert!(bench.points.still_shown(None));
    let due = bench.points.next_deadline(false).unwrap();
    assert!(!bench.points.work_off(false, due).silent);
    assert!(!bench.points.still_shown(None));
    assert_eq!(bench.stages()[0], "has it from meter");
}

#[test]
fn a_value_that_never_comes_to_rest_is_given_up_with_the_reason() {
    let mut bench = Bench::of(job(&[("winding", "ohm")]));
    let mut given_up = None;
    for tick in 0..2_000_i64 {
        bench.push("meter", &[&format!("{}.0 ohm", 100 + tick)]);
        let due = bench.points.work_off(true, at(bench.ms));
        if due.given_up.is_some() {
            given_up = due.given_up;
            break;
        }
    }
    let (index, why) = given_up.unwrap();
    assert_eq!(index, 0);
    assert!(why.starts_with("it drifts: ") && why.contains("ohm a minute"), "{why}");
    assert_eq!(bench.stages(), ["waits"]);
}

#[test]
fn a_lost_link_loses_only_what_settles_on_it() {
    let three_kinds = job(&[("c_herm", "uF"), ("volts", "V ac"), ("amps", "A ac")]);
    let mut bench = Bench::of(three_kinds);
    bench.settle("meter", "40.00 uF");
    bench.play("volts", "120.0 V ac", 2);
    bench.play("clamp", "4.20 A ac", 2);
    assert!(!bench.points.lose("nobody"));
    assert!(!bench.points.lose("meter"), "its value was taken");
    assert!(
        bench.points.settled(0).is_some_and(|settled| settled.watch().is_none()),
        "and is not live any more"
    );
    assert!(bench.points.lose("clamp"));
    assert_eq!(bench.stages(), ["has it from meter", "settles on volts", "waits"]);
}

#[test]
fn a_point_that_is_taken_again_waits_and_the_others_keep_their_value() {
    let mut bench = two_capacitances();
    bench.settle("meter", "40.00 uF");
    bench.play("meter", "0.00 uF", 10);
    bench.settle("meter", "5.00 uF");
    let before = bench.points.take_again(0);
    assert!(before.is_some_and(|state| state.settled().is_some()));
    assert_eq!(bench.stages(), ["waits", "has it from meter"]);
    bench.points.forget();
    assert_eq!(bench.stages(), ["waits", "waits"]);
}

#[test]
fn what_still_settles_at_the_end_says_nothing_more() {
    let mut bench = two_capacitances();
    bench.settle("meter", "40.00 uF");
    bench.play("meter", "5.00 uF", 2);
    bench.points.stop_settling();
    assert_eq!(bench.stages(), ["has it from meter", "waits"]);
}

#[test]
fn a_low_battery_is_remembered_until_the_readings_are_taken_anew() {
    let mut bench = two_capacitances();
    bench.play("meter", "40.00 uF", 2);
    assert!(!bench.points.low_battery());
    let flags = Flags { low_battery: true, ..Flags::default() };
    bench.take("meter", Reading { flags, ..reading(bench.ms + 100, "40.00 uF") });
    bench.ms += 100;
    bench.settle("meter", "40.00 uF");
    assert!(bench.points.low_battery(), "of one reading among many");
    bench.points.forget();
    assert!(!bench.points.low_battery());
}
