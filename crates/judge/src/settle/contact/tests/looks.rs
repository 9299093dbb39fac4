//! All looks at one contact together: what goes into them and what is kept of them.

use super::*;

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
fn a_ring_that_makes_the_contact_begin_anew_may_still_come_back() {
    // Up by 16 and over the top; from 44.96 it falls by more than it rose last, and settling begins anew at 41.50.
    let spec = SettleSpec { bounce_s: 0.0, ..SettleSpec::capacitance(0.01) };
    let ring = [28.10, 38.04, 43.61, 44.96, 43.61, 41.50, 39.93, 39.30, 39.37];
    let mut contact = Contact::begin(at(0.0), ring[0], &spec);
    let starts = Starts::new();
    for (i, value) in (1..).zip(&ring[1..]) {
        let now = at(0.25 * f64::from(i));
        if contact.weigh_step(now, *value, &spec).is_none() {
            contact.append(now, *value, &spec);
            contact.look_at_all(&spec, &starts);
        }
    }
    assert_eq!(contact.n, 4, "begun anew");
    // It came down by 5.59 from the top, and ends at 40.21.
    assert!((contact.rebound - 0.35 * (44.96 - 39.37)).abs() < 1e-9, "{}", contact.rebound);
    assert!(contact.given(39.6, &spec).high > 40.21);
    // What open leads had shown is no way that it went.
    let mut contact = seen(&[0.01, 0.02, 0.01], 0.25, &spec);
    let _ = contact.weigh_step(at(0.75), 28.10, &spec);
    let _ = contact.weigh_step(at(1.0), 38.04, &spec);
    assert_eq!((contact.n, contact.before.len()), (2, 0));
}
