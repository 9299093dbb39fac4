//! The values at which the word would change, seen from a point that settles.
use core::sync::atomic::{AtomicUsize, Ordering};

use super::*;
use crate::check::testing::Bench;
use crate::testing::{
    Judging, capacitance_38_to_42, job_of, judged, plate_item, point, reading, rule_error, within,
};
use judge::rule::{Answer, Header, Moment, Outcome};
use quantity::Duration;

/// The thresholds seen from the first point after some readings of a display.
fn seen(asking: &mut Asking, bench: &mut Bench, display: &str, decision: DecisionRule) -> Vec<f64> {
    bench.play("meter", display, 3);
    let last = reading(bench.ms, display);
    let from = Viewpoint::of(&bench.points, 0, &last, &bench.job.points()[0]).unwrap();
    asking.thresholds(&bench.job, &bench.points, from, decision)
}

fn seen_once(job: Job, display: &str, decision: DecisionRule) -> Vec<f64> {
    seen(&mut Asking::default(), &mut Bench::of(job), display, decision)
}

fn near(thresholds: &[f64], value: f64) -> bool {
    thresholds.iter().any(|threshold| (threshold - value).abs() < 1e-6)
}

#[test]
fn without_a_guard_band_the_word_changes_at_the_limits() {
    let thresholds = seen_once(capacitance_38_to_42(), "40.00 uF", DecisionRule::Simple);
    assert!(near(&thresholds, 38.0) && near(&thresholds, 42.0), "{thresholds:?}");
    assert!(thresholds.iter().all(|t| near(&[38.0, 42.0], *t)), "and nowhere else: {thresholds:?}");
}

/// ILAC-G8:09/2019, 4.2.3: w = U = 2 u; here u is the rounding alone, 0.01 uF / sqrt(12).
#[test]
fn with_a_guard_band_it_changes_there_and_a_band_away_on_both_sides() {
    let thresholds = seen_once(capacitance_38_to_42(), "40.00 uF", DecisionRule::default());
    let guard = 2.0 * 0.01 / 12.0_f64.sqrt();
    for limit in [38.0, 42.0] {
        for value in [limit - guard, limit, limit + guard] {
            assert!(near(&thresholds, value), "{value}: {thresholds:?}");
        }
    }
}

fn header(points: &[&str]) -> Header {
    Header { points: points.iter().map(|name| point(name, "uF")).collect(), ..Header::default() }
}

#[test]
fn near_a_fork_of_the_rule_only_rest_counts() {
    let forked = || {
        job_of(header(&["capacitance"]), |v| {
            let small = v[0] < 40.0;
            let judgement = within("capacitance", v[0], Some(if small { 38.0 } else { 39.8 }), None);
            Ok(Outcome { answer: Answer::Judgements(Vec::from([judgement])), path: u64::from(small) })
        })
    };
    assert_eq!(seen_once(forked(), "40.00 uF", DecisionRule::default()), []);
    assert!(near(&seen_once(forked(), "39.00 uF", DecisionRule::default()), 38.0));
}

#[test]
fn while_another_point_is_missing_only_rest_counts() {
    let sum = |v: &[f64]| judged(Vec::from([within("sum", v[0] + v[1], None, Some(50.0))]));
    let mut bench = Bench::of(job_of(header(&["c_herm", "c_fan"]), sum));
    assert_eq!(seen(&mut Asking::default(), &mut bench, "40.00 uF", DecisionRule::Simple), []);
    bench.type_in("c_fan", "5.00 uF");
    let thresholds = seen(&mut Asking::default(), &mut bench, "40.00 uF", DecisionRule::Simple);
    assert!(near(&thresholds, 45.0), "{thresholds:?}");
}

#[test]
fn where_nothing_can_be_judged_only_rest_counts() {
    let says_no: Judging = |_| Ok(Outcome { answer: Answer::NoVerdict("wrong leads".into()), path: 0 });
    let fails: Judging = |_| Err(rule_error("division by zero"));
    for judging in [says_no, fails] {
        assert_eq!(
            seen_once(job_of(header(&["capacitance"]), judging), "40.00 uF", DecisionRule::Simple),
            []
        );
    }
    let mut unrated = header(&["capacitance"]);
    unrated.nameplate.push(plate_item("capacitance", "uF"));
    let rated = job_of(unrated, |v| judged(Vec::from([within("capacitance", v[0], Some(v[1]), None)])));
    assert_eq!(seen_once(rated, "40.00 uF", DecisionRule::Simple), [], "the nameplate is not entered");
}

#[test]
fn beside_a_value_that_will_be_taken_again_only_rest_counts() {
    let mut header = header(&["liquid", "suction"]);
    let within_10_s = Duration::from_secs(10);
    header.moments.push(Moment { points: Vec::from([0, 1]), within: within_10_s, line: 1 });
    let each = |v: &[f64]| judged(v.iter().map(|v| within("each", *v, Some(38.0), None)).collect());
    let mut bench = Bench::of(job_of(header, each));
    bench.settle("meter", "40.00 uF");
    bench.play("meter", "0.00 uF", 10);
    bench.settle("meter", "40.00 uF");
    let _ = bench.points.take_again(0);
    assert!(!seen(&mut Asking::default(), &mut bench, "40.00 uF", DecisionRule::Simple).is_empty());
    bench.ms += 20_000;
    assert_eq!(seen(&mut Asking::default(), &mut bench, "40.00 uF", DecisionRule::Simple), []);
}

static RUNS: AtomicUsize = AtomicUsize::new(0);

#[test]
fn a_rule_is_not_run_anew_at_inputs_that_it_has_seen() {
    let job = job_of(header(&["capacitance"]), |v| {
        RUNS.fetch_add(1, Ordering::Relaxed);
        judged(Vec::from([within("capacitance", v[0], Some(38.0), Some(42.0))]))
    });
    let bench = Bench::of(job);
    let mut asking = Asking::default();
    let mut runs_at = |value| {
        let before = RUNS.load(Ordering::Relaxed);
        let input = Input { value, standard_uncertainty: 0.01 };
        let from = Viewpoint { index: 0, input, at: Instant::ZERO };
        assert!(!asking.thresholds(&bench.job, &bench.points, from, DecisionRule::default()).is_empty());
        RUNS.load(Ordering::Relaxed) - before
    };
    let first = runs_at(40.0);
    assert!(first > 0);
    assert_eq!((runs_at(40.0), runs_at(40.1), runs_at(40.0)), (0, first, first));
}

#[test]
fn it_keeps_the_judgement_on_the_way_for_the_picture() {
    let (mut asking, mut bench) = (Asking::default(), Bench::of(capacitance_38_to_42()));
    assert!(asking.evaluation().is_none());
    let _ = seen(&mut asking, &mut bench, "30.00 uF", DecisionRule::default());
    assert_eq!(asking.evaluation().map(Evaluation::word), Some(judge::limits::Word::Fail));
}

#[test]
fn there_is_no_view_from_a_point_that_does_not_settle_or_shows_no_value() {
    let mut bench = Bench::of(capacitance_38_to_42());
    let of = |bench: &Bench, display| {
        Viewpoint::of(&bench.points, 0, &reading(bench.ms, display), &bench.job.points()[0])
            .map(|from| from.input.value)
    };
    assert_eq!(of(&bench, "40.00 uF"), None, "nothing settles yet");
    bench.play("meter", "40.00 uF", 5);
    assert_eq!(of(&bench, "OL uF"), None);
    assert!(
        of(&bench, "41.00 uF").is_some_and(|value| (value - 40.0).abs() < 0.01),
        "the estimate, not the display"
    );
}
