//! Whether the leads still show what was taken.
use crate::check::testing::Bench;
use crate::testing::{at, held, job, reading};

/// One capacitance that has its value from `meter`.
fn taken() -> Bench {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    bench.settle("meter", "40.00 uF");
    bench.measuring = false;
    bench
}

fn shown(bench: &Bench) -> bool {
    bench.points.still_shown(None)
}

#[test]
fn a_value_is_live_while_its_leads_show_it() {
    let mut bench = taken();
    assert!(shown(&bench));
    bench.play("meter", "40.01 uF", 50);
    assert!(shown(&bench), "a count more is the same");
    assert_eq!(bench.points.settled(0).map(|settled| settled.until), Some(at(bench.ms)));
    bench.play("other", "0.00 uF", 50);
    assert!(shown(&bench), "another meter");
}

#[test]
fn it_is_past_once_they_come_off_and_stays_so() {
    for off in ["0.00 uF", "OL uF", "12.0 ohm"] {
        let mut bench = taken();
        let until = bench.points.settled(0).map(|settled| settled.until);
        bench.play("meter", off, 5);
        assert!(!shown(&bench), "{off}");
        bench.play("meter", "40.00 uF", 50);
        assert!(!shown(&bench), "{off}: the same value again is another contact");
        assert_eq!(bench.points.settled(0).map(|settled| settled.until), until);
    }
}

#[test]
fn a_held_display_shows_nothing_of_now() {
    let mut bench = taken();
    bench.ms += 100;
    bench.take("meter", held(bench.ms, "40.00 uF"));
    assert!(!shown(&bench));
}

#[test]
fn readings_that_no_longer_come_show_nothing_after_two_seconds() {
    let bench = taken();
    let live = |after_ms| bench.points.still_shown(Some(at(bench.ms + after_ms)));
    assert!(live(2_000) && !live(2_001));
    assert!(shown(&bench), "without a time nobody asks how old it is");
}

#[test]
fn a_slow_meter_has_three_of_its_own_intervals() {
    let mut bench = Bench::of(job(&[("capacitance", "uF")]));
    for s in 0..40 {
        bench.take("meter", reading(2_000 * s, "40.00 uF"));
    }
    assert!(bench.points.are_complete());
    let live = |after_ms: i64| bench.points.still_shown(Some(at(78_000 + after_ms)));
    assert!(live(6_000) && !live(6_001));
}

#[test]
fn points_that_the_same_leads_left_on_purpose_are_not_asked() {
    let mut bench = Bench::of(job(&[("c_herm", "uF"), ("c_fan", "uF")]));
    bench.settle("meter", "40.00 uF");
    bench.play("meter", "0.00 uF", 10);
    assert!(!shown(&bench), "between the two nothing is shown");
    bench.settle("meter", "5.00 uF");
    assert!(bench.points.are_complete() && shown(&bench), "the newest counts");
    bench.play("meter", "0.00 uF", 10);
    assert!(!shown(&bench));
}

#[test]
fn each_of_two_meters_must_show_its_own() {
    let mut bench = Bench::of(job(&[("amps", "A ac"), ("volts", "V ac")]));
    bench.play("clamp", "4.20 A ac", 100);
    bench.play("meter", "240.0 V ac", 100);
    assert!(bench.points.are_complete() && shown(&bench));
    bench.play("clamp", "OL A ac", 2);
    assert!(!shown(&bench));
}

#[test]
fn the_contact_goes_on_while_its_readings_come() {
    let mut bench = taken();
    let followed = |bench: &Bench, after_ms| bench.points.is_followed(0, at(bench.ms + after_ms));
    assert!(followed(&bench, 0) && !followed(&bench, 2_001));
    bench.play("meter", "40.00 uF", 10);
    assert!(followed(&bench, 0));
    bench.play("meter", "OL uF", 2);
    assert!(!followed(&bench, 0));
    assert!(!bench.points.is_followed(1, at(bench.ms)), "there is no such point");
}
