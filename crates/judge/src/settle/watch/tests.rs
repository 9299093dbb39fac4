//! Each sign against its definition; normal probabilities as in Abramowitz and Stegun, table 26.1 (table number from memory).

use alloc::vec::Vec;

use super::*;

/// Readings one a second.
fn obs(values: &[f64]) -> Vec<Obs> {
    let at = |(i, value): (usize, &f64)| Obs { t_s: i as f64, value: *value, decay: 1.0, bouncing: false };
    values.iter().enumerate().map(at).collect()
}

/// `0.1 i` for each reading `i`.
fn climb(count: u32) -> Vec<Obs> {
    obs(&(0..count).map(|i| 0.1 * f64::from(i)).collect::<Vec<_>>())
}

/// Longest time constant 3 s, a step of 0.01, no drift is still; noise of at most 0.03.
fn spec() -> SettleSpec {
    SettleSpec { tau_s: 1.0, tau_max_s: 3.0, drift_per_s: 0.0, ..SettleSpec::resistance(0.01) }
}

#[test]
fn a_climb_that_does_not_fade_is_a_drift_with_its_rate() {
    let rate = |obs: &[Obs]| drifting(obs, &spec(), 0.0);
    assert!((rate(&climb(9)).unwrap() - 0.1).abs() < 1e-12);
    let fall: Vec<Obs> = climb(9).into_iter().map(|obs| Obs { value: -obs.value, ..obs }).collect();
    assert!((rate(&fall).unwrap() + 0.1).abs() < 1e-12);
    // Three thirds of three readings; and a rest that does not divide is left out at the old end.
    assert!(rate(&climb(8)).is_none());
    let mut ten = climb(10);
    ten[0].value = 50.0;
    assert!((rate(&ten).unwrap() - 0.1).abs() < 1e-12);
    // Up and down again, or not at all.
    assert!(rate(&obs(&[0.0, 0.0, 0.0, 5.0, 5.0, 5.0, 4.0, 4.0, 4.0])).is_none());
    assert!(rate(&obs(&[5.0; 9])).is_none());
    // Only the newest 96 count.
    let mut long = climb(120);
    long[..24].iter_mut().for_each(|obs| obs.value = -50.0);
    assert!((rate(&long).unwrap() - 0.1).abs() < 1e-9);
    // From the middle of the first third to that of the last it takes two of the longest time constants: 6 s.
    for (tau_max_s, drifts) in [(3.0, true), (3.01, false)] {
        assert_eq!(drifting(&climb(9), &SettleSpec { tau_max_s, ..spec() }, 0.0).is_some(), drifts);
    }
}

#[test]
fn an_approach_leaves_at_most_exp_minus_one_of_its_step_after_one_time_constant() {
    // Thirds 3 s apart, time constant 3 s: of a step of 1 an approach leaves up to 0.3679, and half a display step.
    let second = |rest: f64| {
        drifting(&obs(&[0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0 + rest, 1.0 + rest, 1.0 + rest]), &spec(), 0.0)
    };
    assert!(second(0.372).is_none() && second(0.374).is_some());
    // 4.5 standard errors of the difference of two means of three: 0.3 (1 - 0.36788) - 0.005 = 0.18464, so a scatter of
    // 0.18464 / 4.5 / sqrt(2 / 3) = 0.05025.
    assert!(drifting(&climb(9), &spec(), 0.0502).is_some());
    assert!(drifting(&climb(9), &spec(), 0.0503).is_none());
}

#[test]
fn a_slope_that_the_spec_calls_still_is_no_drift() {
    let drifts =
        |drift_per_s, scatter| drifting(&climb(9), &SettleSpec { drift_per_s, ..spec() }, scatter).is_some();
    assert!(drifts(0.0999, 0.0) && !drifts(0.1001, 0.0));
    // It must be faster than that for certain: (0.3 - 4.5 x 0.01 x sqrt(2 / 3)) / 3 = 0.08775.
    assert!(drifts(0.0877, 0.01) && !drifts(0.0878, 0.01));
}

#[test]
fn equal_readings_are_counted_from_the_newest_back() {
    assert_eq!(equal_run(&obs(&[2.0, 1.0, 2.0, 2.0, 2.0])), 3);
    assert_eq!(equal_run(&obs(&[1.0, 2.0])), 1);
    assert_eq!(equal_run(&[]), 0);
}

/// A display that has shown these many counts above 5, and then the last of them `run` times in all.
fn frozen(counts: &[i32], run: usize) -> bool {
    let shown = counts.iter().map(|counts| 5.0 + 0.01 * f64::from(*counts));
    let last = shown.clone().next_back().unwrap();
    let values: Vec<f64> = shown.chain(core::iter::repeat_n(last, run - 1)).collect();
    frozen_by_noise(&obs(&values), &spec(), run)
}

/// To and fro by `counts`, `readings` times, and then elsewhere.
fn to_and_fro(counts: i32, readings: usize) -> Vec<i32> {
    [0, counts].into_iter().cycle().take(readings).chain([2 * counts]).collect()
}

#[test]
fn a_run_of_equal_digits_is_frozen_once_its_chance_is_a_tenth_of_the_risk() {
    // Steps of 3 counts to and fro have products of -9: a deviation of 0.7 x (3 - 1) = 1.4 counts. One digit then has a chance of
    // P(|N| < 0.35714) = 0.27901 at most; 0.27901^7 = 1.3e-4 and 0.27901^8 = 3.7e-5, either side of 1e-4.
    assert!(!frozen(&to_and_fro(3, 12), 8) && frozen(&to_and_fro(3, 12), 9));
    // 2 counts: 0.7; P(|N| < 0.71429) = 0.52494, to the 14th 1.2e-4, to the 15th 6.4e-5.
    assert!(!frozen(&to_and_fro(2, 12), 15) && frozen(&to_and_fro(2, 12), 16));
    // 10 counts: 6.3; P(|N| < 0.07937) = 0.0633, to the 4th 1.6e-5. But fewer than six tell nothing.
    assert!(!frozen(&to_and_fro(10, 12), 5) && frozen(&to_and_fro(10, 12), 6));
    // A display that toggles between two digits, or never moved, is quiet.
    assert!(!frozen(&to_and_fro(1, 12), 100) && !frozen(&[0; 12], 100));
}

#[test]
fn nine_readings_before_the_run_are_asked_for_and_25_are_looked_at() {
    assert!(!frozen(&to_and_fro(3, 8), 20) && frozen(&to_and_fro(3, 9), 20));
    // A noisy time long before: the newest 25 are quiet.
    let before = |quiet: usize| {
        let noisy = (0..40).map(|i| 9 * (i % 2));
        let values: Vec<i32> = noisy.chain(core::iter::repeat_n(0, quiet)).chain([1]).collect();
        frozen(&values, 30)
    };
    assert!(!before(26) && before(12));
    // Of 25 readings the last 17 steps go to and fro by 3: 16 of 23 products are -9, so 0.7 x (sqrt(6.261) - 1) = 1.0515 counts and
    // P(|N| < 0.47550) = 0.36557: to the 9th 1.2e-4, to the 10th 4.3e-5. Of 24 readings it would be 16 of 22 and 8.6e-5.
    let toggles = (0..17).map(|i| if i % 2 == 0 { 3 } else { 0 });
    let counts: Vec<i32> = core::iter::repeat_n(0, 18).chain(toggles).chain([6]).collect();
    assert!(!frozen(&counts, 10) && frozen(&counts, 11));
}

#[test]
fn a_single_jump_is_no_noise_and_a_few_equal_ones_are_no_rest() {
    // One count to and fro, and once a hundred: no product counts for more than two median steps would.
    let mut jump = to_and_fro(1, 24);
    jump[11] = 100;
    assert!(!frozen(&jump, 30));
    // Three counts to and fro, and twice none: of 15 products 11 are -9, so 0.7 x (sqrt(6.6) - 1) = 1.098 counts, and
    // P(|N| < 0.45536) = 0.35115: to the 8th 2.3e-4, to the 9th 8.1e-5.
    let with_rests = [0, 3, 0, 3, 0, 0, 3, 0, 3, 0, 3, 3, 0, 3, 0, 3, 0, 6];
    assert!(!frozen(&with_rests, 9) && frozen(&with_rests, 10));
    // A steady climb has products above zero: no noise at all.
    assert!(!frozen(&(0..20).map(|i| 3 * i).collect::<Vec<_>>(), 30));
}

#[test]
fn a_step_is_fair_up_to_the_two_before_and_eight_noises() {
    // Steps of 1 and 1; 8 x 0.03 = 0.24.
    let even = |value| step_to(&obs(&[0.0, 1.0, 2.0]), value, &spec(), 0.0);
    assert_eq!((even(3.23), even(3.25)), (Step::Fair, Step::Runs));
    assert_eq!((even(0.77), even(0.75)), (Step::Fair, Step::Jumps));
    // The larger of the two counts, whichever it is.
    assert_eq!(step_to(&obs(&[0.0, 2.0, 3.0]), 5.2, &spec(), 0.0), Step::Fair);
    assert_eq!(step_to(&obs(&[0.0, 1.0, 3.0]), 5.2, &spec(), 0.0), Step::Fair);
    assert_eq!(step_to(&obs(&[0.0, -2.0, -3.0]), -5.25, &spec(), 0.0), Step::Runs);
    // Out of rest there is no direction to run on in.
    assert_eq!(step_to(&obs(&[0.0, 0.0, 0.23]), 1.0, &spec(), 0.0), Step::Jumps);
    assert_eq!(step_to(&obs(&[0.0, 0.0, 0.25]), 1.0, &spec(), 0.0), Step::Runs);
    // Wherever it stands.
    assert_eq!(step_to(&obs(&[10.0, 10.0, 10.0]), 10.25, &spec(), 0.0), Step::Jumps);
    // More scatter than the ceiling, and no ceiling: 8 x 0.05.
    for noise_ceiling in [0.03, f64::INFINITY] {
        let step = |value| step_to(&obs(&[0.0; 3]), value, &SettleSpec { noise_ceiling, ..spec() }, 0.05);
        assert_eq!((step(0.39), step(0.41)), (Step::Fair, Step::Jumps));
    }
    // With fewer than three readings nothing can be said.
    assert_eq!(step_to(&obs(&[0.0, 0.0]), 100.0, &spec(), 0.0), Step::Fair);
}

#[test]
fn a_contact_breaks_beyond_ten_noises_and_beyond_25_where_it_goes_on_as_an_approach() {
    let spec = SettleSpec { noise_ceiling: 0.25, ..spec() };
    assert!(!breaks(2.5, false, &spec) && breaks(2.51, false, &spec) && breaks(-2.51, false, &spec));
    assert!(!breaks(6.25, true, &spec) && breaks(6.26, true, &spec) && breaks(-6.26, true, &spec));
}

#[test]
fn two_steps_fade_when_the_second_is_a_fifth_to_the_whole_of_the_first() {
    let fades = |second: f64| fading(&obs(&[4.0, 14.0, 14.0 + second]));
    assert!(fades(2.0) && fades(10.0) && fades(5.0));
    assert!(!fades(1.9) && !fades(10.1) && !fades(-5.0) && !fades(0.0));
    assert!(fading(&obs(&[9.0, 4.0, 14.0, 19.0])), "only the last two count");
    assert!(!fading(&obs(&[4.0, 14.0])) && !fading(&obs(&[4.0, 4.0, 4.0])));
}

#[test]
fn it_climbs_when_each_of_the_last_steps_is_more_than_three_scatters_up() {
    assert!(climbing(&obs(&[9.0, 0.0, 0.76, 1.52]), 0.25));
    assert!(!climbing(&obs(&[0.0, 0.75, 1.51]), 0.25) && !climbing(&obs(&[0.0, 0.76, 1.5]), 0.25));
    assert!(climbing(&obs(&[0.0, 1.0]), 0.25) && !climbing(&obs(&[1.0]), 0.25));
    assert!(!climbing(&obs(&[2.0, 1.0, 0.0]), 0.0));
}

#[test]
fn the_tail_is_the_last_few_or_all() {
    assert_eq!(tail(&[1, 2, 3], 2), [2, 3]);
    assert_eq!(tail(&[1, 2, 3], 4), [1, 2, 3]);
}
