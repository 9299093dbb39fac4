//! When a contact stands, is at rest, settles, is frozen or drifts.

use super::super::super::thresholds::Thresholds;
use super::*;

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
