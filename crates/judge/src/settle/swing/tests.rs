//! Travel and turning points of short streams, one reading each quarter of a second.

use super::*;

/// A spec whose ring comes back all the way; a step of 0.01, noise of at most 0.03.
fn spec() -> SettleSpec {
    SettleSpec { rebound: 1.0, noise_ceiling: 0.03, ..SettleSpec::new(0.01) }
}

fn travel(obs: &[Obs], noise: f64) -> f64 {
    way_back(obs, noise, &spec())
}

fn obs(values: &[f64]) -> Vec<Obs> {
    let at = |i: usize| 0.25 * i as f64;
    values
        .iter()
        .enumerate()
        .map(|(i, value)| Obs { t_s: at(i), value: *value, decay: 1.0, bouncing: false })
        .collect()
}

#[test]
fn a_rise_counts_until_it_has_stood_as_long_as_it_took() {
    let rise = [11.77, 13.55, 15.11, 15.82, 15.80];
    assert!((travel(&obs(&rise), 0.09) - 4.03).abs() < 0.03, "{}", travel(&obs(&rise), 0.09));
    let stands = [11.77, 13.55, 15.11, 15.82, 15.80, 15.81, 15.80, 15.81];
    assert_eq!(travel(&obs(&stands), 0.09), 0.0);
}

#[test]
fn a_way_back_does_not_hide_the_way_there() {
    let ring = [26.4, 31.4, 35.8, 38.7, 40.2, 40.5, 40.2];
    assert!(travel(&obs(&ring), 0.09) > 14.0);
}

#[test]
fn a_first_partial_conversion_is_no_travel() {
    assert_eq!(travel(&obs(&[22.4, 40.0, 40.0]), 0.09), 0.0);
}

/// The values of each run.
fn cut(values: &[f64], noise: f64) -> Vec<Vec<f64>> {
    runs(&obs(values), noise).iter().map(|run| run.iter().map(|obs| obs.value).collect()).collect()
}

#[test]
fn runs_end_at_turning_points_and_share_them() {
    let up_first = [0.0, 3.0, 6.0, 2.0, 5.0, 9.0, 8.95];
    let runs: [&[f64]; 3] = [&[0.0, 3.0, 6.0], &[6.0, 2.0], &[2.0, 5.0, 9.0, 8.95]];
    assert_eq!(cut(&up_first, 0.1), runs);
    let down_first = up_first.map(|value| -value);
    assert_eq!(cut(&down_first, 0.1), runs.map(|run| run.iter().map(|value| -value).collect::<Vec<_>>()));
    // A turn is seen once it has gone back by more than the noise, and lies where it was.
    let slow: [&[f64]; 2] = [&[0.0, 8.0, 10.0], &[10.0, 9.5, 9.0, 8.5]];
    assert_eq!(cut(&[0.0, 8.0, 10.0, 9.5, 9.0, 8.5], 1.0), slow);
    // By no more than the noise: none.
    assert_eq!(cut(&[0.0, 4.0, 3.0, 4.0, 5.0], 1.0).len(), 1);
    assert_eq!(cut(&[5.0, 1.0, 2.0, 1.0, 0.0], 1.0).len(), 1);
    assert_eq!(cut(&[0.0, 0.5, 0.0, 0.5, 0.0], 1.0).len(), 1);
    // Of equal highest values the first is the turning point.
    let flat: [&[f64]; 2] = [&[0.0, 5.0], &[5.0, 5.0, 2.0]];
    assert_eq!(cut(&[0.0, 5.0, 5.0, 2.0], 1.0), flat);
    let flat: [&[f64]; 2] = [&[5.0, 0.0], &[0.0, 0.0, 3.0]];
    assert_eq!(cut(&[5.0, 0.0, 0.0, 3.0], 1.0), flat);
    assert_eq!(cut(&[], 1.0), [Vec::<f64>::new()]);
}

#[test]
fn readings_go_one_way_when_their_ends_span_them_but_for_noise() {
    let one_way = |values: &[f64], noise| goes_one_way(&obs(values), noise);
    assert!(one_way(&[0.0, 2.0, 5.0], 0.0) && one_way(&[5.0, 2.0, 0.0], 0.0) && one_way(&[], 0.0));
    // Two beyond the end: not less than the noise of two.
    assert!(one_way(&[0.0, 7.0, 5.0], 2.0) && !one_way(&[0.0, 7.0, 5.0], 1.9));
    assert!(one_way(&[0.0, -2.0, 5.0], 2.0) && !one_way(&[0.0, -2.0, 5.0], 1.9));
    assert!(one_way(&[10.0, 17.0, 15.0], 2.0) && !one_way(&[10.0, 17.0, 15.0], 1.9));
}

#[test]
fn a_movement_counts_until_it_has_stood_for_as_long_as_it_took() {
    // Two steps up, then as many readings of rest.
    assert_eq!(travel(&obs(&[0.0, 1.0, 2.0]), 0.1), 2.0);
    assert_eq!(travel(&obs(&[0.0, 1.0, 2.0, 2.0]), 0.1), 2.0);
    assert_eq!(travel(&obs(&[0.0, 1.0, 2.0, 2.0, 2.0]), 0.1), 0.0);
    assert_eq!(travel(&obs(&[0.0, -1.0, -2.0, -2.0]), 0.1), 2.0);
    // What began later counts from its own beginning: it stood at 5, then two steps, then two of rest.
    assert_eq!(travel(&obs(&[5.0, 5.0, 5.0, 6.0, 7.0]), 0.1), 2.0);
    assert_eq!(travel(&obs(&[]), 0.1), 0.0);
    assert_eq!(travel(&obs(&[5.0, 5.0, 5.0]), 0.1), 0.0);
}

#[test]
fn a_movement_has_ended_when_a_fiftieth_of_it_is_left_or_only_noise() {
    // 98.5 of 100 is the end: two steps there, two of rest. 97.5 is not: three, and one.
    assert_eq!(travel(&obs(&[0.0, 60.0, 98.5, 100.0, 100.0]), 0.1), 0.0);
    assert_eq!(travel(&obs(&[0.0, 60.0, 97.5, 100.0, 100.0]), 0.1), 100.0);
    // Few readings do not tell their noise, so it is taken at its least: three deviations of the rounding and
    // a step, 0.0187 where that is 0.01. Five tell it.
    assert_eq!(travel(&obs(&[0.0, 60.0, 97.5, 100.0, 100.0]), 3.0), 100.0);
    assert_eq!(travel(&obs(&[0.0, 0.25, 0.480, 0.5, 0.5]), 0.1), 0.5);
    assert_eq!(travel(&obs(&[0.0, 0.25, 0.482, 0.5, 0.5]), 0.1), 0.0);
    let noisy = [0.0, 1.0, 1.5, 1.94, 2.0, 1.94, 2.0, 1.94, 2.0];
    assert_eq!(travel(&obs(&noisy[..7]), 0.1), 2.0);
    assert_eq!(travel(&obs(&noisy), 0.1), 0.0);
}

#[test]
fn the_top_of_a_ring_is_no_noise() {
    // 24.02, 24.47, 24.24 may be three noisy readings, or the top of a ring that began at 17.66: it comes back to 23.53.
    let ring = [17.66, 22.08, 24.02, 24.47, 24.24];
    let spec = SettleSpec { rebound: 0.35, ..SettleSpec::current(0.01) };
    assert!((way_back(&obs(&ring), 0.24, &spec) - 0.35 * (24.24 - 17.66)).abs() < 1e-9);
}

#[test]
fn what_jumps_out_of_rest_may_come_back_all_the_way_until_three_stand() {
    let spec = SettleSpec { rebound: 0.35, ..SettleSpec::resistance(0.01) };
    let back = |values: &[f64]| way_back(&obs(values), 0.09, &spec);
    let near = |found: f64, expected: f64| (found - expected).abs() < 1e-9;
    // Two that are off the same way: no approach begins so.
    assert!(near(back(&[8.94, 8.94, 8.95, 9.13, 9.17]), 0.23), "{}", back(&[8.94, 8.94, 8.95, 9.13, 9.17]));
    // The first conversion agrees with the second: it saw all of the contact.
    assert!(near(back(&[13.54, 13.54, 13.70, 13.76]), 0.22));
    assert!(near(back(&[13.54, 13.54, 13.76, 13.76]), 0.22));
    assert!(near(back(&[13.54, 13.54, 13.76, 13.76, 13.76]), 0.0));
    // A movement that had begun, and one that begins gently, come back as a ring does.
    assert!(near(back(&[13.30, 13.54, 13.76]), 0.35 * 0.46));
    assert!(near(back(&[13.30, 13.30, 13.40, 13.60, 13.76]), 0.35 * 0.46));
}

#[test]
fn of_two_movements_the_longer_counts_while_it_may_come_back() {
    // Up by 10 in two steps and back by 4 in one.
    assert_eq!(travel(&obs(&[0.0, 5.0, 10.0, 6.0]), 0.1), 10.0);
    // Two readings after the turn the way there is over, and the way back two after that.
    assert_eq!(travel(&obs(&[0.0, 5.0, 10.0, 6.0, 2.0]), 0.1), 8.0);
    assert_eq!(travel(&obs(&[0.0, 5.0, 10.0, 6.0, 2.0, 2.0]), 0.1), 8.0);
    assert_eq!(travel(&obs(&[0.0, 5.0, 10.0, 6.0, 2.0, 2.0, 2.0]), 0.1), 0.0);
}

#[test]
fn the_first_value_counts_where_the_movement_goes_on_from_it() {
    // Twenty times the next step is the most.
    assert_eq!(travel(&obs(&[0.0, 20.0, 21.0]), 0.1), 21.0);
    assert_eq!(travel(&obs(&[0.0, 20.5, 21.5]), 0.1), 1.0);
    assert_eq!(travel(&obs(&[121.0, 101.0, 100.0]), 0.1), 21.0);
    assert_eq!(travel(&obs(&[121.5, 101.0, 100.0]), 0.1), 1.0);
    // The next goes back, or stands: the first was a part of the contact only.
    assert_eq!(travel(&obs(&[0.0, 10.0, 9.0]), 0.1), 1.0);
    assert_eq!(travel(&obs(&[30.0, 10.0, 11.0]), 0.1), 1.0);
    assert_eq!(travel(&obs(&[0.0, 10.0, 10.0]), 0.1), 0.0);
}
