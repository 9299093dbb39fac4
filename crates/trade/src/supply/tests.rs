//! Supply and control power against worked values from outside. Rows named SUP-nn were computed with Python 3.11 and
//! stand in `tests/reference/calc.csv` with their sources.
use super::*;
use crate::testing::{close, refused};

#[test]
fn unbalance_as_nema_defines_it() {
    // SUP-01, NEMA MG 1 14.36, the worked example of text books
    close(unbalance_pct(460.0, 467.0, 450.0), 1.960_784_314, 1e-6);
    // SUP-02, a published sheet rounds it to 2.5
    close(unbalance_pct(203.0, 210.0, 212.0), 2.56, 1e-6);
    // SUP-03, a published example says 1.1
    close(unbalance_pct(462.0, 463.0, 455.0), 1.086_956_522, 1e-6);
    // SUP-04, definition: line currents
    close(unbalance_pct(19.8, 22.4, 20.1), 7.865_168_539, 1e-6);
    refused(unbalance_pct(0.0, 0.0, 0.0), "mean of the three");
}

#[test]
fn negative_sequence_matches_the_table() {
    // SUP-01; the rest computed outside by explicit phasors (four decimals)
    close(negative_sequence_pct(460.0, 467.0, 450.0), 2.146_461_481, 1e-5);
    for (a, b, c, want) in [
        (480.0, 480.0, 480.0, 0.0),
        (480.0, 476.0, 472.0, 0.9704),
        (203.0, 210.0, 212.0, 2.6064),
        (230.0, 225.0, 240.0, 3.8294),
        (240.0, 240.0, 208.0, 9.1221),
        (208.0, 208.0, 180.0, 9.2125),
    ] {
        close(negative_sequence_pct(a, b, c), want, 5e-5);
    }
    // One line lost and nothing fed back: 240, 120 and 120 V in one line; the sequences are equal.
    close(negative_sequence_pct(240.0, 120.0, 120.0), 100.0, 1e-4);
    refused(negative_sequence_pct(240.0, 100.0, 100.0), "longest of the three line voltages"); // no triangle
}

#[test]
fn derating_reads_the_curve() {
    // SUP-01: between 1.5 % and 2 % of column A
    close(unbalance_derating(1.960_784_314), 0.951_568_627, 5e-4);
    // A (a published table), and B (text books, from memory) within 0.02
    for (at, a, b) in
        [(1.0, 1.0, 1.0), (2.0, 0.95, 0.95), (3.0, 0.89, 0.88), (4.0, 0.82, 0.82), (5.0, 0.76, 0.75)]
    {
        close(unbalance_derating(at), a, 1e-12);
        close(unbalance_derating(at), b, 0.02);
    }
    refused(unbalance_derating(5.1), "voltage unbalance"); // not to be run
}

#[test]
fn deviation_transformer_and_single_phasing() {
    // SUP-08: 198 V is inside 208 - 10 % to 230 + 10 %; the ends are 187.2 and 253.0 V
    close(deviation_pct(187.2, 208.0), -10.0, 1e-9);
    close(deviation_pct(253.0, 230.0), 10.0, 1e-9);
    // SUP-06, definition
    close(transformer_load_pct(24.6, 1.35, 40.0), 83.025, 1e-9);
    // SUP-05, physics: the 240 V tap on 208 V
    close(secondary_on_tap_v(24.0, 240.0, 208.0), 20.8, 1e-9);
    // SUP-07, rule of thumb
    close(single_phasing_current_a(12.0), 20.784_609_691, 1e-6);
}

#[test]
fn rolled_leads_tell_supply_from_motor() {
    // By construction (common practice): a supply that gives line 2 more, a motor whose second winding takes more.
    assert_eq!(roll_the_leads([10.0, 12.0, 10.0], [10.1, 12.0, 9.9]), Ok(UnbalanceCause::Line));
    assert_eq!(roll_the_leads([10.0, 12.0, 10.0], [10.0, 9.9, 12.1]), Ok(UnbalanceCause::Motor));
    assert_eq!(roll_the_leads([10.0, 12.0, 10.0], [12.0, 10.0, 10.0]), Ok(UnbalanceCause::Neither));
    refused(roll_the_leads([10.0; 3], [10.0, 12.0, 10.0]), "greatest deviation from the mean"); // nothing to follow
}

/// Line-to-line voltages of a positive and a negative sequence, the second turned by `angle`: built from phasors (physics).
fn phasors(positive: f64, negative: f64, angle: f64) -> [f64; 3] {
    let third = 2.0 * core::f64::consts::PI / 3.0;
    [0.0, 1.0, 2.0].map(|k| {
        let (p, n) = (-k * third, k * third + angle);
        let re = positive * libm::cos(p) + negative * libm::cos(n);
        let im = positive * libm::sin(p) + negative * libm::sin(n);
        libm::sqrt(re * re + im * im)
    })
}

proptest::proptest! {
    #[test]
    fn negative_sequence_gives_back_the_phasors(volts in 100.0..600.0_f64, pct in 0.1..40.0_f64, angle in 0.0..6.3_f64) {
        let [a, b, c] = phasors(volts, volts * pct / 100.0, angle);
        let got = negative_sequence_pct(a, b, c).unwrap();
        proptest::prop_assert!((got - pct).abs() < 1e-6, "{got} for {pct}");
    }

    #[test]
    fn the_order_of_the_lines_does_not_matter(a in 190.0..250.0_f64, b in 190.0..250.0_f64, c in 190.0..250.0_f64) {
        for f in [unbalance_pct, negative_sequence_pct] {
            let one = f(a, b, c).unwrap();
            for other in [f(b, c, a), f(c, b, a)] {
                proptest::prop_assert!((other.unwrap() - one).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY) {
        for result in [
            deviation_pct(a, b), unbalance_pct(a, b, c), negative_sequence_pct(a, b, c), unbalance_derating(a),
            single_phasing_current_a(a), transformer_load_pct(a, b, c), secondary_on_tap_v(a, b, c),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
        let _ = roll_the_leads([a, b, c], [b, c, a]);
    }
}
