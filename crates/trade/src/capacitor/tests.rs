//! The capacitor formulas against worked values from outside. The rows named CAP-nn were computed with Python 3.11
//! (numpy 2.4.6) and stand in `tests/reference/check_values.csv` with their sources.
use super::*;
use crate::testing::{close, refused};

#[test]
fn under_load_matches_the_worked_examples() {
    // CAP-01-60, physics: 1e6/(2 pi 60)
    close(capacitance_under_load_uf(1.0, 1.0, 60.0), 2_652.582_384_865, 1e-6);
    // 1e6/(2 pi 50), the same formula at 50 Hz
    close(capacitance_under_load_uf(1.0, 1.0, 50.0), 3_183.098_861_838, 1e-6);
    // CAP-02, physics: 6.10 A, 371 V, 60 Hz
    close(capacitance_under_load_uf(6.1, 371.0, 60.0), 43.613_888_269, 1e-4);
    // CAP-03, a published calculator's example: 8.3 A, 240 V -> 91.7 uF
    close(capacitance_under_load_uf(8.3, 240.0, 60.0), 91.735_140_81, 1e-4);
    // CAP-15, physics: 45 uF at 370 V, 60 Hz
    close(current_a(45.0, 370.0, 60.0), 6.276_902_122, 1e-5);
}

#[test]
fn series_value_of_a_dual_can() {
    // CAP-11, physics: 45/5 uF can across HERM and FAN
    close(series_uf(45.0, 5.0), 4.5, 1e-9);
    // physics (four decimals printed)
    for (herm, fan, series) in
        [(25.0, 5.0, 4.1667), (35.0, 7.5, 6.1765), (60.0, 10.0, 8.5714), (80.0, 10.0, 8.8889)]
    {
        close(series_uf(herm, fan), series, 5e-5);
    }
    assert_eq!(series_uf(0.0, 0.0), Ok(0.0));
}

#[test]
fn discharge_matches_the_worked_example() {
    // CAP-08, physics: 45 uF at the crest of 440 V through 20 kohm
    let crest = crest_volts(440.0);
    close(crest, 622.253_967_444, 1e-3);
    let crest = crest.unwrap();
    close(time_constant_s(45.0, 20_000.0), 0.9, 1e-9);
    close(discharge_time_s(crest, 50.0, 45.0, 20_000.0), 2.269_192_781, 1e-4);
    close(discharge_volts(crest, 45.0, 20_000.0, 4.5), 4.192_714_253, 1e-3);
    close(discharge_power_w(crest, 20_000.0), 19.36, 1e-4);
    close(stored_energy_j(45.0, crest), 8.712, 1e-4);
    // physics: 108 uF, 440 V, 15 kohm (three decimals printed)
    close(discharge_time_s(crest, 50.0, 108.0, 15_000.0), 4.085, 5e-4);
    assert_eq!(discharge_time_s(3.0, 5.0, 45.0, 20_000.0), Ok(0.0));
}

#[test]
fn outside_the_range_is_an_error_that_says_which() {
    let error = capacitance_under_load_uf(6.1, 371.0, 0.0).unwrap_err();
    assert_eq!((error.what, error.least), ("frequency", 1.0));
    assert!(alloc::format!("{error}").contains("frequency 0 Hz is outside 1 to 1000 Hz"));
    refused(capacitance_under_load_uf(-0.1, 371.0, 60.0), "current");
    refused(series_uf(f64::NAN, 5.0), "capacitance");
    refused(discharge_time_s(f64::INFINITY, 5.0, 45.0, 2e4), "voltage");
    refused(stored_energy_j(45.0, 1e5), "voltage");
}

proptest::proptest! {
    #[test]
    fn nothing_finite_goes_in_and_comes_out_broken(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY,
                                                  c in proptest::num::f64::ANY, d in proptest::num::f64::ANY) {
        for result in [
            capacitance_under_load_uf(a, b, c), current_a(a, b, c), series_uf(a, b), time_constant_s(a, b),
            discharge_volts(a, b, c, d), discharge_time_s(a, b, c, d), stored_energy_j(a, b),
            discharge_power_w(a, b), crest_volts(a),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
    }

    #[test]
    fn current_and_capacitance_under_load_undo_each_other(uf in 0.1..500.0_f64, v in 1.0..600.0_f64, hz in 45.0..65.0_f64) {
        let back = capacitance_under_load_uf(current_a(uf, v, hz).unwrap(), v, hz).unwrap();
        proptest::prop_assert!((back - uf).abs() <= 1e-12 * uf * 8.0);
    }
}

#[test]
fn losses_temperature_and_replacement() {
    // CAP-07 (physics): 45 uF at 60 Hz, loss tangent 0.02: 1.178925504 ohm.
    close(esr_ohm(0.02, 45.0, 60.0), 1.178_925_504, 1e-5);
    close(loss_tangent(1.178_925_504, 45.0, 60.0), 0.02, 1e-9);
    // CAP-13: -300 ppm/K over 45 K are -1.35 %.
    close(at_temperature_uf(45.0, 20.0, 65.0, -300.0), 45.0 * (1.0 - 0.0135), 1e-9);
    // Common practice: 440 V for 370 V is fine, 370 V for 440 V never.
    for (plate, new, fit) in [
        ((45.0, 370.0), (45.0, 440.0), Replacement::Fits),
        ((45.0, 440.0), (45.0, 370.0), Replacement::FewerVolts),
        ((45.0, 370.0), (40.0, 440.0), Replacement::OtherCapacitance),
    ] {
        assert_eq!(replacement(plate.0, plate.1, new.0, new.1), Ok(fit));
    }
}
