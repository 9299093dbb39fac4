//! Readings towards a danger, without a check around them: what is past, for which channel, and what is bounded.
use alloc::format;
use alloc::vec::Vec;

use quantity::{DeviceChannel, Reading, parse_typed};

use super::super::typed::typed_point;
use super::*;
use crate::plan::Binding;
use crate::testing::{at, endanger, job_of, point, reading, rule_error};

/// A job with a danger beyond so much of its first point.
fn job(points: &[(&str, &str)], beyond: Beyond, limit: f64) -> Job {
    let mut header =
        Header { points: points.iter().map(|(name, unit)| point(name, unit)).collect(), ..Header::default() };
    endanger(&mut header, 0, beyond, limit, &["flue gas safe"]);
    job_of(header, |_| Err(rule_error("nothing is judged here")))
}

/// Ten readings a second of this display; the first that is found.
fn play(
    dangers: &mut Dangers,
    job: &Job,
    device: &str,
    display: &str,
    from_ms: i64,
    n: i64,
) -> Option<Found> {
    (0..n).find_map(|i| dangers.read(job, device, &reading(from_ms + 100 * i, display), 1e-3))
}

fn said(found: Option<Found>) -> Vec<String> {
    let found = found.into_iter();
    found
        .flat_map(|f| f.judgements)
        .map(|j| format!("{} {:.0}", j.judgement.name, j.judgement.value))
        .collect()
}

#[test]
fn a_value_at_rest_past_the_limit_is_found_on_the_side_of_the_danger_alone() {
    for (beyond, display, wanted) in [
        (Beyond::Above, "401 ppm", "danger: co 401"),
        (Beyond::Above, "399 ppm", ""),
        (Beyond::Below, "399 ppm", "danger: co 399"),
        (Beyond::Below, "401 ppm", ""),
    ] {
        let job = job(&[("co", "ppm")], beyond, 400.0);
        let got = said(play(&mut Dangers::default(), &job, "meter", display, 0, 200));
        assert_eq!(got.join(""), wanted, "{beyond:?} {display}");
    }
}

#[test]
fn what_was_told_is_told_again_only_when_the_check_is_taken_again() {
    let job = job(&[("co", "ppm")], Beyond::Above, 400.0);
    let mut dangers = Dangers::default();
    assert!(play(&mut dangers, &job, "meter", "900 ppm", 0, 100).is_some());
    assert!(play(&mut dangers, &job, "meter", "900 ppm", 10_000, 100).is_none());
    dangers.lose_all();
    assert!(play(&mut dangers, &job, "bench", "900 ppm", 20_000, 100).is_none());
    dangers.forget();
    assert!(play(&mut dangers, &job, "bench", "900 ppm", 30_000, 100).is_some());
}

#[test]
fn a_typed_value_counts_as_it_is_and_overload_only_where_no_lead_can_be_open() {
    let typed = |unit: &str, limit: f64, value: &str| {
        let job = job(&[("x", unit)], Beyond::Above, limit);
        let (index, done) = typed_point(&job, "x", parse_typed(value).unwrap(), None, at(0)).unwrap();
        Dangers::default().typed(&job, index, done).is_some()
    };
    assert!(typed("ppm", 35.0, "36ppm") && !typed("ppm", 35.0, "35ppm"));
    assert!(typed("V dc", 50.0, "50100mV") && !typed("V dc", 50.0, "49900mV"));
    for (unit, counts) in
        [("ppm", true), ("psig", true), ("V dc", true), ("ohm", false), ("uF", false), ("°F", false)]
    {
        let job = job(&[("x", unit)], Beyond::Above, 50.0);
        let found = Dangers::default().typed_over(&job, "x", at(0));
        assert_eq!(found.is_some(), counts, "{unit}");
    }
    let below = job(&[("x", "ppm")], Beyond::Below, 50.0);
    assert!(Dangers::default().typed_over(&below, "x", at(0)).is_none(), "over is not below");
}

#[test]
fn what_is_beyond_the_range_is_known_to_be_past_the_limit_and_no_more() {
    let job = job(&[("co", "ppm")], Beyond::Above, 400.0);
    let found = play(&mut Dangers::default(), &job, "meter", "OL ppm", 0, 40).unwrap();
    assert_eq!((found.reading.open, found.reading.settled), (true, false));
    assert_eq!((found.reading.at_least, found.reading.at_most), (Some(400.0), None));
    assert_eq!(found.ends, ["flue gas safe"]);
    assert!(found.note.unwrap().contains("beyond the meter's range"));
}

#[test]
fn a_channel_that_is_bound_elsewhere_is_for_no_other_point() {
    let mut job = job(&[("liquid", "psig"), ("suction", "psig")], Beyond::Above, 600.0);
    let free = said(play(&mut Dangers::default(), &job, "low", "700 psig", 0, 200));
    assert_eq!(free, ["danger: liquid 700"]);
    job.plan.bindings.push(Binding { point: "suction".into(), from: DeviceChannel::new("low", 0) });
    assert!(play(&mut Dangers::default(), &job, "low", "700 psig", 0, 200).is_none());
    assert!(play(&mut Dangers::default(), &job, "high", "700 psig", 0, 200).is_some());
}

#[test]
fn channels_are_bounded_and_the_one_that_was_silent_longest_goes() {
    let job = job(&[("co", "ppm")], Beyond::Above, 400.0);
    let mut dangers = Dangers::default();
    for k in 0..200 {
        let _ = dangers.read(&job, &format!("meter {k}"), &reading(k, "12 ppm"), 1e-3);
    }
    assert_eq!(dangers.sources.len(), SOURCES_MAX);
    assert!(dangers.sources.iter().any(|source| source.from.device == "meter 199"));
    assert!(play(&mut dangers, &job, "meter 0", "900 ppm", 1_000, 100).is_some());
}

#[test]
fn a_reading_that_came_before_the_last_is_ignored() {
    let job = job(&[("co", "ppm")], Beyond::Above, 400.0);
    let mut dangers = Dangers::default();
    let same: Reading = reading(5_000, "900 ppm");
    assert!((0..100).all(|_| dangers.read(&job, "meter", &same, 1e-3).is_none()));
}
