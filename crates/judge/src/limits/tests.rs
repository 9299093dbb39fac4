//! Guard bands and probabilities against `tests/reference/check_values.csv` (made with SciPy 1.17.1).
use super::*;
use alloc::string::ToString;
use quantity::{Accuracy, Unit};

fn margins(y: f64, low: f64, high: f64, u: f64) -> Margins {
    let side = |inside_by| Some(Margin { inside_by, standard_uncertainty: u });
    Margins { low: side(y - low), high: side(high - y) }
}

/// UNC-01 and UNC-02 there: 45 uF +-6 %, meter 1.9 % + 2 x 0.1 uF (JCGM 106; ILAC-G8:09/2019 4.2.3).
#[test]
fn words_and_probabilities_are_those_of_scipy() {
    let sheet = Accuracy::parse("1.9% + 2 x 0.1uF").unwrap();
    for (y, word, p) in [
        (42.6, Word::ConditionalPass, 0.696_645_341),
        (45.0, Word::Pass, 0.999_990_696),
        (42.0, Word::ConditionalFail, 0.301_303_022),
        (46.9, Word::ConditionalPass, 0.897_948_486),
        (49.5, Word::Fail, 0.003_132_133),
    ] {
        let u = sheet.standard_uncertainty(y, 0.1, Unit::MICROFARAD).unwrap();
        let m = margins(y, 42.3, 47.7, u);
        assert_eq!(m.word(DecisionRule::default()).0, word, "{y}");
        let got = m.probability_of_conformance();
        assert!((got - p).abs() < 1e-6, "{y}: {got} not {p}");
    }
}

/// False acceptance for a reading on the acceptance limit: the normal tail beyond w / u (SciPy 1.17.1).
#[test]
fn risk_at_the_acceptance_limit() {
    for (w_over_u, risk) in
        [(0.0, 0.5), (1.0, 0.158_655_3), (1.645, 0.049_984_9), (2.0, 0.022_750_1), (3.0, 0.001_349_9)]
    {
        assert!((normal_tail(w_over_u) - risk).abs() < 5e-8, "{w_over_u}");
    }
}

#[test]
fn borders_belong_to_the_better_word() {
    let rule = DecisionRule::default();
    let word = |inside_by| Margin { inside_by, standard_uncertainty: 0.5 }.word(rule);
    assert_eq!(word(1.0), Word::Pass);
    assert_eq!(word(0.999), Word::ConditionalPass);
    assert_eq!(word(0.0), Word::ConditionalPass);
    assert_eq!(word(-0.001), Word::ConditionalFail);
    assert_eq!(word(-1.0), Word::ConditionalFail);
    assert_eq!(word(-1.001), Word::Fail);
}

#[test]
fn simple_acceptance_knows_two_words() {
    let word = |inside_by| Margin { inside_by, standard_uncertainty: 0.5 }.word(DecisionRule::Simple);
    assert_eq!((word(0.0), word(-1e-9)), (Word::Pass, Word::Fail));
}

#[test]
fn a_coarse_meter_is_told_from_a_marginal_part() {
    let rule = DecisionRule::default();
    assert!(!margins(5.0, 4.7, 5.3, 0.149).meter_too_coarse(rule));
    assert!(margins(5.0, 4.7, 5.3, 0.151).meter_too_coarse(rule));
    let one_sided = Margins { low: None, high: Some(Margin { inside_by: 1.0, standard_uncertainty: 9.0 }) };
    assert!(!one_sided.meter_too_coarse(rule));
    assert!(!margins(5.0, 5.0, 5.0, 0.0).meter_too_coarse(rule));
}

#[test]
fn no_limit_is_no_verdict() {
    assert_eq!(Margins::default().word(DecisionRule::default()).0, Word::NoVerdict);
}

#[test]
fn words_print_and_parse() {
    for word in Word::ALL {
        assert_eq!(Word::parse(&word.to_string()), Some(word));
    }
    assert!(Word::ALL.windows(2).all(|pair| pair[0] < pair[1]));
}

proptest::proptest! {
    #[test]
    fn the_word_never_improves_as_the_value_moves_out(a in -10.0..10.0_f64, b in 0.0..5.0_f64, u in 0.0..3.0_f64) {
        let rule = DecisionRule::default();
        let word = |inside_by| Margin { inside_by, standard_uncertainty: u }.word(rule);
        proptest::prop_assert!(word(a - b) >= word(a));
    }

    #[test]
    fn probability_is_one(y in -100.0..100.0_f64, low in -50.0..0.0_f64, width in 0.0..50.0_f64, u in 0.0..20.0_f64) {
        let p = margins(y, low, low + width, u).probability_of_conformance();
        proptest::prop_assert!((0.0..=1.0).contains(&p));
    }
}

#[test]
fn only_a_negative_factor_or_none_counts_as_two() {
    for (factor, k) in
        [(0.0, 0.0), (1.0, 1.0), (3.0, 3.0), (-0.1, 2.0), (f64::INFINITY, 2.0), (f64::NAN, 2.0)]
    {
        let rule = DecisionRule::Guarded { coverage_factor: factor };
        assert_eq!((rule.coverage_factor(), rule.guard_factor()), (k, k), "{factor}");
    }
    assert_eq!((DecisionRule::Simple.coverage_factor(), DecisionRule::Simple.guard_factor()), (2.0, 0.0));
    assert_eq!(DecisionRule::Simple.to_string(), "simple acceptance, w = 0");
    assert_eq!(DecisionRule::default().to_string(), "guarded, w = U (k = 2)");
}

/// Of two sides with one word the nearer limit is named, so that the advice is for what is nearly wrong.
#[test]
fn the_worse_side_decides_and_of_two_alike_the_nearer() {
    let margin = |inside_by| Some(Margin { inside_by, standard_uncertainty: 0.5 });
    for (low, high, want) in [
        (margin(5.0), margin(2.0), (Word::Pass, Side::Inside)),
        (margin(0.5), margin(5.0), (Word::ConditionalPass, Side::Low)),
        (margin(5.0), margin(0.5), (Word::ConditionalPass, Side::High)),
        (margin(0.25), margin(0.5), (Word::ConditionalPass, Side::Low)),
        (margin(0.5), margin(0.25), (Word::ConditionalPass, Side::High)),
        (margin(0.5), margin(0.5), (Word::ConditionalPass, Side::Low)),
        (margin(-3.0), margin(4.0), (Word::Fail, Side::Low)),
        (margin(4.0), margin(-3.0), (Word::Fail, Side::High)),
        (margin(-0.5), None, (Word::ConditionalFail, Side::Low)),
        (None, margin(-0.5), (Word::ConditionalFail, Side::High)),
        (None, None, (Word::NoVerdict, Side::Inside)),
    ] {
        assert_eq!(Margins { low, high }.word(DecisionRule::default()), want, "{low:?} {high:?}");
    }
    // The nearer limit is not the worse one where the other is known less well.
    let (sure, unsure) = (margin(2.0), Some(Margin { inside_by: 3.0, standard_uncertainty: 2.0 }));
    let word = |low, high| Margins { low, high }.word(DecisionRule::default());
    assert_eq!(word(sure, unsure), (Word::ConditionalPass, Side::High));
    assert_eq!(word(unsure, sure), (Word::ConditionalPass, Side::Low));
}

/// A value that is exactly known is inside or it is not (JCGM 106:2012, 7.2, in the limit u = 0). On the limit it conforms.
#[test]
fn an_exact_value_conforms_or_it_does_not() {
    for (y, p) in [(4.7, 1.0), (5.0, 1.0), (5.3, 1.0), (4.6, 0.0), (5.4, 0.0)] {
        assert_eq!(margins(y, 4.7, 5.3, 0.0).probability_of_conformance(), p, "{y}");
    }
    let above = Margins { low: Some(Margin { inside_by: 0.0, standard_uncertainty: 0.5 }), high: None };
    assert_eq!(above.probability_of_conformance(), 0.5);
    assert_eq!(Margins::default().probability_of_conformance(), 1.0);
}

/// The two guard bands leave an acceptance zone as long as they do not meet; each side counts with its own uncertainty.
#[test]
fn guard_bands_that_just_meet_still_leave_a_value_to_accept() {
    let rule = DecisionRule::default();
    let sides = |low: (f64, f64), high: (f64, f64)| {
        let margin = |(inside_by, standard_uncertainty)| Some(Margin { inside_by, standard_uncertainty });
        Margins { low: margin(low), high: margin(high) }
    };
    // Bands of 1 and 3 in a tolerance of 4: a value 1 above the low limit passes.
    let meeting = sides((1.0, 0.5), (3.0, 1.5));
    assert!(!meeting.meter_too_coarse(rule));
    assert_eq!(meeting.word(rule).0, Word::Pass);
    // Either band a little wider, or the tolerance a little narrower, and none does.
    assert!(sides((1.0, 0.5625), (3.0, 1.5)).meter_too_coarse(rule));
    assert!(sides((1.0, 0.5), (3.0, 1.5625)).meter_too_coarse(rule));
    assert!(sides((1.0, 0.5), (2.9375, 1.5)).meter_too_coarse(rule));
    // The value's place between the limits says nothing about the meter.
    assert!(!sides((-2.0, 0.5), (6.0, 1.5)).meter_too_coarse(rule));
    // One side alone exactly known.
    assert!(
        sides((1.0, 0.0), (1.0, 1.5)).meter_too_coarse(rule)
            && sides((1.0, 1.5), (1.0, 0.0)).meter_too_coarse(rule)
    );
    // No tolerance at all: any doubt is too much, none is not; and limits that cross are not the meter's fault.
    assert!(sides((0.0, 0.5), (0.0, 0.5)).meter_too_coarse(rule));
    assert!(!sides((0.0, 0.0), (0.0, 0.0)).meter_too_coarse(rule));
    assert!(!sides((1.0, 0.5), (-2.0, 0.5)).meter_too_coarse(rule));
}

#[test]
fn words_fill_the_column_they_are_printed_in() {
    assert_eq!(alloc::format!("[{:<6}] [{:>6}]", Word::Pass, Word::Fail), "[pass  ] [  fail]");
    assert_eq!(Word::parse("passed"), None);
}
