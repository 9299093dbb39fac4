//! One contact by its parts: what it keeps, when it begins anew, what it waits for and for how long. The looks
//! themselves are tested in `window`.

use super::*;

mod looks;
mod stops;

/// A display step of 0.01, noise of at most 0.03, nothing counts as bounce; time constants of 2 s and 6 s.
fn spec() -> SettleSpec {
    SettleSpec { bounce_s: 0.0, ..SettleSpec::resistance(0.01) }
}

fn at(t_s: f64) -> Instant {
    #[allow(clippy::cast_possible_truncation)]
    Instant::from_micros((t_s * 1e6) as i64)
}

/// A contact that has seen these, the first at 0 s.
fn seen(values: &[f64], every_s: f64, spec: &SettleSpec) -> Contact {
    let mut contact = Contact::begin(at(0.0), values[0], spec);
    for (i, value) in (1..).zip(&values[1..]) {
        contact.append(at(every_s * f64::from(i)), *value, spec);
    }
    contact
}

/// The looks say this, around the middle.
fn looks(low: f64, high: f64) -> (Interval, Option<Bounds>) {
    let middle = 0.5 * (low + high);
    let bounds = Bounds {
        low,
        high,
        level: middle,
        estimate: middle,
        standard_uncertainty: 0.1,
        scatter: 0.01,
        moving: false,
    };
    (Interval { low, high }, Some(bounds))
}

/// Twelve quiet readings, one a second, whose looks say `low` to `high`.
fn resting(low: f64, high: f64) -> Contact {
    let mut contact = seen(&[5.0; 12], 1.0, &spec());
    (contact.now, contact.best_now) = looks(low, high);
    (contact.all, contact.best) = looks(low, high);
    contact
}

fn moving(state: Settling) -> Moving {
    match state {
        Settling::Moving(moving) => moving,
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_half_width_falls_with_the_square_root_of_the_count() {
    let contact = resting(4.0, 6.0);
    let spec = SettleSpec { settle_floor: 0.25, ..spec() };
    let left = |thresholds: &[f64], half_width| contact.readings_left(&spec, thresholds, 5.0, half_width);
    // Half as wide takes four times as many readings: 12 stand, 36 are to come. No threshold: down to the floor.
    assert_eq!(left(&[], 0.5), 36);
    // A third as wide, nine times as many; the nearest threshold counts, on either side.
    assert_eq!(left(&[5.5, 4.0, 7.0], 1.5), 96);
    assert_eq!(left(&[4.5, 6.0], 1.5), 96);
    // A threshold nearer than the floor: no reading comes nearer than that.
    assert_eq!(left(&[5.1], 0.5), 36);
    // 12 x (1.25^2 - 1) = 6.75, and a part of a reading is a reading.
    assert_eq!(left(&[5.4], 0.5), 7);
    // Narrow enough: at least one more. And no count beyond 999.
    assert_eq!(left(&[], 0.25), 1);
    assert_eq!(left(&[], 0.1), 1);
    assert_eq!(left(&[], 25.0), 999);
}

#[test]
fn the_count_is_given_with_the_interval_of_all_looks_and_never_for_a_drift() {
    let contact = resting(4.5, 5.5);
    let spec = SettleSpec { settle_floor: 0.25, ..spec() };
    let waits = moving(contact.moving(&spec, &[], None));
    assert_eq!((waits.estimate, waits.half_width, waits.readings_left), (5.0, 0.5, Some(36)));
    assert_eq!((waits.rate_per_s, waits.pace), (None, Pace::Assumed(2.0)));
    let drifts = moving(contact.moving_at(Some(0.1), &spec, &[], Some(MovingReason::Drifting)));
    assert_eq!((drifts.readings_left, drifts.rate_per_s), (None, Some(0.1)));
    // Nothing is known yet: the last reading is the best guess, and no count is given.
    let first = moving(seen(&[5.0, 6.0], 1.0, &spec).moving(&spec, &[], None));
    assert_eq!((first.estimate, first.half_width, first.readings_left), (6.0, f64::INFINITY, None));
}

#[test]
fn what_makes_up_a_quarter_of_the_width_to_both_sides_is_what_makes_it_wide() {
    let eight = resting(1.0, 9.0);
    assert!(eight.mostly(1.0) && !eight.mostly(0.99) && !eight.mostly(0.0));
    let thirteen = resting(0.0, 13.0);
    assert!(thirteen.mostly(1.625) && !thirteen.mostly(1.5));
    assert!(!resting(5.0, 5.0).mostly(0.0), "nothing makes nothing wide");
}

#[test]
fn the_reason_is_the_first_that_holds() {
    let spec = SettleSpec { charging: true, ..spec() };
    let mut contact = resting(1.0, 9.0);
    assert_eq!(contact.reason(&spec), MovingReason::Noisy);
    contact.rebound = 1.0;
    assert_eq!(contact.reason(&spec), MovingReason::Overshooting);
    contact.best = contact.best.map(|best| Bounds { moving: true, ..best });
    assert_eq!(contact.reason(&spec), MovingReason::Approaching);
    contact.best = None;
    assert_eq!(contact.reason(&spec), MovingReason::Approaching);
    contact.wander = 1.0;
    assert_eq!(contact.reason(&spec), MovingReason::Averaging);
    contact.slope = Some(0.1);
    assert_eq!(contact.reason(&spec), MovingReason::Slow);
    contact.suspect = Some((at(12.0), 9.0));
    assert_eq!(contact.reason(&spec), MovingReason::Bouncing);
    contact.suspect = None;
    for obs in &mut contact.obs {
        obs.bouncing = true;
    }
    assert_eq!(contact.reason(&spec), MovingReason::Bouncing);
}

#[test]
fn a_climb_on_a_charging_range_is_charging_for_two_of_the_longest_time_constants() {
    let charging = SettleSpec { charging: true, ..spec() };
    // 12 s: the last reading that counts comes before.
    for (every_s, is_charging) in [(5.99, true), (6.0, false)] {
        let contact = seen(&[1.0, 2.0, 3.0], every_s, &charging);
        assert_eq!(contact.reason(&charging) == MovingReason::Charging, is_charging, "{every_s}");
        assert_eq!(contact.reason(&spec()), MovingReason::Approaching);
    }
    assert_eq!(seen(&[3.0, 2.0, 1.0], 1.0, &charging).reason(&charging), MovingReason::Approaching);
}

#[test]
fn a_first_value_below_a_twentieth_of_the_second_was_that_of_open_leads() {
    for (first, anew) in [(0.49, true), (-0.49, true), (0.5, false)] {
        let mut contact = seen(&[first], 1.0, &spec());
        let state = contact.weigh_step(at(1.0), 10.0, &spec());
        assert_eq!(state.is_some(), anew, "{first}");
        assert_eq!((contact.since == at(1.0), contact.obs[0].value == 10.0), (anew, anew));
    }
    // With three readings the contact has been seen; this is a jump.
    let mut contact = seen(&[0.1, 0.1, 0.1], 1.0, &spec());
    assert_eq!(contact.weigh_step(at(3.0), 10.0, &spec()), Some(Settling::BounceRejected));
    assert_eq!(contact.since, at(0.0));
}

#[test]
fn one_jump_is_set_aside_and_with_the_second_the_contact_begins_anew_at_the_first() {
    let mut contact = seen(&[5.0; 6], 1.0, &spec());
    assert_eq!(contact.weigh_step(at(6.0), 9.0, &spec()), Some(Settling::BounceRejected));
    assert!(contact.has_suspect() && contact.n == 6);
    // It comes back: fair, and nothing is suspect.
    assert_eq!(contact.weigh_step(at(7.0), 5.0, &spec()), None);
    assert!(!contact.has_suspect());
    let _ = contact.weigh_step(at(8.0), 9.0, &spec());
    let state = contact.weigh_step(at(9.0), 9.1, &spec()).unwrap();
    assert_eq!(moving(state).reason, MovingReason::Bouncing);
    assert_eq!((contact.since, contact.n), (at(8.0), 2));
    assert_eq!(contact.obs.iter().map(|obs| obs.value).collect::<Vec<_>>(), [9.0, 9.1]);
}

#[test]
fn a_step_that_runs_on_begins_the_contact_anew_and_on_a_charging_range_it_charges() {
    let charging = SettleSpec { charging: true, ..spec() };
    for (spec, sign, reason) in [
        (charging, 1.0, MovingReason::Charging),
        (charging, -1.0, MovingReason::Approaching),
        (spec(), 1.0, MovingReason::Approaching),
    ] {
        let mut contact = seen(&[5.0 * sign, 6.0 * sign, 7.0 * sign], 1.0, &spec);
        // Steps of 1, then one of 3: eight noises of 0.03 are 0.24.
        let state = contact.weigh_step(at(3.0), 10.0 * sign, &spec).unwrap();
        assert_eq!((moving(state).reason, contact.n, contact.since), (reason, 1, at(3.0)));
    }
    // From below to zero is no charge.
    let mut contact = seen(&[-7.0, -6.0, -5.0], 1.0, &charging);
    let state = contact.weigh_step(at(3.0), 0.0, &charging).unwrap();
    assert_eq!(moving(state).reason, MovingReason::Approaching);
    let mut contact = seen(&[-5.0, -3.0, -1.0], 1.0, &charging);
    let state = contact.weigh_step(at(3.0), 0.0, &charging);
    assert_eq!(state, None, "smaller than the step before");
}

#[test]
fn readings_are_kept_32_to_the_time_since_contact_and_24_to_the_longest_time_constant() {
    let spare = |last_s: f64, now_s: f64| {
        let mut contact = seen(&[5.0], 1.0, &spec());
        contact.append(at(last_s), 5.0, &spec());
        contact.is_spare(at(now_s), &spec())
    };
    // 3.2 s in: a thirty-second part is 0.1 s.
    assert!(spare(3.11, 3.2) && !spare(3.1, 3.2) && !spare(3.0, 3.2));
    // 32 s in that would be 1 s; 6 s / 24 is less.
    assert!(spare(31.76, 32.0) && !spare(31.75, 32.0));
    // Counted from contact.
    let mut late = Contact::begin(at(100.0), 5.0, &spec());
    late.append(at(103.0), 5.0, &spec());
    assert!(!late.is_spare(at(103.2), &spec()));
}

#[test]
fn a_run_of_equal_digits_begins_with_the_reading_that_changed_kept_or_not() {
    let mut contact = seen(&[5.0, 5.0, 5.1, 5.1], 1.0, &spec());
    assert_eq!(contact.run_since, at(2.0));
    contact.pass_over(at(3.5), 5.1);
    assert_eq!(contact.run_since, at(2.0));
    contact.pass_over(at(3.6), 5.2);
    assert_eq!(contact.run_since, at(3.6));
}

#[test]
fn each_reading_is_kept_with_its_time_and_the_decay_since_the_one_before() {
    let spec = SettleSpec { bounce_s: 1.5, ..spec() };
    let mut contact = Contact::begin(at(10.0), 5.0, &spec);
    for t_s in [11.0, 11.5, 13.0] {
        contact.append(at(t_s), 5.0, &spec);
    }
    let of = |contact: &Contact| contact.obs.iter().map(|o| (o.t_s, o.bouncing)).collect::<Vec<_>>();
    assert_eq!(of(&contact), [(0.0, true), (1.0, true), (1.5, false), (3.0, false)]);
    // exp(-t / tau): exp(-1 / 2), exp(-1 / 4), exp(-3 / 4).
    let near = |contact: &Contact, decays: [f64; 4]| {
        contact.obs.iter().zip(decays).all(|(obs, decay)| (obs.decay - decay).abs() < 1e-6)
    };
    assert!(near(&contact, [1.0, 0.606_531, 0.778_801, 0.472_367]));
    // exp(-1 / 4), exp(-1 / 8), exp(-3 / 8).
    contact.take_tau(4.0);
    assert!(near(&contact, [1.0, 0.778_801, 0.882_497, 0.687_289]));
    contact.append(at(14.0), 5.0, &spec);
    assert!((contact.obs[4].decay - 0.778_801).abs() < 1e-6);
    assert!(!seen(&[5.0], 1.0, &SettleSpec { bounce_s: 0.0, ..spec }).obs[0].bouncing);
}

#[test]
fn of_more_than_256_readings_the_newest_half_is_kept_and_all_are_counted() {
    let contact = seen(&[5.0; 256], 1.0, &spec());
    assert_eq!((contact.n, contact.dropped, contact.obs.len()), (256, 0, 256));
    let contact = seen(&[5.0; 257], 1.0, &spec());
    assert_eq!((contact.n, contact.dropped, contact.obs.len()), (257, 128, 129));
    assert_eq!(contact.obs[0].t_s, 128.0);
    let contact = seen(&[5.0; 385], 1.0, &spec());
    assert_eq!((contact.n, contact.dropped, contact.obs.len()), (385, 256, 129));
}

#[test]
fn a_step_of_more_than_ten_noises_breaks_the_contact_and_nothing_before_it_counts() {
    let mut contact = resting(4.9, 5.1);
    contact.append(at(12.0), 5.31, &spec());
    assert_eq!((contact.broken_at, contact.all, contact.best.is_none()), (12, Interval::UNKNOWN, true));
    let mut contact = resting(4.9, 5.1);
    contact.append(at(12.0), 5.29, &spec());
    assert_eq!((contact.broken_at, contact.all.low, contact.best.is_some()), (FIRST, 4.9, true));
    // The first step is from a partial conversion.
    assert_eq!(seen(&[1.0, 5.0], 1.0, &spec()).broken_at, FIRST);
    assert_eq!(seen(&[1.0, 5.0, 9.0], 1.0, &spec()).broken_at, 2);
    // The step goes on as an approach does, 0.6 and then 0.3: a window may begin at its foot. Not where it stops.
    assert_eq!(seen(&[5.0, 5.0, 5.0, 5.6, 5.9], 1.0, &spec()).broken_at, 2);
    assert_eq!(seen(&[5.0, 5.0, 5.0, 5.6, 5.6], 1.0, &spec()).broken_at, 3);
    // Only for the very next reading, and never before the first whole one.
    assert_eq!(seen(&[5.0, 5.0, 5.0, 5.6, 5.9, 6.05], 1.0, &spec()).broken_at, 2);
    assert_eq!(seen(&[5.0, 5.6, 5.9, 6.05], 1.0, &spec()).broken_at, FIRST);
}
