//! One look against figures worked out by hand; normal, chi-squared and t quantiles as SciPy 1.17.1 gives them (also in
//! Abramowitz and Stegun, tables 26.5, 26.8 and 26.10; table numbers from memory).

use alloc::vec::Vec;

use super::super::budget::Part;
use super::*;

/// A display step of 0.01, a noise of at least its share and at most 0.03; time constant 2 s.
fn spec() -> SettleSpec {
    SettleSpec::resistance(0.01)
}

/// One a second; what is left shrinks by `exp(-1 / 2)` from one to the next.
fn obs(values: &[f64]) -> Vec<Obs> {
    let at = |(i, value): (usize, &f64)| Obs {
        t_s: i as f64,
        value: *value,
        decay: libm::exp(-0.5),
        bouncing: false,
    };
    values.iter().enumerate().map(at).collect()
}

const STILL: StreamFacts = StreamFacts { fading: false, wander: 0.0, rebound: 0.0, ahead: 0.0 };

#[track_caller]
fn assert_near(found: f64, expected: f64, part: f64) {
    assert!((found - expected).abs() <= part * expected.abs(), "{found}, expected {expected}");
}

/// Of two readings 1 s apart, tau 2 s: r = exp(-0.5), G = r / (1 - r).
const GAIN: f64 = 1.541_494;
/// sqrt((1 + G)^2 + G^2).
const SPREAD: f64 = 2.972_439;
/// Noise of 0.03 at a tail of 0.001, half to each side: z(0.0005) = 3.2905.
const NOISE: f64 = 0.03 * 3.290_5;

#[test]
fn of_two_readings_the_rest_of_the_approach_is_the_step_times_r_over_1_minus_r() {
    let fading = StreamFacts { fading: true, ..STILL };
    let near = NOISE + 0.005;
    let far = NOISE * SPREAD + 0.005 * (1.0 + 2.0 * GAIN);
    let up = look(&obs(&[5.0, 5.5]), &spec(), 1e-3, fading).unwrap();
    assert_near(up.low, 5.5 - near, 1e-4);
    assert_near(up.high, 5.5 + 0.5 * GAIN + far, 1e-4);
    assert_near(up.width(), 0.5 * GAIN + near + far, 1e-3);
    assert_near(up.estimate, 5.5 + 0.25 * GAIN, 1e-6);
    assert!(up.level == 5.5 && up.moving);
    assert_near(up.scatter, 0.01 / 12.0_f64.sqrt(), 1e-9);
    let down = look(&obs(&[5.0, 4.5]), &spec(), 1e-3, fading).unwrap();
    assert_near(down.high, 4.5 + near, 1e-4);
    assert_near(down.low, 4.5 - 0.5 * GAIN - far, 1e-4);
    // It stands: the interval reaches as far to both sides, and the guess is the level.
    let still = look(&obs(&[5.0, 5.0]), &spec(), 1e-3, STILL).unwrap();
    assert_near(still.high, 5.0 + far, 1e-4);
    assert_near(still.low, 5.0 - far, 1e-4);
    assert!(still.estimate == 5.0 && !still.moving);
}

#[test]
fn what_hangs_together_and_what_may_come_back_widen_it_and_a_slope_does_on_its_side() {
    let plain = StreamFacts { fading: true, ..STILL };
    let at = |around: StreamFacts| look(&obs(&[5.0, 5.5]), &spec(), 1e-3, around).unwrap();
    let bare = at(plain);
    let wander = at(StreamFacts { wander: 0.1, ..plain });
    assert_near(bare.low - wander.low, 0.1, 1e-9);
    assert_near(wander.high - bare.high, 0.1, 1e-9);
    // It may come back: below the level, and no farther than an approach would have led.
    let rebound = at(StreamFacts { rebound: 0.2, ..plain });
    assert_near(bare.low - rebound.low, 0.2, 1e-9);
    assert_near(rebound.high, bare.high, 1e-12);
    let ahead = at(StreamFacts { ahead: 0.4, ..plain });
    assert!(ahead.low == bare.low);
    assert_near(ahead.high - bare.high, 0.4, 1e-9);
    let ahead = at(StreamFacts { ahead: -0.4, ..plain });
    assert!(ahead.high == bare.high);
    assert_near(bare.low - ahead.low, 0.4, 1e-9);
    // The same downwards.
    let at = |around: StreamFacts| look(&obs(&[5.0, 4.5]), &spec(), 1e-3, around).unwrap();
    let (bare, rebound) = (at(plain), at(StreamFacts { rebound: 0.2, ..plain }));
    assert_near(rebound.high - bare.high, 0.2, 1e-9);
    assert_near(rebound.low, bare.low, 1e-12);
}

#[test]
fn a_long_window_averages_its_noise_away() {
    // Eight that flicker by one count; nothing is left of an approach: each reading is far from the one before.
    let mut window = obs(&[5.0, 5.01, 5.0, 5.01, 5.0, 5.01, 5.0, 5.01]);
    window.iter_mut().for_each(|obs| obs.decay = 1e-9);
    let spec = SettleSpec { noise_ceiling: f64::INFINITY, ..spec() };
    let found = look(&window, &spec, 1e-3, STILL).unwrap();
    // The late block is the seven after the first, in counts 1 0 1 0 1 0 1: mean 4 / 7, squares 4 x (3 / 7)^2 + 3 x (4 / 7)^2 = 12 / 7
    // and no slope, for they are the same from behind; 8 - 3 degrees of freedom.
    let (level, sd) = (5.0 + 0.04 / 7.0, 0.01 * (12.0_f64 / 7.0 / 5.0).sqrt());
    assert_near(found.level, level, 1e-9);
    assert_near(found.scatter, sd, 1e-6);
    // t of 5 degrees of freedom at 0.0005: 6.869; the bias is half a step, less by the first term of its series.
    let near = sd * 6.869 / 7.0_f64.sqrt() + 0.005 * 2.0 / core::f64::consts::PI;
    assert_near(found.high - level, near, 2e-3);
    assert_near(level - found.low, near, 2e-3);
    // 3.5 standard errors: 0.0057 of a step is within 3.5 x 0.0059 x sqrt(1 + 1 / 7).
    assert!(!found.moving);
}

#[test]
fn a_step_is_movement_from_three_and_a_half_standard_errors_on() {
    // Two blocks of one: 3.5 x 0.01 / sqrt(12) x sqrt(2) = 0.014289.
    let moves = |step: f64| look(&obs(&[5.0, 5.0 + step]), &spec(), 1e-3, STILL).unwrap().moving;
    assert!(moves(0.014_3) && !moves(0.014_2) && moves(-0.014_3) && !moves(-0.014_2));
    // A block of one and one of two that decay at once: sqrt(1 + 1 / 2).
    let moves = |step: f64| {
        let mut window = obs(&[5.0, 5.0 + step, 5.0 + step]);
        window.iter_mut().for_each(|obs| obs.decay = 1e-9);
        look(&window, &spec(), 1e-3, STILL).unwrap().moving
    };
    assert!(moves(0.012_4) && !moves(0.012_3));
}

#[test]
fn the_ends_are_the_first_and_the_last_with_all_the_time_between() {
    let fading = StreamFacts { fading: true, ..STILL };
    let window = obs(&[5.0, 9.0, 5.5]);
    let ends = look_at(&window, Part::Ends, &spec(), 1e-3, fading).unwrap();
    // exp(-1): G = 0.58198.
    let gain: f64 = 0.581_977;
    let far = NOISE * ((1.0 + gain) * (1.0 + gain) + gain * gain).sqrt() + 0.005 * (1.0 + 2.0 * gain);
    assert_near(ends.high, 5.5 + 0.5 * gain + far, 1e-4);
    assert_near(ends.low, 5.5 - NOISE - 0.005, 1e-4);
    assert_near(ends.level, 5.5, 1e-12);
    let whole = look_at(&window, Part::Whole, &spec(), 1e-3, fading).unwrap();
    assert_near(whole.level, 7.25, 1e-12);
}

#[test]
fn a_step_that_noise_does_not_explain_says_nothing_unless_it_fades() {
    assert!(look(&obs(&[5.0, 5.5]), &spec(), 1e-3, STILL).is_none());
    assert!(look(&obs(&[5.0]), &spec(), 1e-3, STILL).is_none());
    // Nor does an interval with one end only.
    let ahead = StreamFacts { ahead: f64::INFINITY, ..STILL };
    assert!(look(&obs(&[5.0, 5.0]), &spec(), 1e-3, ahead).is_none());
    // Readings within the bounce time carry no value.
    let mut window = obs(&[5.0, 5.0]);
    window[0].bouncing = true;
    assert!(look(&window, &spec(), 1e-3, STILL).is_some());
    window[1].bouncing = true;
    assert!(look(&window, &spec(), 1e-3, STILL).is_none());
}

#[test]
fn the_split_with_the_least_spread_is_taken_after_what_bounces() {
    let four = obs(&[0.0; 4]);
    // exp(-0.5) = 0.60653, its square 0.36788, its cube 0.22313. One and three: r = 0.39918, G = 0.66440,
    // sqrt(1.66440^2 / 3 + 0.66440^2) = 1.16825. Two and two: r = 0.36788, G = 0.58198, 1.19192.
    let (at, split) = best_split(&four, 0).unwrap();
    assert!(at == 1 && split.early == 1.0 && split.late == 3.0);
    assert_near(split.gain, 0.664_40, 2e-5);
    assert_near(split.spread, 1.168_25, 2e-5);
    let (at, split) = best_split(&four, 2).unwrap();
    assert!(at == 2 && split.early == 2.0 && split.late == 2.0);
    assert_near(split.gain, 0.581_98, 2e-5);
    assert_near(split.spread, 1.191_92, 2e-5);
    // Three and one: r = 0.22313 / 0.65814, G = 0.51294, sqrt(1.51294^2 + 0.51294^2 / 3).
    let (at, split) = best_split(&four, 3).unwrap();
    assert_eq!(at, 3);
    assert_near(split.gain, 0.512_94, 5e-5);
    assert_near(split.spread, 1.541_65, 5e-5);
    assert!(best_split(&four, 4).is_none());
}

#[test]
fn of_a_slow_approach_the_early_block_is_a_quarter_a_third_or_a_half() {
    // From the definition: means of exp(-t / tau) over each block, of 12 readings.
    let by_definition = |decay: f64, at: i32| {
        let mean = |from: i32, to: i32| (from..to).map(|i| decay.powi(i)).sum::<f64>() / f64::from(to - from);
        let (early, late) = (f64::from(at), f64::from(12 - at));
        let r = mean(at, 12) / mean(0, at);
        let g = r / (1.0 - r);
        ((1.0 + g).powi(2) / late + g.powi(2) / early).sqrt()
    };
    let mut taken = Vec::new();
    for decay in [0.2, 0.5, 0.7, 0.75, 0.8, 0.9, 0.99] {
        let mut window = obs(&[0.0; 12]);
        window.iter_mut().for_each(|obs| obs.decay = decay);
        let (at, split) = best_split(&window, 0).unwrap();
        let spreads = [1, 3, 4, 6].map(|at| (at, by_definition(decay, at)));
        let least = spreads.into_iter().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
        assert_near(split.spread, least.1, 1e-9);
        assert_eq!(at, usize::try_from(least.0).unwrap());
        taken.push(at);
    }
    taken.dedup();
    assert_eq!(taken, [1, 3, 4, 6], "the slower, the longer the early block");
    // It does not shrink at all: nothing can be said.
    let mut window = obs(&[0.0; 12]);
    window.iter_mut().for_each(|obs| obs.decay = 1.0);
    assert!(best_split(&window, 0).is_none());
}

#[test]
fn scatter_is_that_about_two_means_and_from_seven_readings_on_about_two_lines_of_one_slope() {
    let blocks = |early: &[f64], late: &[f64], origin: f64| {
        let values: Vec<f64> = early.iter().chain(late).map(|value| origin + value).collect();
        let all = obs(&values);
        let (a, b) = all.split_at(early.len());
        let mean = |block: &[f64]| block.iter().sum::<f64>() / block.len() as f64;
        residual_scatter(a, b, origin, mean(early), mean(late))
    };
    // 2 x 1 and 2 x 4, over 4 - 2.
    let short = blocks(&[1.0, 3.0], &[5.0, 9.0], 7.0);
    assert_near(short.sd, 5.0_f64.sqrt(), 1e-12);
    assert_eq!(short.dof, 2.0);
    // Lines of slope 2; off them by 1 -2 1 and by 1 -1 -1 1, both square to them: (6 + 4) / (7 - 3).
    let (early, late) = ([1.0, 0.0, 5.0], [17.0, 17.0, 19.0, 23.0]);
    let long = blocks(&early, &late, 7.0);
    assert_near(long.sd, 2.5_f64.sqrt(), 1e-12);
    assert_eq!(long.dof, 4.0);
    // Six of these: about the means still, (1 + 4 + 9) and (4 / 9 x ...) over 6 - 2.
    let six = blocks(&early, &late[..3], 7.0);
    assert_near(six.sd, ((14.0 + 8.0 / 3.0) / 4.0_f64).sqrt(), 1e-12);
    assert_eq!(six.dof, 4.0);
    let two = blocks(&[1.0], &[3.0], 7.0);
    assert_eq!((two.sd, two.dof), (0.0, 0.0));
}

#[test]
fn noise_reaches_as_far_as_the_nearer_of_ceiling_and_scatter_allows() {
    let reach = |spec: &SettleSpec, sd, dof, credible, tail| {
        noise_reach(spec, Scatter { sd, dof }, credible, tail).map(|reach| reach.0)
    };
    let spec = spec();
    // Too few readings: the ceiling with all of the tail, or nothing.
    assert_near(reach(&spec, 0.02, 2.0, true, 1e-3).unwrap(), 0.03 * 3.290_5, 5e-4);
    assert_eq!(reach(&spec, 0.02, 2.0, false, 1e-3), None);
    // From four degrees of freedom on both, with half of the tail each; z(0.0005) = 3.2905, t of 8: 5.041, of 4: 8.610.
    assert_near(reach(&spec, 0.03, 8.0, true, 2e-3).unwrap(), 0.03 * 3.290_5, 5e-4);
    assert_near(reach(&spec, 0.01, 8.0, true, 2e-3).unwrap(), 0.01 * 5.041, 2e-3);
    assert_near(reach(&spec, 0.01, 4.0, true, 2e-3).unwrap(), 0.01 * 8.610, 2e-3);
    assert_near(reach(&spec, 0.1, 8.0, false, 2e-3).unwrap(), 0.1 * 5.041, 2e-3);
    // No less than the floor.
    assert_near(reach(&spec, 0.0, 8.0, false, 2e-3).unwrap(), spec.noise_floor * 5.041, 2e-3);
    // No ceiling: the scatter has all of the tail, from one degree of freedom on; t of 1: 636.62, of 10: 4.587.
    let free = SettleSpec { noise_ceiling: f64::INFINITY, ..spec };
    assert_near(reach(&free, 0.01, 1.0, true, 1e-3).unwrap(), 6.366_2, 2e-3);
    assert_near(reach(&free, 0.01, 10.0, true, 1e-3).unwrap(), 0.045_87, 2e-3);
    assert_eq!(reach(&free, 0.01, 0.0, true, 1e-3), None);
    // The quantile is that of the share used.
    let normal = noise_reach(&free, Scatter { sd: 0.01, dof: 10.0 }, true, 1e-3).unwrap().1;
    assert_near(normal, 3.290_5, 5e-4);
}

#[test]
fn scatter_that_a_good_contact_shows_once_in_a_thousand_is_not_believed() {
    // Half a step as large as the ceiling: errors of 0.03^2 + 0.03^2. Chi-squared at 0.001: 10.828 of one, 26.124 of eight.
    let spec = SettleSpec { resolution: 0.06, ..spec() };
    let step = |step| ceiling_credible(&spec, Scatter { sd: 0.0, dof: 0.0 }, step);
    let limit = (2.0 * 0.001_8 * 10.828_f64).sqrt();
    assert!(step(0.99 * limit) && !step(1.03 * limit) && step(-0.99 * limit) && !step(-1.03 * limit));
    let scatter = |sd| ceiling_credible(&spec, Scatter { sd, dof: 8.0 }, 9.0);
    let limit = (0.001_8 * 26.124 / 8.0_f64).sqrt();
    assert!(scatter(0.99 * limit) && !scatter(1.01 * limit));
}

#[test]
fn rounding_counts_in_full_until_the_noise_spans_the_steps() {
    let part = |sd, dof| undithered(&spec(), Scatter { sd, dof }, 3.090_2);
    assert_eq!(part(0.1, 4.0), 1.0);
    // Quiet digits: the first term of the series, 2 / pi.
    assert_near(part(0.0, 30.0), core::f64::consts::FRAC_2_PI, 1e-9);
    // Chi-squared of 30 at 0.001 is 59.703: the deviation is at least sqrt(30 / 59.703) of what is seen. Three quarters of
    // a step, less half a step: (2 / pi) exp(-2 pi^2 / 16) = 0.18539.
    assert_near(part(0.007_5 / (30.0_f64 / 59.703).sqrt(), 30.0), 0.185_39, 1e-2);
    // A whole step and a half: nothing is left.
    assert!(part(0.02 / (30.0_f64 / 59.703).sqrt(), 30.0) < 1e-6);
}

#[test]
fn the_standard_uncertainty_is_that_of_a_mean_of_few_readings_and_of_the_step() {
    let of = |sd, dof, late| type_a(&spec(), Scatter { sd, dof }, late);
    // 0.02 x sqrt(10 / 8) / sqrt(4), and 0.01 / sqrt(12) beside it (JCGM 101, 6.4.9.4; JCGM 100, F.2.2.1).
    assert_near(of(0.02, 10.0, 4.0), 0.011_547, 1e-5);
    // Three degrees of freedom at least: 0.02 x sqrt(3) / sqrt(4).
    assert_near(of(0.02, 1.0, 4.0), 0.017_559_4, 1e-5);
    // The floor: (0.01 / sqrt(12))^2 x (10 / 8 / 4 + 1).
    assert_near(of(0.0, 10.0, 4.0), 0.003_307_19, 1e-5);
}

#[test]
fn what_moves_little_from_reading_to_reading_and_much_over_the_window_wanders() {
    // In counts: 0 1 2 1 0. Over the window 2.8 / 4; second differences 0 -2 0: 4 / 18, times 1.2^2 = 0.32. Four deviations of
    // the rest: 4 x sqrt(0.7 - 0.32).
    let slow = obs(&[5.0, 5.01, 5.02, 5.01, 5.0]);
    assert_near(wander(&slow, &spec(), 0.005), 0.01 * 4.0 * 0.38_f64.sqrt(), 1e-6);
    // Fewer than five tell nothing; a way there without one back is an approach.
    assert_eq!(wander(&slow[..4], &spec(), 0.005), 0.0);
    assert_eq!(wander(&slow, &spec(), 0.020_01), 0.0);
    assert!(wander(&slow, &spec(), 0.019_9) > 0.0);
    // To and fro each time: the scatter from reading to reading explains it all.
    assert_eq!(wander(&obs(&[5.0, 5.02, 5.0, 5.02, 5.0]), &spec(), 0.005), 0.0);
    // More than any noise believed in has moved: 0.0084 over the window.
    let ceiling = |noise_ceiling| SettleSpec { noise_ceiling, ..spec() };
    assert_eq!(wander(&slow, &ceiling(0.008_3), 0.005), 0.0);
    assert!(wander(&slow, &ceiling(0.008_4), 0.005) > 0.0);
    // The floor counts where the readings show less: 0 1 1 1 0 by halves of a step.
    let spec = SettleSpec { noise_floor: 0.008, ..ceiling(0.02) };
    assert_eq!(wander(&slow, &spec, 0.005), 0.0);
}

#[test]
fn the_step_is_that_between_the_means_of_both_blocks() {
    // Two that bounce, 5.0 and 5.2, and two that stand at 5.5: a step of 0.4, two and two (see the split above).
    let mut window = obs(&[5.0, 5.2, 5.5, 5.5]);
    window[..2].iter_mut().for_each(|obs| obs.bouncing = true);
    let fading = StreamFacts { fading: true, ..STILL };
    let found = look(&window, &spec(), 1e-3, fading).unwrap();
    let gain = 0.581_98;
    assert_near(found.level, 5.5, 1e-9);
    // The early two scatter by 0.1 to either side: 0.02 over 4 - 2. 3.5 x 0.1 x sqrt(1 / 2 + 1 / 2) is less than the step.
    assert_near(found.scatter, 0.1, 1e-9);
    assert!(found.moving);
    assert_near(found.estimate, 5.5 + 0.2 * gain, 1e-5);
    assert_near(found.low, 5.5 - NOISE / 2.0_f64.sqrt() - 0.005, 1e-4);
    let far = NOISE * 1.191_92 + 0.005 * (1.0 + 2.0 * gain);
    assert_near(found.high, 5.5 + 0.4 * gain + far, 1e-4);
    // The spread of both blocks counts: with 0.24 to either side it is no movement.
    let mut wide = window.clone();
    (wide[0].value, wide[1].value) = (4.86, 5.34);
    assert!(!look(&wide, &spec(), 1e-3, fading).unwrap().moving);
}
