//! Sensors against published tables. Rows named SEN-nn stand in `tests/reference/calc.csv`.
use super::*;
use crate::testing::{close, refused};

#[test]
fn platinum_follows_its_table() {
    // IEC 60751; SEN-01 for 23 °C, the rest computed outside (four decimals)
    close(platinum_ohm(1000.0, 23.0), 1_089.585_402_5, 1e-4);
    for (celsius, ohms) in [
        (-40.0, 84.2707),
        (-30.0, 88.2217),
        (-20.0, 92.1599),
        (0.0, 100.0),
        (40.0, 115.5408),
        (100.0, 138.5055),
        (150.0, 157.325),
    ] {
        close(platinum_ohm(100.0, celsius), ohms, 6e-4);
        close(platinum_c(100.0, ohms), celsius, 2e-3);
    }
    refused(platinum_c(100.0, 18.0), "resistance");
    refused(platinum_c(100.0, 400.0), "resistance");
}

#[test]
fn thermistors_follow_their_tables() {
    // SEN-02, coefficients looked up
    close(thermistor_c(Thermistor::TypeII, 12_490.0), 20.005_620_028, 1e-3);
    // type II, computed outside; agrees with a published table within 0.004 K
    for (celsius, ohms) in [(-40.0, 336_045.5), (-20.0, 96_998.2), (-10.0, 55_300.5), (-5.0, 42_314.6)] {
        close(thermistor_ohm(Thermistor::TypeII, celsius), ohms, 1e-6 * ohms);
    }
    // published tables, as rounded there: type II 25 °C 10,000, 50 °C 3601; type III 0 °C 29,500, 25 °C 10,002, 50 °C 3892
    for (thermistor, celsius, ohms) in [
        (Thermistor::TypeII, 25.0, 10_000.0),
        (Thermistor::TypeII, 50.0, 3_601.0),
        (Thermistor::TypeIII, 0.0, 29_500.0),
        (Thermistor::TypeIII, 25.0, 10_002.0),
        (Thermistor::TypeIII, 50.0, 3_892.0),
    ] {
        close(thermistor_ohm(thermistor, celsius), ohms, 3e-4 * ohms);
    }
}

#[test]
fn the_wrong_type_shows_away_from_25_degrees() {
    // computed outside (two decimals)
    for (truth, ii_as_iii, iii_as_ii) in
        [(-20.0, -23.9, -16.41), (-10.0, -13.04, -7.2), (0.0, -2.17, 2.0), (15.0, 14.13, 15.8)]
    {
        close(shown_if_misconfigured_c(Thermistor::TypeII, Thermistor::TypeIII, truth), ii_as_iii, 6e-3);
        close(shown_if_misconfigured_c(Thermistor::TypeIII, Thermistor::TypeII, truth), iii_as_ii, 6e-3);
    }
    let at_25 = shown_if_misconfigured_c(Thermistor::TypeII, Thermistor::TypeIII, 25.0).unwrap();
    assert!((at_25 - 25.0).abs() < 0.05, "{at_25}");
}

#[test]
fn loops_have_fault_bands() {
    // SEN-03, definition
    assert_eq!(loop_4_20_ma(4.0), Ok(Loop::Percent(0.0)));
    assert!(matches!(loop_4_20_ma(13.6), Ok(Loop::Percent(p)) if (p - 60.0).abs() < 1e-9));
    // SEN-04, definition
    assert!(matches!(loop_2_10_v(7.2), Ok(Loop::Percent(p)) if (p - 65.0).abs() < 1e-9));
    // NAMUR NE 43, from memory
    for (milliamps, says) in [(0.0, Loop::FaultLow), (3.6, Loop::FaultLow), (21.0, Loop::FaultHigh)] {
        assert_eq!(loop_4_20_ma(milliamps), Ok(says));
    }
    assert!(
        matches!(loop_4_20_ma(3.8), Ok(Loop::Percent(_)))
            && matches!(loop_4_20_ma(20.5), Ok(Loop::Percent(_)))
    );
    assert_eq!(loop_2_10_v(0.0), Ok(Loop::FaultLow));
    refused(loop_4_20_ma(f64::NAN), "loop current");
}

proptest::proptest! {
    #[test]
    fn resistance_and_temperature_undo_each_other(celsius in -55.0..150.0_f64) {
        for thermistor in [Thermistor::TypeII, Thermistor::TypeIII] {
            let back = thermistor_c(thermistor, thermistor_ohm(thermistor, celsius).unwrap()).unwrap();
            proptest::prop_assert!((back - celsius).abs() < 1e-8, "{thermistor:?}: {back}");
        }
    }

    #[test]
    fn platinum_round_trip(celsius in -200.0..850.0_f64, nominal in 10.0..10_000.0_f64) {
        let back = platinum_c(nominal, platinum_ohm(nominal, celsius).unwrap()).unwrap();
        proptest::prop_assert!((back - celsius).abs() < 1e-8, "{back}");
    }

    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY) {
        for result in [
            platinum_ohm(a, b), platinum_c(a, b), thermistor_c(Thermistor::TypeII, a), thermistor_ohm(Thermistor::TypeIII, a),
            shown_if_misconfigured_c(Thermistor::TypeII, Thermistor::TypeIII, a),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
        let _ = (loop_4_20_ma(a), loop_2_10_v(b));
    }
}
