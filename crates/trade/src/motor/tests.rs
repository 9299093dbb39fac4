//! Motors against worked values from outside. Rows named MOT-nn stand in `tests/reference/calc.csv`.
use super::*;
use crate::supply::unbalance_pct;
use crate::testing::{close, refused};

#[test]
fn resistance_and_temperature_match_the_tables() {
    // computed outside (IEC 60034-1, from memory; six digits printed)
    for (at, copper, aluminium) in
        [(-20.0, 0.826_59, 0.82), (60.0, 1.134_875, 1.14), (120.0, 1.366_089, 1.38)]
    {
        close(resistance_at_ohm(1.0, 25.0, at, Metal::Copper), copper, 1e-6);
        close(resistance_at_ohm(1.0, 25.0, at, Metal::Aluminium), aluminium, 1e-6);
    }
    // MOT-02, IEC 60034-1
    close(temperature_c(2.1, 22.0, 2.58, Metal::Copper), 80.628_571_429, 1e-6);
    // MOT-03: three windings
    close(unbalance_pct(1.21, 1.23, 1.27), 2.695_417_79, 1e-6);
    refused(temperature_c(0.001, 22.0, 1000.0, Metal::Copper), "temperature by resistance"); // no winding is so hot
}

#[test]
fn insulation_matches_both_corrections() {
    // MOT-08, IEEE 43-2013 6.3 (from memory)
    close(insulation_at_40c_mohm(180.0, 20.0, Insulation::Thermoset), 137.200_845_246, 1e-4);
    // MOT-07: 45 Mohm by the halving rule (rule of thumb)
    close(insulation_at_40c_mohm(180.0, 20.0, Insulation::Thermoplastic), 45.0, 1e-9);
    // the same two formulas, computed outside (five decimals)
    for (at, halving, thermoset) in
        [(10.0, 0.125, 0.655_96), (40.0, 1.0, 1.0), (60.0, 4.0, 2.251_67), (85.0, 22.627_42, 5.467_02)]
    {
        close(insulation_at_40c_mohm(1.0, at, Insulation::Thermoplastic), halving, 1e-5);
        close(insulation_at_40c_mohm(1.0, at, Insulation::Thermoset), thermoset, 1e-5);
    }
    refused(insulation_at_40c_mohm(180.0, 5.0, Insulation::Thermoset), "winding temperature"); // below its range
    close(absorption_ratio(200.0, 500.0), 2.5, 1e-12);
}

#[test]
fn speed_load_and_power() {
    close(synchronous_rpm(60.0, 4.0), 1800.0, 1e-9);
    refused(synchronous_rpm(60.0, 3.0), "even number of poles");
    // definition: 1800 against 1725 rpm
    close(slip_pct(1800.0, 1725.0), 4.166_666_667, 1e-6);
    // at rated speed and volts the load is the rated one, by construction
    close(load_by_slip(1800.0, 1725.0, 1725.0, 460.0, 460.0), 1.0, 1e-12);
    close(load_by_slip(1800.0, 1725.0, 1762.5, 460.0, 460.0), 0.5, 1e-12);
    refused(load_by_slip(1800.0, 1800.0, 1725.0, 460.0, 460.0), "rated speed");
    // MOT-06, common practice
    close(load_by_amps(6.4, 7.6, 455.0, 460.0), 0.832_951_945, 1e-6);
    // MOT-05, definition
    close(three_phase_kw(460.0, 7.8, 0.8), 4.971_678_638, 1e-6);
}

proptest::proptest! {
    #[test]
    fn temperature_and_resistance_undo_each_other(ohms in 0.01..100.0_f64, cold in -20.0..60.0_f64, hot in -20.0..200.0_f64) {
        for metal in [Metal::Copper, Metal::Aluminium] {
            let hot_ohms = resistance_at_ohm(ohms, cold, hot, metal).unwrap();
            let back = temperature_c(ohms, cold, hot_ohms, metal).unwrap();
            proptest::prop_assert!((back - hot).abs() < 1e-9);
        }
    }

    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY,
                                d in proptest::num::f64::ANY, e in proptest::num::f64::ANY) {
        for result in [
            resistance_at_ohm(a, b, c, Metal::Copper), temperature_c(a, b, c, Metal::Aluminium),
            insulation_at_40c_mohm(a, b, Insulation::Thermoset), insulation_at_40c_mohm(a, b, Insulation::Thermoplastic),
            absorption_ratio(a, b), synchronous_rpm(a, b), slip_pct(a, b), load_by_slip(a, b, c, d, e),
            load_by_amps(a, b, c, d), three_phase_kw(a, b, c),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
    }
}
