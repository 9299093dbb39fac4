//! Conformity against rows of `tests/reference/check_values.csv` (JCGM 106) and SciPy's figures. CI compares grids with SciPy through `cliplead calc`.

use super::*;
use crate::testing::close;

#[test]
fn worked_rows_are_met() {
    // UNC-01, UNC-02: 42.3 to 47.7, u by 1.9 % + 2 x 0.1 uF; JCGM 106, 7.
    close(probability_of_conformance(42.6, 0.582_777_362, 42.3, 47.7), 0.696_645_341, 1e-6);
    close(probability_of_conformance(49.5, 0.658_467_982, 42.3, 47.7), 0.003_132_133, 1e-6);
    // UNC-03: a population of 45.0 with a spread of 1.5; JCGM 106, A.4.
    close(posterior_mean(42.6, 0.5828, 45.0, 1.5), 42.914_780_83, 1e-6);
    close(posterior_u(0.5828, 1.5), 0.543_237_543, 1e-6);
    close(probability_of_conformance(42.914_780_83, 0.543_237_543, 42.3, 47.7), 0.871_119_284, 1e-6);
}

#[test]
fn students_quantile_is_scipys() {
    // scipy.stats.t.ppf of SciPy 1.17.1.
    for (p, nu, t) in [
        (0.975, 4.0, 2.776_445_105_197_8),
        (0.95, 4.0, 2.131_846_786_326_7),
        (0.975, 1.0, 12.706_204_736_174_7),
        (0.9995, 10.0, 4.586_893_858_702_6),
        (0.05, 30.0, -1.697_260_886_593_96),
        (0.975, 1e6, 1.959_966_356_766_3),
    ] {
        close(student_quantile(p, nu), t, 1e-7 * libm::fabs(t));
    }
}

proptest::proptest! {
    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY, d in proptest::num::f64::ANY) {
        for result in [
            probability_of_conformance(a, b, c, d),
            posterior_mean(a, b, c, d),
            posterior_u(a, b),
            en_number(a, b, c, d),
            student_quantile(a, b),
        ] {
            proptest::prop_assert!(result.is_err() || result.is_ok_and(f64::is_finite));
        }
    }

    #[test]
    fn probabilities_lie_between_0_and_1_and_add_up(value in -50.0..50.0_f64, u in 0.01..20.0_f64, low in -60.0..0.0_f64, width in 0.0..80.0_f64) {
        let p = |low, high| probability_of_conformance(value, u, low, high).unwrap();
        let inside = p(low, low + width);
        proptest::prop_assert!((0.0..=1.0).contains(&inside));
        let all = p(-1e12, low) + inside + p(low + width, 1e12);
        proptest::prop_assert!((all - 1.0).abs() < 1e-12, "{all}");
    }

    #[test]
    fn student_is_symmetric_and_narrows(p in 0.51..0.9999_f64, nu in 1.0..200.0_f64) {
        let t = |p, nu| student_quantile(p, nu).unwrap();
        proptest::prop_assert!((t(p, nu) + t(1.0 - p, nu)).abs() < 1e-7 * t(p, nu).abs().max(1.0));
        proptest::prop_assert!(t(p, nu + 1.0) <= t(p, nu) * (1.0 + 1e-12));
    }
}
