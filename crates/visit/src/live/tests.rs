//! The reading in view by itself: which device's it is, and what it says.
use super::*;
use crate::testing::{at, held, reading};

/// Takes a reading as it comes.
fn take(live: &mut Live, device: &str, ms: i64, display: &str, interest: Interest) {
    live.take(device, reading(ms, display), interest, at(ms));
}

fn seen(live: &Live, ms: i64) -> (String, String, LiveState, i64) {
    let view = live.view(String::new(), at(ms)).unwrap();
    (view.device, view.shown, view.state, view.age_ms)
}

fn state(live: &Live, ms: i64) -> LiveState {
    seen(live, ms).2
}

#[test]
fn what_the_check_wants_is_not_covered_by_others_for_two_seconds() {
    let mut live = Live::default();
    take(&mut live, "meter", 0, "40.00 uF", Interest::Wanted);
    for ms in [1, 1_000, 2_000] {
        take(&mut live, "probe", ms, "21.5 °C", Interest::Other);
        assert_eq!(live.device(), Some("meter"), "{ms} ms");
    }
    take(&mut live, "probe", 2_001, "21.5 °C", Interest::Other);
    assert_eq!(live.device(), Some("probe"));
    take(&mut live, "meter", 2_002, "40.00 uF", Interest::Wanted);
    assert_eq!(live.device(), Some("meter"), "at once");
}

#[test]
fn each_wanted_reading_keeps_the_view_anew() {
    let mut live = Live::default();
    for s in 0..10 {
        take(&mut live, "meter", 1_000 * s, "40.00 uF", Interest::Wanted);
        take(&mut live, "probe", 1_000 * s + 900, "21.5 °C", Interest::Other);
        assert_eq!(live.device(), Some("meter"));
    }
    take(&mut live, "clamp", 9_950, "4.20 A ac", Interest::Wanted);
    assert_eq!(live.device(), Some("clamp"), "both are wanted: the newest");
}

#[test]
fn the_same_meter_turned_to_what_is_not_wanted_waits_too() {
    let mut live = Live::default();
    take(&mut live, "meter", 0, "40.00 uF", Interest::Wanted);
    take(&mut live, "meter", 500, "0.2 V ac", Interest::Other);
    assert_eq!(seen(&live, 500).1, "40.00 uF");
}

#[test]
fn without_a_check_that_measures_the_newest_is_in_view() {
    let mut live = Live::default();
    assert_eq!((live.device(), live.view(String::new(), at(0))), (None, None));
    take(&mut live, "meter", 0, "40.00 uF", Interest::Wanted);
    take(&mut live, "probe", 100, "21.5 °C", Interest::None);
    assert_eq!(live.device(), Some("probe"));
    take(&mut live, "meter", 200, "40.00 uF", Interest::Other);
    assert_eq!(live.device(), Some("meter"), "what nobody wanted keeps nothing");
}

#[test]
fn a_reading_is_stale_after_two_seconds() {
    let mut live = Live::default();
    take(&mut live, "meter", 500, "40.00 uF", Interest::None);
    let shows = |state, age_ms| ("meter".to_string(), "40.00 uF".to_string(), state, age_ms);
    assert_eq!(seen(&live, 500), shows(LiveState::Live, 0));
    assert_eq!(seen(&live, 2_500), shows(LiveState::Live, 2_000));
    assert_eq!(seen(&live, 2_501), shows(LiveState::Stale, 2_001));
}

#[test]
fn a_lost_link_makes_it_stale_and_lets_others_in() {
    let mut live = Live::default();
    take(&mut live, "meter", 0, "40.00 uF", Interest::Wanted);
    live.lose(Some("probe"));
    assert_eq!(state(&live, 10), LiveState::Live, "another's link");
    live.lose(Some("meter"));
    assert_eq!(state(&live, 10), LiveState::Stale);
    take(&mut live, "probe", 20, "21.5 °C", Interest::Other);
    assert_eq!((live.device(), state(&live, 20)), (Some("probe"), LiveState::Live));
    live.lose(None);
    assert_eq!(state(&live, 30), LiveState::Stale, "every link");
    take(&mut live, "probe", 40, "21.5 °C", Interest::Other);
    assert_eq!(state(&live, 40), LiveState::Live, "it is back");
}

#[test]
fn what_is_no_live_number_says_so() {
    let mut live = Live::default();
    let mut of = |reading: Reading| {
        live.take("meter", reading, Interest::None, reading.at);
        state(&live, 0)
    };
    assert_eq!(of(reading(0, "OL ohm")), LiveState::Overload);
    assert_eq!(of(reading(0, "--- ohm")), LiveState::NoValue);
    assert_eq!(of(held(0, "40.00 uF")), LiveState::Held);
    assert_eq!(of(held(0, "OL ohm")), LiveState::Held, "an overload on hold is not live either");
    live.lose(None);
    assert_eq!(state(&live, 0), LiveState::Stale, "a lost link says most");
}
