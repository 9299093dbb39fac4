//! Readings of one moment: which of them are too early beside the newest one.
use super::*;
use crate::check::testing::Bench;
use crate::testing::{bound, job_of, point, rule_error};
use judge::rule::Header;
use quantity::Duration;

/// Suction and liquid lie at most a minute apart; the third has nothing to do with them.
fn pair() -> Job {
    let points =
        ["suction", "liquid", "amps"].map(|name| point(name, if name == "amps" { "A" } else { "psig" }));
    let moments = Vec::from([Moment { points: Vec::from([0, 1]), within: Duration::from_secs(60), line: 1 }]);
    let header = Header { points: points.into(), moments, ..Header::default() };
    job_of(header, |_| Err(rule_error("nothing is judged here")))
}

/// Each pressure has a probe of its own.
fn two_probes() -> Bench {
    Bench::of(bound(bound(pair(), "suction", "low"), "liquid", "high"))
}

fn early(bench: &Bench) -> Vec<usize> {
    too_early(&bench.job, bench.points.states())
}

#[test]
fn a_value_that_was_over_too_long_before_the_other_began_is_too_early() {
    for (silence_s, expected) in [(0, [].as_slice()), (3_600, &[0])] {
        let mut bench = two_probes();
        bench.settle("low", "118.0 psig");
        assert_eq!(early(&bench), [], "one value alone is never early");
        let until = bench.points.settled(0).unwrap().until;
        bench.ms += 1_000 * silence_s;
        bench.settle("high", "350.0 psig");
        let apart = bench.points.settled(1).unwrap().reading.at.since(until);
        assert_eq!(apart > Duration::from_secs(60), silence_s > 0, "{apart:?}");
        assert_eq!(early(&bench), expected);
    }
}

#[test]
fn a_minute_apart_is_of_one_moment_and_a_little_more_is_not() {
    let mut bench = two_probes();
    bench.settle("low", "118.0 psig");
    bench.settle("high", "350.0 psig");
    let newest = bench.points.settled(1).unwrap().reading.at;
    let early_from = |bench: &mut Bench, until: Instant| {
        bench.points.settled_mut(0).unwrap().until = until;
        early(bench)
    };
    let limit = newest + Duration::from_secs(-60);
    assert_eq!(early_from(&mut bench, limit), []);
    assert_eq!(early_from(&mut bench, limit + Duration::from_micros(-1)), [0]);
}

#[test]
fn a_value_that_its_probe_still_shows_is_of_every_moment() {
    let mut bench = two_probes();
    bench.settle("low", "118.0 psig");
    bench.play("low", "118.0 psig", 1_000);
    bench.settle("high", "350.0 psig");
    assert_eq!(early(&bench), [], "settled a minute and a half before, and shown until now");
}

#[test]
fn nothing_is_concluded_from_a_value_that_will_be_taken_again() {
    let mut bench = two_probes();
    bench.settle("low", "118.0 psig");
    let until = bench.points.settled(0).unwrap().until;
    let apart = |index, s| {
        is_apart_from_others(&bench.job, bench.points.states(), index, until + Duration::from_secs(s))
    };
    assert!(!apart(1, 60) && apart(1, 61));
    assert!(!apart(2, 3_600), "a point of no moment");
}

#[test]
fn a_value_outside_the_moment_may_be_as_old_as_it_likes() {
    let mut bench = two_probes();
    bench.settle("clamp", "4.20 A");
    bench.ms += 600_000;
    bench.settle("low", "118.0 psig");
    bench.settle("high", "350.0 psig");
    assert_eq!(early(&bench), []);
}

#[test]
fn only_a_probe_of_its_own_begins_anew_when_it_shows_something_else() {
    let bench = two_probes();
    assert!(follows_its_moment(&bench.job, 0) && follows_its_moment(&bench.job, 1));
    assert!(!follows_its_moment(&bench.job, 2), "of no moment");
    assert!(!follows_its_moment(&pair(), 0), "one meter for both is moved on");

    let mut bench = two_probes();
    bench.settle("low", "118.0 psig");
    bench.play("low", "60.0 psig", 3);
    assert_eq!(bench.stages()[0], "settles on low");
    let mut done = two_probes();
    done.settle("low", "118.0 psig");
    done.measuring = false;
    done.play("low", "60.0 psig", 3);
    assert_eq!(done.stages()[0], "has it from low", "behind the word it stays as it was");
}

#[test]
fn values_typed_far_apart_are_never_early_and_the_verdict_says_so() {
    let mut bench = two_probes();
    let mut type_in = |name, value, s: i64| {
        bench.ms = 1_000 * s;
        bench.type_in(name, value);
        (early(&bench), typed_apart(&bench.job, bench.points.states()))
    };
    assert_eq!(type_in("suction", "118 psig", 0), (Vec::new(), None));
    assert_eq!(type_in("liquid", "350 psig", 60), (Vec::new(), None));
    let says = "suction, liquid: typed in at different times; that they are of one moment is the word of whoever typed them";
    assert_eq!(type_in("liquid", "350 psig", 61), (Vec::new(), Some(says.into())));
}
