//! Which point a reading belongs to.
use super::*;
use crate::check::testing::Bench;
use crate::testing::{bound, held, job, reading};

fn three_capacitances() -> Job {
    job(&[("c_herm", "uF"), ("c_fan", "uF"), ("herm_fan", "uF")])
}

/// The point that a display on this device would be for now.
fn point_for(bench: &Bench, device: &str, display: &str) -> Option<usize> {
    assigned(&bench.job, bench.points.states(), device, &reading(bench.ms + 100, display))
}

#[test]
fn the_first_point_that_waits_for_such_a_reading_takes_it() {
    let mut bench = Bench::of(job(&[("volts", "V ac"), ("c_herm", "uF"), ("c_fan", "uF")]));
    assert_eq!(point_for(&bench, "meter", "40.00 uF"), Some(1));
    assert_eq!(point_for(&bench, "meter", "240.0 V ac"), Some(0));
    assert_eq!(point_for(&bench, "meter", "24.0 V dc"), None, "ac is asked for");
    assert_eq!(point_for(&bench, "meter", "12.0 ohm"), None);
    bench.settle("meter", "40.00 uF");
    assert_eq!(point_for(&bench, "meter", "5.00 uF"), Some(2));
}

#[test]
fn a_point_that_settles_goes_on_before_an_earlier_one_that_waits() {
    let mut bench = Bench::of(three_capacitances());
    bench.settle("meter", "40.00 uF");
    bench.play("meter", "5.00 uF", 2);
    let _ = bench.points.take_again(0);
    assert_eq!(bench.stages(), ["waits", "settles on meter", "waits"]);
    assert_eq!(point_for(&bench, "meter", "5.00 uF"), Some(1));
}

#[test]
fn a_bound_point_takes_its_own_channel_and_no_other() {
    let bench = Bench::of(bound(three_capacitances(), "c_fan", "clip"));
    assert_eq!(point_for(&bench, "clip", "5.00 uF"), Some(1));
    assert_eq!(point_for(&bench, "meter", "5.00 uF"), Some(0));
    let other_channel = Reading { channel: 1, ..reading(100, "5.00 uF") };
    assert_eq!(assigned(&bench.job, bench.points.states(), "clip", &other_channel), Some(0));
    assert_eq!(point_for(&bench, "clip", "5.00 ohm"), None, "not what the point asks for");
}

#[test]
fn with_every_point_bound_a_stray_meter_takes_none() {
    let job = bound(bound(job(&[("liquid", "°C"), ("air", "°C")]), "liquid", "left"), "air", "right");
    let bench = Bench::of(job);
    assert_eq!(point_for(&bench, "left", "40.0 °C"), Some(0));
    assert_eq!(point_for(&bench, "right", "40.0 °C"), Some(1));
    assert_eq!(point_for(&bench, "stray", "40.0 °C"), None);
}

#[test]
fn a_second_meter_takes_nothing_while_the_first_is_on_a_point_or_has_one() {
    let mut bench = Bench::of(three_capacitances());
    bench.play("first", "40.00 uF", 2);
    assert_eq!(point_for(&bench, "second", "5.00 uF"), None, "the first settles");
    bench.settle("first", "40.00 uF");
    assert_eq!(point_for(&bench, "second", "5.00 uF"), None, "the first has a point");
    assert_eq!(point_for(&bench, "first", "5.00 uF"), Some(1));
}

#[test]
fn a_second_meter_may_measure_something_else() {
    let mut bench = Bench::of(job(&[("amps", "A ac"), ("volts", "V ac")]));
    bench.play("clamp", "4.20 A ac", 2);
    assert_eq!(point_for(&bench, "meter", "240.0 V ac"), Some(1));
}

#[test]
fn open_leads_push_nobody_aside_and_give_way_to_a_contact() {
    let mut bench = Bench::of(three_capacitances());
    bench.play("first", "0.00 uF", 2);
    assert_eq!(bench.stages()[0], "settles on first");
    assert_eq!(point_for(&bench, "second", "0.00 uF"), None);
    assert_eq!(point_for(&bench, "second", "40.00 uF"), Some(0));
}

#[test]
fn a_value_typed_in_keeps_no_meter_out() {
    let mut bench = Bench::of(three_capacitances());
    bench.settle("meter", "40.00 uF");
    bench.points.settled_mut(0).unwrap().typed = Some(quantity::Decimal::parse("40.00").unwrap());
    assert_eq!(point_for(&bench, "other", "5.00 uF"), Some(1));
}

#[test]
fn what_has_every_value_takes_no_more() {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    bench.settle("meter", "40.00 uF");
    assert_eq!(point_for(&bench, "meter", "40.00 uF"), None);
    let held = held(bench.ms + 100, "40.00 uF");
    assert_eq!(assigned(&bench.job, bench.points.states(), "meter", &held), None);
}
