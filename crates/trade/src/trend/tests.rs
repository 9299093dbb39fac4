//! Trend against SciPy: one worked example here, random series in `tests/reference/trend.csv`, which CI computes anew.

use super::*;
use crate::testing::refused;
use alloc::vec::Vec;

/// UNC-04 of `tests/reference/check_values.csv`: six visits over 912 days, limit 42.3 (SciPy 1.17.1).
const SIX: [Visit; 6] =
    [(0.0, 45.3), (182.0, 45.0), (365.0, 44.6), (547.0, 44.3), (731.0, 43.7), (912.0, 43.4)];

#[test]
fn the_worked_example_is_met() {
    let line = least_squares(&SIX).unwrap().unwrap();
    let near = |a: f64, b: f64, tolerance: f64| assert!((a - b).abs() <= tolerance, "{a} not {b}");
    near(line.slope_per_d, -0.002_144_587, 1e-9);
    near(line.intercept, 45.361_622_398, 1e-6);
    near(line.scatter, 0.081_161_383, 1e-6);
    near(line.at(1277.0), 42.622_984_907, 1e-5);
    near(line.prediction_half(1277.0, 0.95).unwrap(), 0.343_382_388, 1e-5);
    near(theil_sen(&SIX).unwrap().unwrap(), -0.002_185_792, 1e-9);
    let Crossing::Between { first_d, middle_d } = line.crossing(42.3, false, 0.95).unwrap() else { panic!() };
    near(first_d, 1302.73, 0.05);
    near(middle_d.unwrap(), 1_427.604_717_798, 0.01);
}

#[test]
fn what_is_no_trend_says_so() {
    assert_eq!(least_squares(&SIX[..3]), Ok(None), "three visits");
    assert_eq!(theil_sen(&SIX[..3]), Ok(None));
    assert_eq!(least_squares(&[(5.0, 1.0), (5.0, 2.0), (5.0, 3.0), (5.0, 4.0)]), Ok(None), "one day");
    refused(least_squares(&[(0.0, f64::NAN), (1.0, 1.0), (2.0, 1.0), (3.0, 1.0)]), "value of a visit");
    let line = least_squares(&SIX).unwrap().unwrap();
    assert_eq!(line.crossing(44.0, false, 0.95), Ok(Crossing::Beyond));
    let rising = SIX.map(|(day, value)| (day, 90.0 - value));
    let line = least_squares(&rising).unwrap().unwrap();
    assert_eq!(line.crossing(40.0, false, 0.95), Ok(Crossing::NotSeen), "it runs the other way");
    assert!(matches!(line.crossing(47.7, true, 0.95), Ok(Crossing::Between { .. })));
}

/// Rows of `tests/reference/trend.csv`: days, values, then SciPy's slope, intercept, scatter, half of the 95 % prediction interval a year after
/// the last visit, and Theil and Sen's slope.
#[test]
fn random_series_agree_with_scipy() {
    let text = include_str!("../../../../tests/reference/trend.csv");
    let mut rows = 0;
    for line in text.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let fields: Vec<&str> = line.split(';').collect();
        let list = |at: usize| -> Vec<f64> { fields[at].split(' ').map(|n| n.parse().unwrap()).collect() };
        let visits: Vec<Visit> = list(0).into_iter().zip(list(1)).collect();
        let wanted: Vec<f64> = fields[2..].iter().map(|n| n.parse().unwrap()).collect();
        let fit = least_squares(&visits).unwrap().unwrap();
        let half = fit.prediction_half(fit.last_d + 365.0, 0.95).unwrap();
        let got = [fit.slope_per_d, fit.intercept, fit.scatter, half, theil_sen(&visits).unwrap().unwrap()];
        for (got, wanted) in got.into_iter().zip(&wanted) {
            assert!((got - wanted).abs() <= 1e-8 * wanted.abs().max(1e-3), "{line}\n{got} not {wanted}");
        }
        rows += 1;
    }
    assert_eq!(rows, 60);
}

proptest::proptest! {
    #[test]
    fn nothing_broken_comes_out(days in proptest::collection::vec(proptest::num::f64::ANY, 0..9), values in proptest::collection::vec(proptest::num::f64::ANY, 9), limit in proptest::num::f64::ANY) {
        let visits: Vec<Visit> = days.into_iter().zip(values).collect();
        let _ = theil_sen(&visits);
        if let Ok(Some(line)) = least_squares(&visits) {
            proptest::prop_assert!(line.slope_per_d.is_finite() && line.scatter.is_finite());
            let _ = line.crossing(limit, false, 0.95);
        }
    }

    #[test]
    fn a_credible_day_is_never_after_the_lines_own(slope in 0.0001..0.05_f64, noise in 0.001..0.5_f64) {
        let visits: Vec<Visit> = (0..6_u8).map(|k| {
            let day = f64::from(k) * 90.0;
            (day, 50.0 - slope * day + if k % 2 == 0 { noise } else { -noise })
        }).collect();
        let line = least_squares(&visits).unwrap().unwrap();
        if let Crossing::Between { first_d, middle_d: Some(middle_d) } = line.crossing(40.0, false, 0.95).unwrap() {
            proptest::prop_assert!(first_d <= middle_d + 1e-6);
        }
    }
}
