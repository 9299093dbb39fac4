//! Tests of settling: quantiles against SciPy, one look against its promise, each pathology, properties. All streams are
//! synthetic; none was measured on a meter.

use std::vec;
use std::vec::Vec;

use proptest::prelude::*;
use quantity::Instant;

use super::quantile::{chi_squared_upper, normal_upper, student_upper};
use super::*;

/// Readings 0.3 s apart from `start_s`; the state after each.
fn feed(settler: &mut Settler, start_s: f64, samples: &[Sample]) -> Vec<Settling> {
    #[allow(clippy::cast_possible_truncation)]
    let at = |i: usize| Instant::from_micros(((start_s + 0.3 * i as f64) * 1e6) as i64);
    samples.iter().enumerate().map(|(i, sample)| settler.push(at(i), *sample)).collect()
}

fn values(values: &[f64]) -> Vec<Sample> {
    values.iter().map(|v| Sample::value(*v)).collect()
}

/// A display that converts once a reading, as its profile states.
fn paced(spec: SettleSpec) -> SettleSpec {
    SettleSpec { conversion_s: Some(0.3), ..spec }
}

/// A settler for a capacitance in uF to two places, limits far away.
fn capacitance() -> Settler {
    let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
    settler.set_thresholds(&[32.9, 37.1]);
    settler
}

fn reason(state: &Settling) -> Option<MovingReason> {
    match state {
        Settling::Moving(moving) => Some(moving.reason),
        _ => None,
    }
}

#[test]
fn quantiles_agree_with_scipy() {
    // scipy.stats.t.isf(tail, dof), SciPy 1.17.1
    let student = [
        (1.0, 1e-4, 3183.09876),
        (1.0, 1e-6, 318309.886),
        (2.0, 1e-4, 70.7000711),
        (2.0, 1e-6, 707.105721),
        (3.0, 1e-3, 10.2145319),
        (3.0, 1e-6, 103.299468),
        (4.0, 1e-5, 23.3321827),
        (5.0, 1e-6, 24.7710297),
        (8.0, 1e-3, 4.50079093),
        (8.0, 1e-6, 12.1098347),
        (13.0, 1e-5, 6.50114491),
        (29.0, 1e-6, 5.91710554),
        (61.0, 1e-4, 3.95788197),
        (125.0, 1e-6, 4.98727292),
    ];
    for (dof, tail, expected) in student {
        let ratio = student_upper(tail, dof, normal_upper(tail)) / expected;
        assert!((ratio - 1.0).abs() < 2e-3, "t, {dof} degrees of freedom, tail {tail}: ratio {ratio}");
    }
    // scipy.stats.norm.isf
    for (tail, expected) in
        [(0.1, 1.28155156554), (1e-3, 3.09023230617), (1e-6, 4.75342430882), (1e-12, 7.0344838253)]
    {
        let z = normal_upper(tail);
        assert!(z >= expected && z - expected < 1e-3, "z at {tail}: {z}");
    }
    // scipy.stats.chi2.isf
    for (dof, tail, expected) in
        [(1.0, 1e-3, 10.8275662), (3.0, 1e-3, 16.2662362), (8.0, 1e-5, 37.3315936), (30.0, 1e-5, 75.0234324)]
    {
        let ratio = chi_squared_upper(normal_upper(tail), dof) / expected;
        assert!((ratio - 1.0).abs() < 0.06, "chi squared {dof}, {tail}: ratio {ratio}");
    }
}

#[test]
fn far_from_every_limit_four_conversions_are_enough() {
    let states = feed(&mut capacitance(), 0.0, &values(&[35.01, 35.02, 35.01, 35.02]));
    assert!(states[2].settled().is_none(), "the first saw a part of the contact only");
    let settled = states[3].settled().unwrap();
    assert_eq!((settled.how, settled.n, settled.at_rest), (How::BeyondDoubt, 4, false));
    assert!((settled.value - 35.01).abs() <= 0.02 && settled.half_width < 2.2, "{settled:?}");
}

#[test]
fn the_nearer_the_limit_the_longer_the_wait() {
    let wait = |distance: f64| {
        let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
        settler.set_thresholds(&[35.0 - distance]);
        let digits: Vec<f64> = (0..200).map(|i| [35.0, 35.01, 34.99, 35.0][i % 4]).collect();
        feed(&mut settler, 0.0, &values(&digits)).iter().position(|s| s.settled().is_some()).unwrap() + 1
    };
    let waits: Vec<usize> = [2.0, 0.3, 0.1, 0.03, 0.0].into_iter().map(wait).collect();
    assert!(waits.windows(2).all(|pair| pair[0] <= pair[1]) && waits[0] == 4 && waits[3] > 8, "{waits:?}");
}

#[test]
fn quiet_digits_on_a_limit_become_fully_settled_and_say_how_well() {
    let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
    settler.set_thresholds(&[35.0]);
    let states = feed(&mut settler, 0.0, &values(&[35.0; 60]));
    let settled = states.last().unwrap().settled().unwrap();
    assert_eq!(settled.how, How::FullySettled);
    assert!(settled.half_width <= 0.02 && settled.standard_uncertainty >= 0.01 / 12f64.sqrt(), "{settled:?}");
}

#[test]
fn noise_on_a_limit_ends_at_the_time_limit_and_says_how_wide() {
    let spec = SettleSpec { time_limit_s: 9.0, ..paced(SettleSpec::current(0.01)) };
    let mut settler = Settler::new(spec).unwrap();
    settler.set_thresholds(&[10.0]);
    let digits: Vec<f64> =
        (0..40).map(|i| 10.0 + 0.01 * [5.0, -7.0, 2.0, -4.0, 8.0, -3.0, -1.0][i % 7]).collect();
    let states = feed(&mut settler, 0.0, &values(&digits));
    assert_eq!(reason(&states[20]), Some(MovingReason::Noisy));
    let settled = states.last().unwrap().settled().unwrap();
    assert_eq!(settled.how, How::TimeLimit);
    assert!(settled.half_width > 0.01 && (settled.value - 10.0).abs() < settled.half_width, "{settled:?}");
}

#[test]
fn an_approach_is_waited_out_and_its_end_is_inside_the_interval() {
    let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
    settler.set_thresholds(&[34.5, 37.1]);
    let digits: Vec<f64> =
        (0..60).map(|i| ((35.0 - 8.0 * (-0.3 * f64::from(i) / 0.8).exp()) * 100.0).round() / 100.0).collect();
    let states = feed(&mut settler, 0.0, &values(&digits));
    assert_eq!(reason(&states[4]), Some(MovingReason::Charging), "{:?}", states[4]);
    for state in &states {
        match state {
            Settling::Settled(s) => assert!((s.value - 35.0).abs() <= s.half_width, "{s:?}"),
            Settling::Moving(m) => assert!((m.estimate - 35.0).abs() <= m.half_width, "{m:?}"),
            other => panic!("{other:?}"),
        }
    }
    // 34.5 is passed by the reading itself 2.2 s in; nothing is settled while it is below.
    let first = states.iter().position(|s| s.settled().is_some()).unwrap();
    assert!(digits[first] > 34.5 && first < 32, "{first}");
    let resistance = Settler::new(paced(SettleSpec::resistance(0.01))).unwrap();
    let states = feed(&mut resistance.clone(), 0.0, &values(&digits));
    assert_eq!(reason(&states[4]), Some(MovingReason::Approaching));
}

#[test]
fn a_charging_range_that_climbs_in_steps_is_not_judged_on_a_step() {
    let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
    settler.set_thresholds(&[32.9, 37.1]);
    let mut digits = vec![0.0, 0.0, 3.1, 9.8, 16.2, 22.9, 29.1, 33.4, 34.8];
    // It must stand for about as long as it climbed: a filter that rings would come back by then.
    digits.extend([35.02, 35.01].repeat(8));
    let states = feed(&mut settler, 0.0, &values(&digits));
    assert_eq!(states[0], Settling::Empty);
    assert!(states[..9].iter().all(|s| s.settled().is_none()), "{states:?}");
    assert!(states[3..8].iter().all(|s| reason(s) == Some(MovingReason::Charging)), "{states:?}");
    assert!((states[24].settled().unwrap().value - 35.01).abs() < 0.05);
}

#[test]
fn bounce_at_first_contact_is_not_judged() {
    let bounces: [&[Sample]; 4] = [
        &[Sample::value(12.31), Sample::value(12.30)],
        &[Sample::value(0.0), Sample::value(21.7), Sample::overload()],
        &[Sample::overload(), Sample::value(30.0), Sample::value(11.0), Sample::value(27.0)],
        &[Sample::value(34.0), Sample::overload(), Sample::value(33.0)],
    ];
    for bounce in bounces {
        let mut samples = bounce.to_vec();
        samples.extend(values(&[35.01, 35.02, 35.01, 35.02, 35.01, 35.02]));
        let states = feed(&mut capacitance(), 0.0, &samples);
        assert!(states[..bounce.len() + 2].iter().all(|s| s.settled().is_none()), "{bounce:?}: {states:?}");
        let settled = states.last().unwrap().settled().unwrap();
        assert!((settled.value - 35.015).abs() < 0.02, "{bounce:?}: {settled:?}");
    }
}

#[test]
fn one_jump_is_set_aside_two_move_the_value() {
    let mut settler = capacitance();
    let states = feed(&mut settler, 0.0, &values(&[35.01, 35.02, 35.01, 35.02, 12.0, 35.01, 35.02]));
    assert_eq!(states[4], Settling::BounceRejected);
    assert!(states[5].settled().is_some() && states[6].settled().is_some());
    let states = feed(&mut settler, 10.0, &values(&[35.01, 35.02, 35.01, 35.02, 12.0, 12.01, 12.0, 12.01]));
    assert_eq!(states[4], Settling::BounceRejected);
    assert_eq!(reason(&states[5]), Some(MovingReason::Bouncing));
    assert!((states[7].settled().unwrap().value - 12.0).abs() < 0.02);
}

/// A part still in its circuit: wild values, of which a few lie close together by chance (synthetic).
#[test]
fn wild_values_are_not_settled_by_a_chance_neighbourhood() {
    let mut settler = capacitance();
    settler.set_thresholds(&[11.5, 13.5]);
    let wild =
        [13.45, 21.74, 7.36, 11.11, 22.4, 4.06, 5.61, 14.12, 7.49, 7.33, 7.34, 7.33, 7.34, 15.98, 12.13];
    let states = feed(&mut settler, 0.0, &values(&wild));
    assert!(states.iter().all(|state| state.settled().is_none()), "{states:?}");
    let rest = feed(&mut settler, 10.0, &values(&[12.46; 40]));
    assert!(rest.last().unwrap().settled().is_some(), "after enough rest it settles: {:?}", rest.last());
}

#[test]
fn lifted_leads_end_the_contact() {
    for open in [Sample::overload(), Sample::value(0.02)] {
        let mut settler = capacitance();
        let mut samples = values(&[35.01, 35.02, 35.01, 35.02]);
        samples.extend([open, open]);
        samples.extend(values(&[35.01, 35.02]));
        let states = feed(&mut settler, 0.0, &samples);
        assert!(states[3].settled().is_some());
        assert_eq!((states[4], states[5]), (Settling::LiftedOff, Settling::Empty));
        assert!(states[7].settled().is_none(), "the second contact starts from nothing");
    }
}

#[test]
fn hold_is_never_judged_and_settling_begins_anew_after_it() {
    let mut settler = capacitance();
    let mut samples = values(&[35.01, 35.02, 35.01, 35.02]);
    samples.extend([Sample::value(35.01).held(), Sample::value(35.01).held()]);
    samples.extend(values(&[35.01, 35.02, 35.01, 35.02]));
    let states = feed(&mut settler, 0.0, &samples);
    assert!(states[3].settled().is_some());
    assert_eq!((states[4], states[5]), (Settling::Held, Settling::Held));
    assert!(states[8].settled().is_none());
    assert!(states[9].settled().is_some());
}

#[test]
fn a_link_that_repeats_itself_after_noise_is_frozen() {
    let noise = [3.0, -4.0, 1.0, 5.0, -2.0, -5.0, 4.0, 0.0, -3.0, 2.0, -1.0, 4.0];
    let mut digits: Vec<f64> = noise.iter().map(|n| 10.0 + 0.01 * n).collect();
    let live = digits.len();
    digits.extend([10.03; 16]);
    let mut settler = Settler::new(paced(SettleSpec::current(0.01))).unwrap();
    let states = feed(&mut settler, 0.0, &values(&digits));
    assert!(states[..live].iter().all(|s| !matches!(s, Settling::Frozen { .. })));
    assert!(matches!(states.last().unwrap(), Settling::Frozen { .. }), "{:?}", states.last());
    // Digits that move again end it.
    let states = feed(&mut settler, 20.0, &values(&[10.05, 9.98]));
    assert!(!matches!(states[1], Settling::Frozen { .. }));
}

#[test]
fn quiet_digits_are_not_frozen_until_the_spec_disbelieves_them() {
    let mut settler = capacitance();
    let toggling: Vec<f64> = (0..20).map(|i| [35.01, 35.02][i % 2]).chain([35.02; 300]).collect();
    let states = feed(&mut settler, 0.0, &values(&toggling));
    assert!(states[..400.min(states.len())].iter().all(|s| !matches!(s, Settling::Frozen { .. })));
    let states = feed(&mut settler, 96.0, &values(&[35.02; 120]));
    assert!(matches!(states.last().unwrap(), Settling::Frozen { .. }));
}

#[test]
fn a_steady_drift_is_named_and_not_settled() {
    let mut settler = Settler::new(SettleSpec::temperature(0.1)).unwrap();
    let digits: Vec<f64> = (0..400).map(|i| (540.0 + 0.2 * f64::from(i)).round() / 10.0).collect();
    let states: Vec<Settling> = digits
        .iter()
        .enumerate()
        .map(|(i, v)| settler.push(Instant::from_micros(i as i64 * 1_000_000), Sample::value(*v)))
        .collect();
    assert!(states.iter().all(|s| s.settled().is_none()));
    let Settling::Moving(last) = states.last().unwrap() else { panic!("{:?}", states.last()) };
    assert_eq!(last.reason, MovingReason::Drifting);
    assert!((last.rate_per_s.expect("its rate is told") - 0.02).abs() < 0.001, "{last:?}");
}

/// A drift of 1.2 a minute that the caller accepts up to 1.5, and not up to 1.
#[test]
fn a_drift_that_is_accepted_settles_at_the_value_of_now() {
    let last = |per_minute: f64| {
        let spec = SettleSpec { drift_accepted_per_s: per_minute / 60.0, ..SettleSpec::temperature(0.1) };
        let mut settler = Settler::new(spec).unwrap();
        let digits = (0..400).map(|i| (5400.0 - 0.2 * f64::from(i)).round() / 10.0);
        let shown =
            |(i, v): (usize, f64)| settler.push(Instant::from_micros(i as i64 * 1_000_000), Sample::value(v));
        digits.enumerate().map(shown).last().unwrap()
    };
    let settled = *last(1.5).settled().unwrap();
    let now = 540.0 - 0.02 * 399.0;
    assert_eq!((settled.how, settled.at_rest), (How::Drifting, true));
    assert!((settled.drift_per_s.unwrap() + 0.02).abs() < 0.001, "{settled:?}");
    assert!((settled.value - now).abs() < 0.06 && settled.low <= now && now <= settled.high, "{settled:?}");
    assert_eq!(reason(&last(1.0)), Some(MovingReason::Drifting));
}

/// A flicker that is slower than the readings come, about a limit.
#[test]
fn what_averages_is_named() {
    let mut settler = capacitance();
    settler.set_thresholds(&[35.03]);
    let slow = |i: i32| (3502.0 + 3.0 * (f64::from(i) / 2.5).sin()).round() / 100.0;
    let states = feed(&mut settler, 0.0, &values(&(0..60).map(slow).collect::<Vec<_>>()));
    let averages = states.iter().filter(|state| reason(state) == Some(MovingReason::Averaging)).count();
    assert!(averages > 10, "{averages}");
}

#[test]
fn what_has_come_far_and_may_come_back_is_named() {
    let mut settler = capacitance();
    settler.set_thresholds(&[33.0]);
    let ring = [26.0, 28.0, 31.4, 34.0, 35.0, 35.2, 35.21, 35.2, 35.21];
    let states = feed(&mut settler, 0.0, &values(&ring));
    assert_eq!(reason(states.last().unwrap()), Some(MovingReason::Overshooting), "{states:?}");
}

#[test]
fn a_settled_value_that_walks_away_is_settled_no_more() {
    let mut settler = capacitance();
    let still = feed(&mut settler, 0.0, &values(&[35.01, 35.02, 35.01, 35.02, 35.01, 35.02, 35.01, 35.02]));
    assert!(still.last().unwrap().settled().is_some());
    let walk: Vec<f64> = (1..=80).map(|i| 35.02 + 0.02 * f64::from(i)).collect();
    let states = feed(&mut settler, 2.4, &values(&walk));
    assert!(states.iter().any(|s| matches!(s, Settling::Moving(_))), "{:?}", states.last());
}

#[test]
fn silence_and_order_are_seen() {
    let mut settler = capacitance();
    assert_eq!((settler.poll_at(), settler.check_silence(Instant::from_micros(1 << 50))), (None, None));
    feed(&mut settler, 0.0, &values(&[35.01, 35.02, 35.01, 35.02]));
    let poll_at = settler.poll_at().unwrap();
    assert_eq!(settler.check_silence(Instant::from_micros(poll_at.micros() - 1)), None);
    assert!(settler.state().settled().is_some());
    // Not later than the last reading: ignored, whatever it says.
    assert!(settler.push(Instant::from_micros(899_999), Sample::overload()).settled().is_some());
    assert_eq!(settler.check_silence(poll_at), Some(Silence { since: Instant::from_micros(899_999) }));
    assert_eq!(settler.state(), Settling::Empty);
}

#[test]
fn a_new_threshold_inside_the_interval_reopens_the_question() {
    let mut settler = capacitance();
    let states = feed(&mut settler, 0.0, &values(&[35.01, 35.02, 35.01, 35.02]));
    let settled = *states[3].settled().unwrap();
    settler.set_thresholds(&[32.9, settled.value + 0.002]);
    assert!(feed(&mut settler, 1.2, &values(&[35.02]))[0].settled().is_none());
}

#[test]
fn a_spec_out_of_range_is_refused_by_name() {
    let good = SettleSpec::new(0.1);
    let bad = [
        ("resolution", SettleSpec { resolution: 0.0, ..good }),
        ("risk", SettleSpec { risk: f64::NAN, ..good }),
        ("noise_floor", SettleSpec { noise_floor: 0.0, ..good }),
        ("noise_ceiling", SettleSpec { noise_ceiling: 0.001, ..good }),
        ("tau_max_s", SettleSpec { tau_max_s: f64::INFINITY, ..good }),
        ("open", SettleSpec { open: OpenReads::UpTo(f64::NAN), ..good }),
        ("silence_s", SettleSpec { silence_s: -1.0, ..good }),
    ];
    for (field, spec) in bad {
        assert_eq!(Settler::new(spec).err().map(|e| e.field), Some(field));
    }
}

fn any_sample() -> impl Strategy<Value = Sample> {
    let shown = prop_oneof![
        12 => (-50i32..50).prop_map(|n| Displayed::Value(35.0 + 0.01 * f64::from(n))),
        3 => (-4000i32..4000).prop_map(|n| Displayed::Value(0.01 * f64::from(n))),
        2 => any::<f64>().prop_map(Displayed::Value),
        1 => Just(Displayed::Overload),
        1 => Just(Displayed::NoValue),
    ];
    (shown, prop::bool::weighted(0.05)).prop_map(|(shown, hold)| Sample { shown, hold })
}

/// A probe that sends ten times a second settles no later than one that sends once: the windows reach back over time.
#[test]
fn a_fast_meter_does_not_wait_longer() {
    // Still digits; and digits that move by one step at random, fixed by the generator's seed.
    for (steps, limit_s) in [(0u64, 90.0), (1, 182.0)] {
        for period_us in [1_000_000_i64, 250_000, 100_000, 20_000] {
            let conversion_s = Some(period_us as f64 / 1e6);
            let spec = SettleSpec { conversion_s, ..SettleSpec::temperature(0.1) };
            let mut settler = Settler::new(spec).unwrap();
            let mut draw = 1u64;
            let settled = (1..10_000).map(|k| k * period_us).find(|t_us| {
                draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let off = ((draw >> 33) % (2 * steps + 1)) as f64 - steps as f64;
                settler.push(Instant::from_micros(*t_us), Sample::value(40.0 + 0.1 * off)).settled().is_some()
            });
            let settled_s = settled.map(|t_us| t_us as f64 / 1e6);
            assert!(settled_s.is_some_and(|t_s| t_s < limit_s), "{period_us} us, {steps}: {settled_s:?}");
        }
    }
}

proptest! {
    #[test]
    fn nothing_panics_and_nothing_but_a_live_number_settles(
        samples in prop::collection::vec((any_sample(), -100_000i64..3_000_000), 1..200),
        thresholds in prop::collection::vec(any::<f64>(), 0..7),
    ) {
        let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
        settler.set_thresholds(&thresholds);
        let (mut at, mut newest) = (0i64, i64::MIN);
        for (sample, gap_us) in samples {
            at += gap_us;
            let late = at <= newest;
            newest = newest.max(at);
            let state = settler.push(Instant::from_micros(at), sample);
            let live = matches!(sample.shown, Displayed::Value(v) if v.is_finite()) && !sample.hold;
            if let Some(settled) = state.settled() {
                prop_assert!(live || late);
                prop_assert!(settled.value.is_finite() && settled.half_width.is_finite() && settled.n >= 3);
                prop_assert!(settled.standard_uncertainty > 0.0 && settled.half_width >= 0.0);
            }
        }
    }

    /// Asking only where it may decide gives the word at the same reading as asking each time. The thresholds move with the
    /// meter's own uncertainty at the estimate, as those of a guarded limit do.
    #[test]
    fn asking_less_changes_nothing(
        noise in prop::collection::vec(-9i32..10, 30..150),
        scale in 0.0f64..1.2,
        start in 0.0f64..1.0,
        limit in 30.0f64..50.0,
        relative in 0.0f64..0.03,
    ) {
        let thresholds = |state: Settling, shown: f64| {
            let seen_from = if state.estimate().is_finite() { state.estimate() } else { shown };
            let guard = 2.0 * (relative * seen_from.abs() + 0.03) / 3.0_f64.sqrt();
            vec![limit - guard, limit, limit + guard]
        };
        let floor = (relative * 40.0 + 0.03) / 3.0_f64.sqrt();
        let new = || {
            let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
            settler.set_settle_floor(floor);
            settler
        };
        let (mut lazy, mut eager, mut asked) = (new(), new(), 0);
        let mut before = Settling::Empty;
        for (i, noise) in noise.iter().enumerate() {
            let t_s = 0.3 * i as f64;
            let value = 40.0 - 20.0 * start * (-t_s / 0.5).exp() + 0.01 * scale * f64::from(*noise);
            let shown = (value * 100.0).round() / 100.0;
            let at = Instant::from_micros(300_000 * i as i64);
            eager.set_thresholds(&thresholds(before, shown));
            before = eager.push(at, Sample::value(shown));
            let state = lazy.state();
            let mut ask = || {
                asked += 1;
                thresholds(state, shown)
            };
            let lazily = lazy.push_asking(at, Sample::value(shown), Some(&mut ask));
            prop_assert_eq!(lazily.settled().copied(), before.settled().copied(), "at {} s", t_s);
        }
        prop_assert!(asked <= noise.len());
    }

    #[test]
    fn the_unit_does_not_matter(counts in prop::collection::vec(-6i32..6, 3..60), power in -20i32..20) {
        // Powers of two scale exactly, so the two runs must agree to the last bit.
        let scale = 2f64.powi(power);
        let run = |scale: f64| {
            let spec = SettleSpec { open: OpenReads::Overload, ..paced(SettleSpec::capacitance(0.125 * scale)) };
            let mut settler = Settler::new(spec).unwrap();
            settler.set_thresholds(&[437.0 * scale, 440.0 * scale]);
            let digits: Vec<f64> = counts.iter().map(|n| (438.0 + 0.125 * f64::from(*n)) * scale).collect();
            feed(&mut settler, 0.0, &values(&digits))
        };
        for (plain, scaled) in run(1.0).iter().zip(run(scale)) {
            match (plain, scaled) {
                (Settling::Settled(a), Settling::Settled(b)) => {
                    prop_assert_eq!((a.value * scale, a.half_width * scale), (b.value, b.half_width));
                    prop_assert_eq!((a.n, a.how), (b.n, b.how));
                }
                (a, b) => prop_assert_eq!(core::mem::discriminant(a), core::mem::discriminant(&b)),
            }
        }
    }

    #[test]
    fn the_order_of_the_thresholds_does_not_matter(counts in prop::collection::vec(-6i32..6, 3..40)) {
        let run = |thresholds: &[f64]| {
            let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
            settler.set_thresholds(thresholds);
            let digits: Vec<f64> = counts.iter().map(|n| 35.0 + 0.01 * f64::from(*n)).collect();
            feed(&mut settler, 0.0, &values(&digits))
        };
        prop_assert_eq!(run(&[34.9, 35.2, f64::NAN, 37.0]), run(&[37.0, 35.2, 34.9]));
    }
}

#[test]
fn no_interval_is_given_out_that_is_narrower_than_the_meter_is_sure() {
    let settled = |threshold: f64| {
        let mut settler = Settler::new(paced(SettleSpec::capacitance(0.01))).unwrap();
        settler.set_thresholds(&[threshold]);
        settler.set_settle_floor(0.2);
        let quiet = [40.0; 20];
        let states = feed(&mut settler, 0.0, &values(&quiet));
        states.into_iter().find_map(|state| match state {
            Settling::Settled(settled) => Some(settled),
            _ => None,
        })
    };
    // Expanded uncertainty at k = 2 (JCGM 100, 6.2.1): 0.4 of 0.2.
    let far = settled(30.0).expect("far from its limit");
    assert!(far.low <= 39.6 && far.high >= 40.4, "{far:?}");
    assert!(far.low > 39.0 && far.high < 41.0, "{far:?}");
    let near = settled(39.7).expect("quiet");
    assert_ne!(
        near.how,
        How::BeyondDoubt,
        "the limit lies within the meter's uncertainty: it waits for rest"
    );
}

#[test]
fn a_slope_at_the_foot_of_an_approach_is_no_end() {
    // A probe of 3.8 s on a pipe that warms 3.6 °F a minute: it reaches the limit of 185 °F after 2.8 minutes.
    let at = |t_s: f64| 175.0 - 100.0 * (-t_s / 3.76_f64).exp() + 0.06 * t_s;
    let mut settler =
        Settler::new(SettleSpec { conversion_s: Some(1.0), ..SettleSpec::temperature(0.1) }).unwrap();
    settler.set_thresholds(&[185.0]);
    for second in 0..40 {
        let shown = (at(f64::from(second)) * 10.0).round() / 10.0;
        let state = settler.push(Instant::from_micros(1_000_000 * i64::from(second)), Sample::value(shown));
        assert!(!matches!(state, Settling::Settled(_)), "after {second} s: {state:?}");
    }
}

#[test]
fn the_first_readings_of_a_slow_tail_are_seen_to_move() {
    // What two streams showed, four conversions a second: tails of 1.2 and 1.1 uF with a time constant of 6 s.
    let rising = [41.38, 41.43, 41.47, 41.51, 41.56, 41.59, 41.65, 41.67, 41.72, 41.75, 41.78, 41.82, 41.85];
    let falling = [38.24, 38.2, 38.15, 38.11, 38.07, 38.05, 38.0, 37.98, 37.93, 37.9, 37.87, 37.84, 37.81];
    for (digits, end) in [(rising, 42.57), (falling, 37.15)] {
        let spec = SettleSpec { conversion_s: Some(0.25), ..SettleSpec::capacitance(0.01) };
        let mut settler = Settler::new(spec).unwrap();
        settler.set_thresholds(&[37.6, 38.46, 41.54, 42.4]);
        settler.set_settle_floor(0.43);
        for (i, shown) in digits.iter().enumerate() {
            let state = settler.push(Instant::from_micros(250_000 * i as i64), Sample::value(*shown));
            let Settling::Settled(settled) = state else { continue };
            assert!(settled.low <= end && end <= settled.high, "{settled:?}");
        }
    }
}
