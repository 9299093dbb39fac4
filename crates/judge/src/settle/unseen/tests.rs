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
