//! What may be hidden, against the least squares and the first-order errors it is defined by.

use quantity::Instant;

use super::super::{Sample, Settler};
use super::*;

fn obs(values: impl Iterator<Item = f64>, every_s: f64) -> Vec<Obs> {
    let at = |(i, value): (usize, f64)| Obs { t_s: every_s * i as f64, value, decay: 1.0, bouncing: false };
    values.enumerate().map(at).collect()
}

/// Even numbers between -0.5 and 0.5.
struct Even(u64);

impl Even {
    fn draw(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    }
}

/// What a display with two decimals shows of an approach with a time constant of 6 s, four times a second, with errors that
/// have a deviation of half a count.
fn approach(end: f64, left: f64, even: &mut Even) -> impl Iterator<Item = f64> {
    (0..160).map(move |i| {
        let error = 0.005 * (even.draw() + even.draw() + even.draw()) * 2.0;
        let shown = end + left * libm::exp(-0.25 * f64::from(i) / 6.0) + error;
        0.01 * libm::round(100.0 * shown)
    })
}

#[test]
fn what_is_given_out_holds_the_end_of_a_tail_too_slow_to_be_seen() {
    let spec = SettleSpec { conversion_s: Some(0.25), ..SettleSpec::resistance(0.01) };
    let (mut even, mut words, mut missed) = (Even(1), 0, 0);
    for i in 0..400 {
        let end = 5.0 + 0.1 * even.draw();
        let left = if i % 2 == 0 { 0.14 } else { -0.14 } + 0.02 * even.draw();
        let mut settler = Settler::new(spec).unwrap();
        // The standard uncertainty of a meter good to 0.8 % and three counts.
        settler.set_settle_floor(0.040);
        settler.set_thresholds(&[4.921, 5.001, 5.088]);
        let readings = (0_i64..).zip(approach(end, left, &mut even));
        let mut states =
            readings.map(|(i, value)| settler.push(Instant::from_micros(250_000 * i), Sample::value(value)));
        let Some(word) = states.find_map(|state| state.settled().copied()) else { continue };
        words += 1;
        missed += u32::from(!(word.low..=word.high).contains(&end));
    }
    assert!(words >= 390 && missed <= 1, "{missed} of {words}");
}

#[test]
fn a_tail_is_off_by_its_rate_times_the_time_constant_and_one_that_is_seen_hides_nothing() {
    let spec = SettleSpec::resistance(0.01);
    let readings = obs(approach(5.0, -0.12, &mut Even(1)), 0.25);
    let held = |unseen: Unseen| unseen.widen(Interval { low: 4.95, high: 4.95 }, 4.95);
    let unseen = Unseen::of(&readings[..16], &spec, false);
    assert!(held(unseen).high >= 5.0, "{unseen:?}");
    assert!(held(unseen).low <= 4.95 && unseen.tail.low > 4.9, "{unseen:?}");
    let seen = Unseen::of(&readings[..16], &spec, true);
    assert!(seen.tail.is_empty() && seen.flicker > 0.0, "{seen:?}");
    assert!(held(Unseen::of(&readings[..FEWEST - 1], &spec, false)).width() == 0.0);
}

#[test]
fn a_flicker_is_as_wide_as_errors_of_the_longest_time_constant_with_that_scatter() {
    // Errors of the first order with a deviation of 1, which keep exp(-1 / 12) of themselves: 6 s at two readings a second.
    let kept = libm::exp(-1.0 / 12.0);
    let (mut even, mut error) = (Even(1), 0.0);
    let errors = (0..50_000).map(|_| {
        error = kept * error + libm::sqrt(12.0 * (1.0 - kept * kept)) * even.draw();
        error
    });
    let deviation = flicker(&obs(errors, 0.5), &SettleSpec::resistance(0.01));
    assert!((0.98..1.02).contains(&deviation), "{deviation}");
}

fn even_spec() -> SettleSpec {
    SettleSpec { noise_floor: 0.05, tau_max_s: 6.0, ..SettleSpec::resistance(0.1) }
}

#[track_caller]
fn assert_near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-4, "{found}, expected {expected}");
}

#[test]
fn a_tail_leads_as_far_as_the_steepest_slope_goes_on_for_the_longest_time_constant() {
    let tail = |values: &[f64]| {
        let mut readings = obs(values.iter().copied(), 1.0);
        // Wherever the window lies in time.
        readings.iter_mut().for_each(|obs| obs.t_s += 100.0);
        tail_of(&readings, 2.0, &even_spec())
    };
    // Seven, one a second: the squares of -3 to 3 are 28. Two deviations of 0.05: 0.1 / sqrt(28) = 0.0188982 of the slope,
    // 0.1 / sqrt(7) = 0.0377964 of the mean. A slope of 0.1 goes on for 6 s, and none comes back.
    let (level, off) = tail(&[0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6]);
    assert_near(level, 0.3);
    assert_near(off.high, 6.0 * 0.118_898_2 + 0.037_796_4);
    assert_near(off.low, -0.037_796_4);
    let (level, off) = tail(&[0.0, -0.1, -0.2, -0.3, -0.4, -0.5, -0.6]);
    assert_near(level, -0.3);
    assert_near(off.low, -6.0 * 0.118_898_2 - 0.037_796_4);
    assert_near(off.high, 0.037_796_4);
    // It stands: as much slope as noise may hide, to either side.
    let (_, off) = tail(&[5.0; 7]);
    assert_near(off.high, 6.0 * 0.018_898_2 + 0.037_796_4);
    assert_near(off.low, -6.0 * 0.018_898_2 - 0.037_796_4);
    // A mean of 1 and a slope of (3 + 3 x 6) / 28; one second difference of 7 in five, 7 / sqrt(30) = 1.278019.
    let (level, off) = tail(&[0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 7.0]);
    assert_near(level, 1.0);
    assert_near(off.high, 6.0 * (0.75 + 0.483_046) + 0.966_092);
    assert_near(off.low, -0.966_092);
}

#[test]
fn of_several_windows_the_narrowest_counts() {
    let quiet = obs(core::iter::repeat_n(5.0, 40), 1.0);
    let spec = even_spec();
    // 32 readings: (32^3 - 32) / 12 = 2728 in squares; z(0.0005) = 3.2905 of 0.05.
    let noise = 3.290_5 * 0.05;
    let half = noise * (6.0 / 2_728.0_f64.sqrt() + 1.0 / 32.0_f64.sqrt());
    let unseen = Unseen::of(&quiet, &spec, false);
    assert!((unseen.tail.high - 5.0 - half).abs() < 1e-4 && (5.0 - unseen.tail.low - half).abs() < 1e-4);
    // Seven are enough, and the shortest window lies at the newest.
    let mut seven = quiet[..8].to_vec();
    seven[0].value = 50.0;
    let half = noise * (6.0 / 28.0_f64.sqrt() + 1.0 / 7.0_f64.sqrt());
    let unseen = Unseen::of(&seven, &spec, false);
    assert!((unseen.tail.high - 5.0 - half).abs() < 1e-3, "{unseen:?}");
    let unseen = Unseen::of(&quiet[..FEWEST], &spec, false);
    assert!((unseen.tail.high - 5.0 - half).abs() < 1e-3, "{unseen:?}");
}

#[test]
fn a_flicker_shows_less_from_reading_to_reading_the_more_of_it_is_kept() {
    // One a second of 6 s: k = exp(-1 / 6) = 0.846482, sqrt(3 / ((1 - k) (3 - k))) = 3.01237.
    let per_scatter = 3.012_37;
    // To and fro by 0.6: second differences of 1.2, 1.2 / sqrt(6) = 0.4898979.
    let to_and_fro = obs([0.0, 0.6].into_iter().cycle().take(8), 1.0);
    assert!((flicker(&to_and_fro, &even_spec()) / (0.489_897_9 * per_scatter) - 1.0).abs() < 1e-4);
    // A single jump is none: the middle one of the second differences is 0, and the floor counts.
    let jump = obs([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.6].into_iter(), 1.0);
    assert!((flicker(&jump, &even_spec()) / (0.05 * per_scatter) - 1.0).abs() < 1e-4);
    // Twice as fast: k = exp(-1 / 12) = 0.920044, 4.24726.
    let fast = obs([0.0, 0.6].into_iter().cycle().take(8), 0.5);
    assert!((flicker(&fast, &even_spec()) / (0.489_897_9 * 4.247_26) - 1.0).abs() < 1e-4);
    // Quiet digits flicker by nothing that could be seen; and the risk says how far it reaches, z(0.0005) = 3.2905.
    assert_eq!(flicker(&obs([5.0; 8].into_iter(), 1.0), &even_spec()), 0.0);
    let unseen = Unseen::of(&to_and_fro, &even_spec(), true);
    assert!((unseen.flicker / (3.290_5 * 0.489_897_9 * per_scatter) - 1.0).abs() < 1e-3);
    assert_eq!(flicker(&[], &even_spec()), 0.0);
}

#[test]
fn the_middle_one_of_absolute_normal_errors_is_0_674_deviations() {
    // In order 0 0 1 2 3: second differences of the values below are 1 -3 2 0 0.
    let found = typical_scatter(&obs([0.0, 0.0, 1.0, -1.0, -1.0, -1.0, -1.0].into_iter(), 1.0));
    assert!((found - 1.0 / (0.674_49 * 6.0_f64.sqrt())).abs() < 1e-4, "{found}");
    assert_eq!(typical_scatter(&obs([0.0, 9.0].into_iter(), 1.0)), 0.0);
}

#[test]
fn it_is_widened_to_hold_both_to_either_side() {
    let given = Interval { low: 4.0, high: 6.0 };
    let tail = Interval { low: 3.0, high: 7.0 };
    assert_eq!(Unseen { tail, flicker: 0.5 }.widen(given, 5.0), tail);
    assert_eq!(Unseen { tail, flicker: 3.0 }.widen(given, 5.0), Interval { low: 2.0, high: 8.0 });
    assert_eq!(Unseen::NOTHING.widen(given, 5.0), given);
}
