//! Air side against worked values from outside. Rows named AIR-nn stand in `tests/reference/calc.csv`.
use super::*;
use crate::testing::{close, refused};

#[test]
fn heat_and_airflow() {
    // PsychroLib 2.5.0 (four decimals printed)
    for (altitude, factor) in [(0.0, 1.0784), (1000.0, 1.04), (5000.0, 0.8973), (10_000.0, 0.7416)] {
        close(sensible_factor(altitude), factor, 6e-5);
    }
    // AIR-04, definition
    close(airflow_by_rise_cfm(81_000.0, 52.0, 1.08), 1_442.307_692_308, 1e-4);
    close(airflow_by_rise_cfm(81_000.0, 52.0, sensible_factor(5000.0).unwrap()), 1_735.977_162_256, 0.5);
    close(sensible_btu_per_h(1_442.307_692_308, 52.0, 1.08), 81_000.0, 1e-3);
    // From outside (its source prints whole Btu/h): 80/67 to 59/57 °F, 2000 cfm, with the volume at the inlet
    let entering = MoistAir::from_wet_bulb(80.0, 67.0, 14.696).unwrap();
    let leaving = MoistAir::from_wet_bulb(59.0, 57.0, 14.696).unwrap();
    close(total_btu_per_h(2000.0, &entering, &leaving), 60_888.0, 1.0);
}

#[test]
fn mixing_pressure_and_velocity() {
    // AIR-06, AIR-07, AIR-08, definition
    close(outside_air_fraction(75.0, 79.0, 95.0), 0.2, 1e-9);
    close(outside_air_fraction(74.0, 73.0, 69.0), 0.2, 1e-9);
    close(outside_air_fraction(72.0, 60.0, 30.0), 0.285_714_286, 1e-9);
    refused(outside_air_fraction(72.0, 72.0, 72.5), "return and outside apart by"); // too near to each other
    // AIR-11, definition
    close(external_static_in_wc(0.42, -0.38), 0.8, 1e-9);
    // common practice: 4005 sqrt(VP) at standard density
    close(velocity_ft_per_min(1.0, 0.075), 4005.0, 1.0);
    close(airflow_by_drop_cfm(2000.0, 0.2, 0.4), 2_828.427_125, 1e-6);
}

#[test]
fn target_split_follows_the_recalled_table() {
    // AIR-12 rows, from memory; the fit's coefficients are printed rounded (the rows allow 0.06)
    for (dry, wet, split) in [
        (75.0, 62.0, 19.270_074_928),
        (76.0, 63.0, 19.160_432_367),
        (72.0, 58.0, 19.798_156_092),
        (80.0, 67.0, 18.265_605_843),
    ] {
        close(target_split_f(dry, wet), split, 1e-3);
    }
    refused(target_split_f(85.0, 67.0), "return dry bulb");
}

proptest::proptest! {
    #[test]
    fn mixed_between_both_is_a_part(warm in 60.0..80.0_f64, outside in -10.0..50.0_f64, part in 0.0..1.0_f64) {
        let mixed = warm + part * (outside - warm);
        let got = outside_air_fraction(warm, mixed, outside).unwrap();
        proptest::prop_assert!((got - part).abs() < 1e-9);
    }

    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY) {
        for result in [
            sensible_factor(a), sensible_btu_per_h(a, b, c), airflow_by_rise_cfm(a, b, c), outside_air_fraction(a, b, c),
            external_static_in_wc(a, b), velocity_ft_per_min(a, b), airflow_by_drop_cfm(a, b, c), target_split_f(a, b),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
    }
}
