//! How fast and how slowly fading, with figures worked out by hand. Values that climb evenly from reading to reading have no scatter,
//! however uneven the times are: so the noise is that of the floor, and the figures are simple.

use alloc::vec::Vec;

use super::*;

/// A step of 0.2, a noise of 0.1 at least; time constants of 1 s and 20 s.
fn spec() -> SettleSpec {
    SettleSpec { noise_floor: 0.1, tau_s: 1.0, tau_max_s: 20.0, ..SettleSpec::new(0.2) }
}

fn obs(readings: &[(f64, f64)]) -> Vec<Obs> {
    readings
        .iter()
        .map(|(t_s, value)| Obs { t_s: *t_s, value: *value, decay: 1.0, bouncing: false })
        .collect()
}

/// `count` readings, one a second, each `step` above the one before.
fn climb(count: usize, step: f64) -> Vec<Obs> {
    obs(&(0..count).map(|i| (i as f64, step * i as f64)).collect::<Vec<_>>())
}

fn still() -> Tempo {
    Tempo { tau_s: 1.0, slope: None, rate: None, noise: 0.0 }
}

fn looked(readings: &[(f64, f64)], block: usize, spec: &SettleSpec) -> Tempo {
    let mut tempo = still();
    tempo.look(&obs(readings), block, spec);
    tempo
}

#[track_caller]
fn assert_near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-4 * expected.abs(), "{found}, expected {expected}");
}

/// Two blocks of two, 2 s and then 3.5 s apart, of 2 each: rates of 1 and of 2 / 3.5.
const SLOWER: [(f64, f64); 6] = [(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (3.0, 3.0), (5.0, 4.0), (7.0, 5.0)];

#[test]
fn second_differences_of_independent_errors_have_six_times_their_variance() {
    let scatter =
        |values: &[f64]| quick_scatter(&obs(&values.iter().map(|value| (0.0, *value)).collect::<Vec<_>>()));
    // -2; 3 and -6: (9 + 36) / (6 x 2).
    assert_near(scatter(&[0.0, 1.0, 0.0]), (4.0_f64 / 6.0).sqrt());
    assert_near(scatter(&[0.0, 0.0, 3.0, 0.0]), 3.75_f64.sqrt());
    assert_eq!(scatter(&[0.0, 1.0, 2.0, 3.0]), 0.0, "a slope leaves no trace");
    assert_eq!(scatter(&[0.0, 9.0]), 0.0);
}

#[test]
fn what_stands_has_the_short_time_constant_and_no_rate() {
    let tempo = Tempo::of(&climb(40, 0.0), &spec());
    assert_eq!((tempo.tau_s, tempo.slope, tempo.rate), (1.0, None, None));
    assert_eq!(Tempo::of(&[], &spec()).tau_s, 1.0);
}

#[test]
fn what_differs_by_three_scatters_of_the_newest_twelve_and_a_step_has_moved() {
    let spec = SettleSpec { noise_ceiling: 0.5, ..spec() };
    let noise = |height: f64, before: usize| {
        let mut readings = climb(24, 0.0);
        readings.iter_mut().skip(before).step_by(2).for_each(|obs| obs.value = height);
        Tempo::of(&readings, &spec).noise
    };
    // Second differences of 2 h each time: 3 x 2 h / sqrt(6) and 0.2.
    assert_near(noise(0.1, 0), 0.2 + 0.6 / 6.0_f64.sqrt());
    assert_near(noise(0.0, 0), 0.2);
    // Three of the ceiling at most.
    assert_near(noise(1.0, 0), 1.5);
    // Only the newest twelve.
    let mut early = climb(24, 0.0);
    early[11].value = 100.0;
    assert_near(Tempo::of(&early, &spec).noise, 0.2);
    early[12].value = 0.1;
    assert!(Tempo::of(&early, &spec).noise > 0.2);
}

#[test]
fn a_step_between_blocks_is_seen_from_three_standard_errors_on() {
    // Of one reading each: 3 x 0.1 x sqrt(2) = 0.42426; of two, 0.3.
    let one = |step: f64| looked(&[(0.0, 5.0), (2.0, 5.0 + step)], 1, &spec());
    assert_eq!(one(0.424).rate, None);
    assert_near(one(0.425).rate.unwrap(), 0.2125);
    assert_near(one(-0.425).rate.unwrap(), -0.2125);
    let two = |step: f64| {
        let readings = [(0.0, 0.0), (1.0, 0.5 * step), (2.0, step), (3.0, 1.5 * step)];
        looked(&readings, 2, &spec())
    };
    assert_eq!(two(0.299).rate, None);
    assert_near(two(0.301).rate.unwrap(), 0.1505);
    // What is seen and has nothing before it may fade four times as slowly as the longest time constant.
    assert_eq!((one(0.424).tau_s, one(0.425).tau_s), (1.0, 80.0));
    assert_eq!(looked(&[(0.0, 0.0)], 1, &spec()).tau_s, 1.0);
    // The third block is not whole.
    assert_eq!(looked(&SLOWER[1..], 2, &spec()).tau_s, 80.0);
    // The scatter counts where it is more: 3 x 2 / sqrt(6) x sqrt(2) = 3.464, more than the step of 1.
    assert_eq!(looked(&[(0.0, 3.0), (1.0, 2.0), (2.0, 3.0)], 1, &spec()).rate, None);
}

#[test]
fn steps_between_blocks_stand_as_exp_of_minus_the_time_over_tau() {
    // Steps of 3 in 1 s and in 2 s. The earlier at its least, 3 - 0.42426 - 0.1, the later at its most, 3.52426 / 2: their
    // ratio is 1.40497, and over 1.5 s that is a tau of 1.5 / 0.34001; a quarter more.
    let one = looked(&[(0.0, 0.0), (1.0, 3.0), (3.0, 6.0)], 1, &spec());
    assert_near(one.tau_s, 5.514_5);
    assert_near(one.rate.unwrap(), 1.5);
    // The same way down.
    assert_near(looked(&[(0.0, 0.0), (1.0, -3.0), (3.0, -6.0)], 1, &spec()).tau_s, 5.514_5);
    // Blocks of two: (2 - 0.4) / 2 over (2 + 0.4) / 3.5 is 7 / 6, over 2.75 s: 1.25 x 2.75 / 0.154151.
    assert_near(looked(&SLOWER, 2, &spec()).tau_s, 22.299_6);
    // The longest of all looks counts, four of the longest time constant at most.
    let mut tempo = Tempo { tau_s: 30.0, ..still() };
    tempo.look(&obs(&SLOWER), 2, &spec());
    assert_eq!(tempo.tau_s, 30.0);
    assert_eq!(looked(&SLOWER, 2, &SettleSpec { tau_max_s: 5.0, ..spec() }).tau_s, 20.0);
    // It does not tell: a turn, or the later step may be as fast as the earlier one.
    let turn = [(0.0, 6.0), (1.0, 5.0), (2.0, 4.0), (3.0, 4.0), (4.0, 5.0), (5.0, 6.0)];
    assert_eq!(looked(&turn, 2, &spec()).tau_s, 80.0);
    let even = [(0.0, 0.0), (1.0, 3.0), (2.0, 6.0)];
    assert_eq!(looked(&even, 1, &spec()).tau_s, 80.0);
}

#[test]
fn a_rate_that_fades_more_slowly_than_the_longest_time_constant_is_a_slope() {
    // 1 a second, 2.75 s later 0.57143; it is told from (3 x 0.1 x sqrt(6 / 2) + 0.1) / 3.5 = 0.17703 on. An approach leaves
    // exp(-2.75 / tau): that is 0.39440 at tau = 2.9557.
    let slope = |tau_max_s: f64| looked(&SLOWER, 2, &SettleSpec { tau_max_s, ..spec() }).slope;
    assert_near(slope(2.95).unwrap(), 2.0 / 3.5);
    assert_eq!(slope(2.96), None);
    let falling = SLOWER.map(|(t_s, value)| (t_s, -value));
    let spec = SettleSpec { tau_max_s: 2.0, ..spec() };
    assert_near(looked(&falling, 2, &spec).slope.unwrap(), -2.0 / 3.5);
    // Of several the fastest counts, and of the rates that of the shortest blocks, which comes first.
    for (before, slope) in [(0.6, 0.6), (-0.6, -0.6), (0.5, 2.0 / 3.5), (-0.5, 2.0 / 3.5)] {
        let mut tempo = Tempo { slope: Some(before), rate: Some(0.1), ..still() };
        tempo.look(&obs(&SLOWER), 2, &spec);
        assert_near(tempo.slope.unwrap(), slope);
        assert_eq!(tempo.rate, Some(0.1));
    }
    // A turn is no slope, though both rates are large.
    let turn = [(0.0, 6.0), (1.0, 5.0), (2.0, 4.0), (3.0, 4.0), (4.0, 5.0), (5.0, 6.0)];
    assert_eq!(looked(&turn, 2, &spec).slope, None);
}

#[test]
fn the_more_readings_the_slower_a_movement_that_is_seen() {
    // Blocks of `b` readings are `b r` apart at a rate `r`, and that is seen from 3 x 0.1 x sqrt(2 / b) on: a rate of
    // 0.424264 / b^1.5. Two blocks do for one reading or two, three for more.
    let blocks = [(1, 2), (2, 4), (3, 9), (4, 12), (6, 18), (8, 24), (12, 36), (16, 48), (32, 96)];
    for (block, count) in blocks {
        let rate = 1.01 * 0.424_264 / f64::from(block).powf(1.5);
        assert_eq!(Tempo::of(&climb(count - 1, rate), &spec()).rate, None, "{block}");
        assert_near(Tempo::of(&climb(count, rate), &spec()).rate.unwrap(), rate);
        assert_near(Tempo::of(&climb(count + 1, rate), &spec()).rate.unwrap(), rate);
        assert_eq!(Tempo::of(&climb(count, 0.98 * rate), &spec()).rate, None, "{block}");
    }
    // A block of two beside one of one is none: 0.375 apart, and seen from 0.3 on.
    assert_eq!(Tempo::of(&climb(3, 0.25), &spec()).rate, None);
}

#[test]
fn of_an_exponential_the_time_constant_is_found_and_not_much_more() {
    // 12 s, one reading a second, 8 to come; noise of a thousandth.
    let spec = SettleSpec { noise_floor: 0.001, resolution: 0.002, tau_max_s: 60.0, ..spec() };
    let values: Vec<(f64, f64)> =
        (0..48).map(|i| (f64::from(i), -8.0 * libm::exp(-f64::from(i) / 12.0))).collect();
    let mut tempo = still();
    tempo.look(&obs(&values), 16, &spec);
    // A quarter is added, and half a display step and three standard errors to each side.
    assert!((15.0..15.4).contains(&tempo.tau_s), "{tempo:?}");
    assert_eq!(tempo.slope, None);
}
