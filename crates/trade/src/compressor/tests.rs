//! Compressors against worked values from outside. Rows named CMP-nn stand in `tests/reference/calc.csv`.
use super::*;
use crate::supply::unbalance_pct;
use crate::testing::{close, refused};

fn found(one_two: f64, one_three: f64, two_three: f64) -> Terminals {
    match windings(Some(one_two), Some(one_three), Some(two_three), true) {
        Ok(Windings::Found(terminals)) => terminals,
        other => panic!("{other:?}"),
    }
}

#[test]
fn terminals_match_the_worked_examples() {
    // CMP-01, physics
    let good = found(0.8, 2.4, 3.2);
    assert_eq!((good.common, good.run, good.start), (Terminal::One, Terminal::Two, Terminal::Three));
    assert!(good.sum_error_ohm.abs() < 1e-9);
    // CMP-02, physics: the sum does not hold
    assert!((found(0.8, 2.4, 2.6).sum_error_ohm + 0.6).abs() < 1e-9);
    // CMP-05: three-phase windings
    close(unbalance_pct(0.622, 0.631, 0.618), 1.175_841_796, 1e-6);
}

#[test]
fn open_pairs_are_told_apart() {
    assert_eq!(windings(None, None, Some(3.2), true), Ok(Windings::OverloadOpen { common: Terminal::One }));
    assert_eq!(windings(None, Some(3.2), None, false), Ok(Windings::WindingOpen { apart: Terminal::Two }));
    assert_eq!(windings(None, None, None, true), Ok(Windings::NothingReads));
    assert!(
        windings(Some(0.8), Some(2.4), None, true).is_err(),
        "two windings join the ends of the third pair"
    );
    refused(windings(Some(0.0), Some(2.4), Some(2.4), true), "winding resistance");
}

#[test]
fn heater_and_plate_amps() {
    // CMP-04, physics
    let heater = crankcase_heater(240.0, 70.0, 208.0).unwrap();
    for (got, want) in
        [(heater.ohms, 822.857_142_857), (heater.rated_amps, 0.291_666_667), (heater.watts, 52.577_777_778)]
    {
        assert!((got - want).abs() < 1e-6, "{got} {want}");
    }
    // CMP-03, common practice / from memory
    close(rated_load_amps(28.9, 1.56), 18.525_641_026, 1e-6);
    close(rated_load_amps(28.9, 1.4), 20.642_857_143, 1e-6);
}

#[test]
fn each_term_of_the_map_stands_in_its_place() {
    // By construction from the form of AHRI 540: one coefficient at a time, S = 2, D = 3.
    for (place, want) in [1.0, 2.0, 3.0, 4.0, 6.0, 9.0, 8.0, 12.0, 18.0, 27.0].into_iter().enumerate() {
        let mut coefficients = [0.0; 10];
        coefficients[place] = 1.0;
        close(map_value(coefficients, 2.0, 3.0), want, 1e-12);
    }
}

proptest::proptest! {
    #[test]
    fn however_the_terminals_are_numbered_they_are_found(run in 0.1..5.0_f64, more in 1.1..6.0_f64) {
        let (c_r, c_s) = (run, run * more);
        let r_s = c_r + c_s;
        // Common on 1, 2, 3 in turn, run on the next.
        let one = found(c_r, c_s, r_s);
        proptest::prop_assert_eq!((one.common, one.run, one.start), (Terminal::One, Terminal::Two, Terminal::Three));
        let two = found(c_s, r_s, c_r);
        proptest::prop_assert_eq!((two.common, two.run, two.start), (Terminal::Two, Terminal::Three, Terminal::One));
        let three = found(r_s, c_r, c_s);
        proptest::prop_assert_eq!((three.common, three.run, three.start), (Terminal::Three, Terminal::One, Terminal::Two));
    }

    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY) {
        if let Ok(Windings::Found(terminals)) = windings(Some(a), Some(b), Some(c), false) {
            proptest::prop_assert!(terminals.sum_error_ohm.is_finite());
        }
        for result in [
            crankcase_heater(a, b, c).map(|heater| heater.watts), rated_load_amps(a, b), map_value([a; 10], b, c),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
    }
}
