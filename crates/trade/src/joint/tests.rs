//! Contacts and joints against worked values from outside. Rows named CON-nn stand in `tests/reference/calc.csv`.
use super::*;
use crate::testing::{close, refused};

#[test]
fn drops_and_heat_match_the_worked_examples() {
    // CON-01, physics: 45 mV at 18 A = 2.5 mohm, 0.81 W
    close(resistance_ohm(45.0, 18.0), 0.0025, 1e-12);
    close(heat_w(45.0, 18.0), 0.81, 1e-12);
    // CON-02, physics
    close(millivolts_at_rated(45.0, 18.0, 30.0), 75.0, 1e-9);
    // CON-03: 1.1, 1.2, 2.0 mohm (two decimals)
    close(pole_ratio(0.0011, 0.0012, 0.0020), 1.82, 5e-3);
    // CON-05: physics for n = 2, n = 1.6 from memory
    close(rise_at_full_load_k(8.0, 12.0, 24.0, 2.0), 32.0, 1e-9);
    close(rise_at_full_load_k(8.0, 12.0, 24.0, 1.6), 24.251_465_064, 1e-5);
    refused(pole_ratio(0.0, 0.001, 0.001), "least of the three poles"); // no ratio to nothing
}

#[test]
fn severity_follows_the_table() {
    // CON-04 rows; NETA table 100.18, looked up second-hand
    for (kelvin, reference, class) in [
        (9.0, Reference::SimilarPart, Severity::Probable),
        (16.0, Reference::SimilarPart, Severity::Major),
        (0.5, Reference::SimilarPart, Severity::None),
        (9.0, Reference::Ambient, Severity::Possible),
        (30.0, Reference::Ambient, Severity::Monitor),
        (41.0, Reference::Ambient, Severity::Major),
        // the ends and the gaps: our own choice, the lower class
        (3.5, Reference::SimilarPart, Severity::Possible),
        (15.0, Reference::SimilarPart, Severity::Probable),
        (10.5, Reference::Ambient, Severity::Possible),
        (20.5, Reference::Ambient, Severity::Probable),
        (40.0, Reference::Ambient, Severity::Monitor),
    ] {
        assert_eq!(severity(kelvin, reference), Ok(class), "{kelvin} K {reference:?}");
    }
}

proptest::proptest! {
    #[test]
    fn more_heat_is_never_a_lower_class(a in 0.0..100.0_f64, b in 0.0..100.0_f64) {
        for reference in [Reference::SimilarPart, Reference::Ambient] {
            let (low, high) = (severity(a.min(b), reference).unwrap(), severity(a.max(b), reference).unwrap());
            proptest::prop_assert!(low <= high);
        }
    }

    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY) {
        for result in [
            resistance_ohm(a, b), heat_w(a, b), millivolts_at_rated(a, b, c), pole_ratio(a, b, c), rise_at_full_load_k(a, b, c, 2.0),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
    }
}
