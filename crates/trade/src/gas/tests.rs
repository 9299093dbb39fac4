//! Gas heat against worked values from outside. Rows named GAS-nn stand in `tests/reference/calc.csv`.
use super::*;
use crate::testing::{close, refused};

#[test]
fn clocking_and_pressure_match_the_worked_examples() {
    // GAS-08, definition
    close(clocked_ft3_per_h(2.0, 72.0), 100.0, 1e-9);
    close(input_btu_per_h(100.0, 1030.0), 103_000.0, 1e-6);
    // GAS-09, gas law; the row takes 0.0361 psi for an inch of water, the definition (UCUM) is 0.036127
    let row = 100.0 * (12.23 + 7.0 * 0.0361) / 14.73 * 520.0 / 540.0;
    assert!((row - 81.604_737_12_f64).abs() < 1e-4);
    close(standard_ft3_per_h(100.0, 12.23, 7.0, 80.0), row, 2e-3);
    // GAS-10, orifice law; the rest by the same law, computed outside (five decimals)
    close(input_ratio(3.2, 3.5), 0.956_182_887, 1e-7);
    for (manifold, ratio) in [(2.0, 0.755_93), (2.8, 0.894_43), (3.6, 1.014_19)] {
        close(input_ratio(manifold, 3.5), ratio, 5e-6);
    }
    // A switch stamped 0.40 in. w.c. with 0.48 on it holds by a fifth: definition.
    close(draft_margin(0.48, 0.40), 0.2, 1e-12);
    refused(draft_margin(-0.48, 0.40), "draft");
    refused(draft_margin(0.48, 0.0), "set point of the switch");
    // by definition, computed outside
    close(clocked_ft3_per_h(0.5, 24.0), 75.0, 1e-9);
    // GAS-11, NFPA 54 from memory
    close(input_at_altitude_btu_per_h(100_000.0, 5000.0), 80_000.0, 1e-9);
    close(input_at_altitude_btu_per_h(100_000.0, 2000.0), 100_000.0, 1e-9);
}

#[test]
fn carbon_monoxide_air_free() {
    // GAS-03; GAS-01 and GAS-02 (one decimal)
    close(co_air_free_ppm(240.0, 8.5), 404.516_129_032, 1e-4);
    close(co_air_free_ppm(87.0, 5.0), 114.4, 0.05);
    close(co_air_free_ppm(50.0, 7.0), 75.2, 0.05);
    // stoichiometry, computed outside: 8.347 % CO2 at 6 % O2, factor 1.4027 (field constant 20.9); both ways agree within 0.3 %
    close(co_air_free_by_co2_ppm(100.0, 8.347, Fuel::Natural), 140.27, 0.4);
}

#[test]
fn combustion_matches_the_table() {
    // stoichiometry (computed outside with dry air of 20.946 % oxygen)
    assert!((Fuel::Natural.co2_max_pct() - 11.698).abs() < 5e-4);
    for (oxygen, excess) in
        [(0.0, 0.0), (1.0, 4.49), (2.0, 9.45), (3.0, 14.97), (4.0, 21.13), (5.0, 28.07), (6.0, 35.94)]
    {
        close(excess_air_pct(oxygen, Fuel::Natural), excess, 6e-3);
    }
    // the same table: Siegert's loss at 180 K over air (three decimals printed)
    for (oxygen, loss) in [(0.0, 7.277), (3.0, 8.22), (6.0, 9.54)] {
        close(stack_loss_net_pct(180.0, oxygen, Fuel::Natural), loss, 6e-4);
    }
    // common practice, no source: LP gas has 13.7 % at most
    assert!((Fuel::Lp.co2_max_pct() - 13.7).abs() < 0.06, "{}", Fuel::Lp.co2_max_pct());
}

proptest::proptest! {
    #[test]
    fn more_oxygen_is_more_excess_air_and_more_loss(a in 0.0..19.0_f64, b in 0.0..19.0_f64) {
        let (low, high) = (a.min(b), a.max(b));
        for fuel in [Fuel::Natural, Fuel::Lp] {
            proptest::prop_assert!(excess_air_pct(low, fuel).unwrap() <= excess_air_pct(high, fuel).unwrap());
            proptest::prop_assert!(stack_loss_net_pct(180.0, low, fuel).unwrap() <= stack_loss_net_pct(180.0, high, fuel).unwrap());
        }
    }

    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY,
                                d in proptest::num::f64::ANY) {
        for result in [
            input_ratio(a, b), draft_margin(a, b), clocked_ft3_per_h(a, b), standard_ft3_per_h(a, b, c, d), input_btu_per_h(a, b),
            input_at_altitude_btu_per_h(a, b), co_air_free_ppm(a, b), co_air_free_by_co2_ppm(a, b, Fuel::Lp),
            excess_air_pct(a, Fuel::Natural), stack_loss_net_pct(a, b, Fuel::Lp),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
    }
}
