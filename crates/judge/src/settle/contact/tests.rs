//! One contact by its parts: what it keeps, when it begins anew, what it waits for and for how long, when it stops. The looks
//! themselves are tested in `window`.

use super::super::thresholds::Thresholds;
use super::*;

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

#[test]
fn the_first_look_is_at_the_two_readings_after_the_first() {
    let mut contact = seen(&[4.0, 5.0, 5.0], 1.0, &spec());
    let looked = |contact: &mut Contact| contact.look_at_all(&spec(), &Starts::new());
    looked(&mut contact);
    // Its share of 0.001: 0.04 of the length, 1 / (2^1.5 x 1.302) of the start; half of it to each side: z = 4.400. Noise of
    // at most 0.03, so 0.13200. Of an approach of 2 s there is left exp(-1 / 2) / (1 - exp(-1 / 2)) = 1.54149 of the step between the two:
    // 0.13200 x sqrt(2.54149^2 + 1.54149^2) = 0.39236, and half a display step x (1 + 2 x 1.54149) = 0.02041.
    for interval in [contact.now, contact.all] {
        assert!((interval.high - 5.0 - 0.41277).abs() < 2e-4, "{interval:?}");
        assert!((5.0 - interval.low - 0.41277).abs() < 2e-4, "{interval:?}");
    }
    // With two readings there is none.
    let mut contact = seen(&[4.0, 5.0], 1.0, &spec());
    looked(&mut contact);
    assert_eq!((contact.now, contact.best.is_none()), (Interval::UNKNOWN, true));
}

#[test]
fn the_looks_at_the_newest_reading_count_for_now_and_all_that_ever_were_for_all() {
    let starts = Starts::new();
    let mut contact = seen(&[5.0; 10], 1.0, &spec());
    contact.look_at_all(&spec(), &starts);
    let before = contact.all;
    contact.append(at(10.0), 5.1, &spec());
    contact.look_at_all(&spec(), &starts);
    assert!(contact.all.width() <= before.width() && contact.now.width() > contact.all.width());
    assert!(contact.best_now.unwrap().width() >= contact.best.unwrap().width());
    // They contradict each other: the value has walked, and a new stretch begins with the newest reading.
    contact.all = Interval { low: 9.0, high: 9.1 };
    contact.look_at_all(&spec(), &starts);
    assert_eq!((contact.stretch_at, contact.broken_at), (10, 10));
    assert_eq!((contact.all, contact.now), (Interval::UNKNOWN, Interval::UNKNOWN));
    assert!(contact.best.is_none() && contact.best_now.is_none());
}

#[test]
fn of_all_looks_the_narrowest_is_the_best_and_its_scatter_is_that_of_a_reading() {
    let mut two = seen(&[4.0, 5.0, 5.0], 1.0, &spec());
    two.look_at_all(&spec(), &Starts::new());
    let mut ten = seen(&[5.0; 10], 1.0, &spec());
    assert_eq!(ten.scatter(&spec()), spec().noise_floor);
    ten.look_at_all(&spec(), &Starts::new());
    let (first, best, best_now) = (two.best.unwrap(), ten.best.unwrap(), ten.best_now.unwrap());
    assert!(best.width() < 0.5 * first.width() && best_now.width() < 0.5 * first.width());
    assert!(best_now.width() >= ten.now.width());
    ten.best = Some(Bounds { scatter: 0.02, ..best });
    assert_eq!(ten.scatter(&spec()), 0.02);
}

#[test]
fn nothing_before_a_break_says_how_fast_it_moves() {
    let mut values = [1.0; 14];
    values[6..].fill(5.0);
    let mut contact = seen(&values, 1.0, &spec());
    contact.look_at_all(&spec(), &Starts::new());
    assert_eq!((contact.broken_at, contact.tau_s, contact.slope), (6, 2.0, None));
    // Eight readings since: enough to tell what they may hide.
    let middle = Interval { low: 5.0, high: 5.0 };
    assert_eq!(
        contact.unseen.widen(middle, 5.0),
        Unseen::of(&contact.obs[6..], &spec(), false).widen(middle, 5.0)
    );
    assert!(contact.unseen.widen(middle, 5.0).width() > 0.0);
    // And the readings before the last whole window are none of its business when they have been dropped.
    let mut values = [5.0; 300];
    values[0] = 1.0;
    let mut contact = seen(&values, 1.0, &spec());
    contact.look_at_all(&spec(), &Starts::new());
    assert_eq!((contact.dropped, contact.tau_s), (128, 2.0));
}

#[test]
fn what_hangs_together_is_sought_over_all_lengths() {
    // A slow wave of two counts, 24 readings long, and the partial one before it.
    let mut values = [5.0; 25];
    for (i, value) in (0..).zip(&mut values) {
        *value += 0.02 * libm::cos(core::f64::consts::TAU * f64::from(i) / 23.0);
    }
    let mut contact = seen(&values, 1.0, &spec());
    contact.look_at_all(&spec(), &Starts::new());
    // Of a whole wave the deviation is 0.02 / sqrt(2), less what is seen from reading to reading (the floor, 1.2 of it).
    let expected = 4.0 * (0.5 * 0.02_f64.powi(2) * 24.0 / 23.0 - (1.2 * spec().noise_floor).powi(2)).sqrt();
    assert!((contact.wander / expected - 1.0).abs() < 0.05, "{} {expected}", contact.wander);
}

#[test]
fn a_slope_leads_on_for_four_of_the_longest_time_constants_or_for_as_long_as_the_spec_says() {
    let spec = SettleSpec { tau_s: 1.0, tau_max_s: 2.0, ..spec() };
    let climb: Vec<f64> = (0..30).map(|i| 5.0 + 0.05 * f64::from(i)).collect();
    let now = |slope_s: f64| {
        let mut contact = seen(&climb, 1.0, &spec);
        contact.look_at_all(&SettleSpec { slope_s, ..spec }, &Starts::new());
        assert!((contact.slope.unwrap() - 0.05).abs() < 1e-9);
        contact.now
    };
    // 0.05 x 4 x 2 = 0.4; for 20 s it is 1.0, and for 4 s 0.2, which is less.
    let (bare, long, short) = (now(0.0), now(20.0), now(4.0));
    assert!((long.high - bare.high - 0.6).abs() < 1e-9 && (long.low - bare.low).abs() < 1e-12);
    assert_eq!(short, bare);
}

#[test]
fn readings_that_go_to_and_fro_are_no_approach_though_their_last_two_steps_fade() {
    // 0.14 to either side, far beyond the noise of 0.03; the last two steps are 0.15 and 0.10.
    let mut values = [5.0; 24];
    values.iter_mut().step_by(2).for_each(|value| *value = 5.28);
    (values[21], values[22], values[23]) = (5.0, 5.15, 5.25);
    let mut contact = seen(&values, 1.0, &spec());
    contact.look_at_all(&spec(), &Starts::new());
    assert!(watch::fading(&contact.obs));
    // Not the noise of 0.03: four deviations of 0.14 to each side.
    assert!(contact.now.width() > 1.12, "{:?}", contact.now);
}

#[test]
fn it_stands_with_three_conversions_or_with_two_a_second_apart_once_the_probe_has_had_its_time() {
    let stands = |values: &[f64], every_s: f64, spec: &SettleSpec| {
        let mut contact = seen(values, every_s, spec);
        (contact.now, contact.best_now) = looks(4.0, 6.0);
        contact.stands(at(every_s * (values.len() - 1) as f64), spec)
    };
    // The first saw a part only.
    assert!(stands(&[5.0; 4], 0.25, &spec()) && !stands(&[5.0; 3], 0.25, &spec()));
    assert!(stands(&[5.0; 3], 1.0, &spec()) && !stands(&[5.0; 3], 0.99, &spec()));
    assert!(!stands(&[5.0; 2], 2.0, &spec()));
    // A break: three after it, or two a second apart.
    assert!(!stands(&[1.0, 1.0, 5.0, 5.0], 0.25, &spec()));
    assert!(stands(&[1.0, 1.0, 5.0, 5.0, 5.0], 0.25, &spec()));
    assert!(stands(&[1.0, 1.0, 5.0, 5.0], 1.0, &spec()));
    assert!(!stands(&[1.0, 1.0, 1.0, 5.0], 1.0, &spec()));
    // The step goes on as an approach does: the break is no bounce. 3, then 2.
    assert!(stands(&[1.0, 1.0, 4.0, 6.0], 0.25, &spec()));
    // A probe that has its time.
    let probe = SettleSpec { least_s: 5.0, ..spec() };
    assert!(stands(&[5.0; 6], 1.0, &probe) && !stands(&[5.0; 6], 0.99, &probe));
    // No look has said anything.
    assert!(!seen(&[5.0; 6], 1.0, &spec()).stands(at(5.0), &spec()));
}

#[test]
fn it_is_at_rest_within_two_floors_or_after_the_time_limit_with_nothing_but_noise_left() {
    let spec = SettleSpec { settle_floor: 0.5, time_limit_s: 11.0, ..spec() };
    let rest = |contact: &Contact, now_s| contact.rest(at(now_s), &spec);
    assert_eq!(rest(&resting(4.5, 5.5), 2.0), Some(How::FullySettled));
    let wide = resting(4.0, 6.0);
    assert_eq!((rest(&wide, 10.9), rest(&wide, 11.0)), (None, Some(How::TimeLimit)));
    // Eight readings at least, since the last break too.
    for (broken_at, how) in [(4, Some(How::TimeLimit)), (5, None)] {
        assert_eq!(rest(&Contact { broken_at, ..wide.clone() }, 11.0), how);
    }
    // Still moving, sloping, or the newest looks much wider than those before.
    let best_now = wide.best_now.map(|best| Bounds { moving: true, ..best });
    assert_eq!(rest(&Contact { best_now, ..wide.clone() }, 11.0), None);
    assert_eq!(rest(&Contact { slope: Some(0.1), ..wide.clone() }, 11.0), None);
    for (half, how) in [(0.67, Some(How::TimeLimit)), (0.66, None)] {
        let all = Interval { low: 5.0 - half, high: 5.0 + half };
        assert_eq!(rest(&Contact { all, ..wide.clone() }, 11.0), how, "{half}");
    }
    assert_eq!(rest(&Contact { now: Interval::UNKNOWN, ..wide }, 11.0), None);
}

#[test]
fn what_is_given_out_reaches_two_floors_to_either_side_and_what_may_be_hidden() {
    let spec = SettleSpec { settle_floor: 0.25, ..spec() };
    let narrow = resting(4.75, 5.25);
    assert_eq!(narrow.given(5.0, &spec), Interval { low: 4.5, high: 5.5 });
    // The value is drawn into the interval first.
    assert_eq!(narrow.given(9.0, &spec), Interval { low: 4.75, high: 5.75 });
    assert_eq!(resting(4.0, 7.0).given(5.5, &spec), Interval { low: 4.0, high: 7.0 });
    // Twelve quiet readings hide a flicker of the longest time constant.
    let unseen = Unseen::of(&narrow.obs, &spec, true);
    let given = Contact { unseen, ..narrow.clone() }.given(5.0, &spec);
    assert_eq!(given, unseen.widen(Interval { low: 4.5, high: 5.5 }, 5.0));
}

#[test]
fn a_settled_value_is_the_level_at_rest_and_before_that_the_guess_where_it_ends() {
    let spec = SettleSpec { settle_floor: 0.25, ..spec() };
    let of = |low, high, how| {
        let mut contact = resting(low, high);
        contact.best_now = contact.best_now.map(|best| Bounds { level: 5.1, estimate: 5.2, ..best });
        contact.settle(how, &spec).unwrap().0
    };
    let beyond = of(4.5, 6.0, How::BeyondDoubt);
    assert_eq!((beyond.value, beyond.at_rest, beyond.n, beyond.how), (5.2, false, 12, How::BeyondDoubt));
    assert_eq!((beyond.low, beyond.high, beyond.standard_uncertainty), (4.5, 6.0, 0.1));
    assert!((beyond.half_width - 0.8).abs() < 1e-12 && beyond.since == at(0.0));
    let rests = of(4.5, 6.0, How::TimeLimit);
    assert_eq!((rests.value, rests.at_rest), (5.1, true));
    // As narrow as two floors: it is at rest, whatever the ground.
    let narrow = of(5.0, 5.5, How::BeyondDoubt);
    assert_eq!((narrow.value, narrow.at_rest), (5.1, true));
    assert!((narrow.half_width - 0.4).abs() < 1e-12);
    assert_eq!(of(5.05, 5.25, How::FullySettled).half_width, 0.25, "no less than the floor");
}

/// One decision about a contact at `now_s`, with these thresholds.
fn decided(contact: &mut Contact, now_s: f64, spec: &SettleSpec, values: &[f64]) -> Settling {
    let mut thresholds = Thresholds::default();
    thresholds.set(values);
    contact.decide(at(now_s), spec, &mut thresholds.asking(None, 5.0))
}

#[test]
fn a_word_stands_until_a_threshold_lies_inside_and_becomes_a_figure_at_rest() {
    let spec = SettleSpec { settle_floor: 0.25, ..spec() };
    let how = |state: Settling| state.settled().map(|settled| (settled.how, settled.at_rest));
    let mut contact = resting(4.0, 6.0);
    assert_eq!(how(decided(&mut contact, 11.0, &spec, &[5.5])), None);
    assert_eq!(how(decided(&mut contact, 11.0, &spec, &[])), None, "nothing to decide: rest is waited for");
    let word = Some((How::BeyondDoubt, false));
    assert_eq!(how(decided(&mut contact, 11.0, &spec, &[6.1, 3.9])), word);
    // It stands, though the looks have become wider since.
    contact.now = Interval { low: 3.0, high: 7.0 };
    assert_eq!(how(decided(&mut contact, 11.0, &spec, &[6.1])), word);
    assert_eq!(how(decided(&mut contact, 11.0, &spec, &[5.9])), None);
    assert_eq!(how(decided(&mut contact, 11.0, &spec, &[7.1])), word);
    contact.now = Interval { low: 4.75, high: 5.25 };
    let figure = Some((How::FullySettled, true));
    assert_eq!(how(decided(&mut contact, 11.0, &spec, &[7.1])), figure);
    contact.now = Interval { low: 4.0, high: 6.0 };
    assert_eq!(how(decided(&mut contact, 11.0, &spec, &[5.0])), figure, "a figure may have a limit inside");
}

#[test]
fn digits_that_stand_too_long_are_frozen_and_a_drift_settles_only_where_it_is_accepted() {
    let spec = SettleSpec { frozen_after_s: 60.0, ..spec() };
    let mut contact = resting(4.9, 5.1);
    assert!(decided(&mut contact, 60.0, &spec, &[9.0]).settled().is_some());
    assert_eq!(decided(&mut contact, 60.1, &spec, &[9.0]), Settling::Frozen { since: at(0.0) });
    assert!(contact.settled.is_none());
    // 0.05 a second for 40 s.
    let climb: Vec<f64> = (0..40).map(|i| 5.0 + 0.05 * f64::from(i)).collect();
    let mut contact = seen(&climb, 1.0, &spec);
    contact.slope = None;
    let drifts = moving(decided(&mut contact, 39.0, &spec, &[9.0]));
    assert_eq!(drifts.reason, MovingReason::Drifting);
    assert!((drifts.rate_per_s.unwrap() - 0.05).abs() < 1e-9);
    let accepts = SettleSpec { drift_accepted_per_s: 0.06, ..spec };
    let state = decided(&mut contact, 39.0, &accepts, &[9.0]);
    assert_eq!(state.settled().map(|settled| settled.how), Some(How::Drifting));
}
