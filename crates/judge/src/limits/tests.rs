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
