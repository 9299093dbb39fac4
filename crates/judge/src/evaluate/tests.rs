//! Evaluation with native rules: uncertainty, paths, coarse meters.
use super::*;
use crate::rule::{Header, Source, SourceClass};
use alloc::boxed::Box;
use alloc::string::ToString;
use quantity::{Accuracy, Unit};

type Judging = Box<dyn Fn(&[f64]) -> Result<Outcome, RuleError> + Send + Sync>;

struct Native {
    header: Header,
    judging: Judging,
}

impl Rule for Native {
    fn id(&self) -> &'static str {
        "native"
    }
    fn hash(&self) -> &'static str {
        "0"
    }
    fn header(&self) -> &Header {
        &self.header
    }
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        (self.judging)(values)
    }
}

fn native(judging: impl Fn(&[f64]) -> Outcome + Send + Sync + 'static) -> Native {
    Native { header: Header::default(), judging: Box::new(move |values| Ok(judging(values))) }
}

fn judgement(name: &str, value: f64, low: Option<f64>, high: Option<f64>) -> Judgement {
    Judgement {
        name: name.into(),
        value,
        unit: Unit::MICROFARAD,
        low,
        high,
        advice_ok: None,
        advice_low: Some("weak".into()),
        advice_high: Some("high".into()),
        source: Source { text: "nameplate".into(), class: SourceClass::Nameplate },
        source_parts: [].into(),
    }
}

fn answer(judgements: Vec<Judgement>, path: u64) -> Outcome {
    Outcome { answer: Answer::Judgements(judgements), path }
}

fn judged(evaluation: &Evaluation) -> (&[Judged], Word, &[usize]) {
    match evaluation {
        Evaluation::Judged { judgements, word, path_changes } => (judgements, *word, path_changes),
        Evaluation::NoVerdict { because } => panic!("{because}"),
    }
}

/// CAP-05 of `tests/reference/check_values.csv`: 6.10 A (2 % + 5 x 0.01) at 371.0 V (1 % + 3 x 0.1), 60 Hz +-0.05 Hz:
/// u = 0.760674191 uF (JCGM 100, 5.1.2 and 4.3.7).
#[test]
fn capacitor_under_load_has_the_propagated_uncertainty() {
    let rule = native(|v| {
        let c = v[0] * 1e6 / (2.0 * core::f64::consts::PI * v[2] * v[1]);
        answer(alloc::vec![judgement("c", c, Some(42.3), Some(47.7))], 0)
    });
    let u = |sheet: &str, value, resolution, unit| {
        Accuracy::parse(sheet).unwrap().standard_uncertainty(value, resolution, unit).unwrap()
    };
    let inputs = [
        Input { value: 6.1, standard_uncertainty: u("2% + 5", 6.1, 0.01, Unit::AMPERE) },
        Input { value: 371.0, standard_uncertainty: u("1% + 3", 371.0, 0.1, Unit::VOLT) },
        Input { value: 60.0, standard_uncertainty: 0.05 / 3.0_f64.sqrt() },
    ];
    let evaluation = evaluate(&rule, &inputs, DecisionRule::default()).unwrap();
    let (judgements, word, paths) = judged(&evaluation);
    assert!((judgements[0].judgement.value - 43.613_888_269).abs() < 1e-9);
    assert!((judgements[0].standard_uncertainty - 0.760_674_191).abs() < 1e-4);
    assert_eq!((word, paths.len()), (Word::ConditionalPass, 0));
}

#[test]
fn a_limit_that_moves_with_the_input_changes_the_margin_not_the_value() {
    // value x against limit x/2: the margin is x/2 and so is its uncertainty.
    let rule = native(|v| answer(alloc::vec![judgement("x", v[0], Some(v[0] / 2.0), None)], 0));
    let evaluation =
        evaluate(&rule, &[Input { value: 8.0, standard_uncertainty: 1.0 }], DecisionRule::default()).unwrap();
    let (judgements, _, _) = judged(&evaluation);
    assert!((judgements[0].standard_uncertainty - 1.0).abs() < 1e-12);
    assert!((judgements[0].margins.low.unwrap().standard_uncertainty - 0.5).abs() < 1e-12);
}

#[test]
fn another_path_within_the_uncertainty_is_reported_and_no_word_stands_clear() {
    let rule = native(|v| {
        if v[0] < 10.0 {
            answer(alloc::vec![judgement("small", v[0], Some(0.0), None)], 1)
        } else {
            answer(alloc::vec![judgement("large", v[0], None, Some(100.0))], 2)
        }
    });
    let at = |value| {
        evaluate(&rule, &[Input { value, standard_uncertainty: 0.5 }], DecisionRule::default()).unwrap()
    };
    let near = at(9.8);
    assert_eq!(judged(&near).2, [0]);
    assert_eq!(judged(&near).1, Word::ConditionalPass);
    let far = at(5.0);
    assert_eq!((judged(&far).1, judged(&far).2.len()), (Word::Pass, 0));
}

#[test]
fn a_coarse_meter_gives_no_verdict_but_a_clear_fail_stays() {
    let rule = native(|v| answer(alloc::vec![judgement("c", v[0], Some(4.7), Some(5.3))], 0));
    let at = |value| {
        evaluate(&rule, &[Input { value, standard_uncertainty: 0.2 }], DecisionRule::default()).unwrap()
    };
    assert_eq!(judged(&at(5.0)).1, Word::NoVerdict);
    assert!(judged(&at(5.0)).0[0].meter_too_coarse);
    assert_eq!(judged(&at(3.0)).1, Word::Fail);
}

#[test]
fn thresholds_are_where_the_word_changes() {
    let rule = native(|v| answer(alloc::vec![judgement("c", 2.0 * v[0], Some(10.0), Some(20.0))], 0));
    let input = Input { value: 7.0, standard_uncertainty: 0.25 };
    let evaluation = evaluate(&rule, &[input], DecisionRule::default()).unwrap();
    // U of the margins is 2 x 0.5 = 1: 9, 10, 11 and 19, 20, 21 in the value, half of that in the input.
    let got = evaluation.thresholds(0, input, DecisionRule::default());
    let want = [4.5, 5.0, 5.5, 9.5, 10.0, 10.5];
    assert_eq!(got.len(), want.len());
    assert!(got.iter().zip(want).all(|(g, w)| (g - w).abs() < 1e-9), "{got:?}");
    assert_eq!(evaluation.thresholds(0, input, DecisionRule::Simple), [5.0, 10.0]);
}

#[test]
fn the_worst_of_several_counts_and_its_advice_is_given() {
    let rule = native(|v| {
        answer(alloc::vec![judgement("a", v[0], Some(0.0), None), judgement("b", v[0], Some(9.0), None)], 0)
    });
    let evaluation =
        evaluate(&rule, &[Input { value: 5.0, standard_uncertainty: 0.1 }], DecisionRule::default()).unwrap();
    let (judgements, word, _) = judged(&evaluation);
    assert_eq!(word, Word::Fail);
    assert_eq!((judgements[0].word, judgements[1].advice().unwrap().as_str()), (Word::Pass, "weak"));
}

#[test]
fn expanded_uncertainty_and_guard_follow_the_coverage_factor() {
    // The high limit moves with the input, so its margin has three times the uncertainty of the low one.
    let rule = native(|v| answer(alloc::vec![judgement("c", v[0], Some(4.0), Some(30.0 - 2.0 * v[0]))], 0));
    let inputs = [Input { value: 6.0, standard_uncertainty: 0.25 }];
    for (decision, expanded, guard) in [
        (DecisionRule::default(), 0.5, 1.5),
        (DecisionRule::Guarded { coverage_factor: 3.0 }, 0.75, 2.25),
        // No factor at all: counts as 2, as in the words.
        (DecisionRule::Guarded { coverage_factor: -3.0 }, 0.5, 1.5),
        (DecisionRule::Guarded { coverage_factor: f64::NAN }, 0.5, 1.5),
        (DecisionRule::Simple, 0.5, 0.0),
    ] {
        let evaluation = evaluate(&rule, &inputs, decision).unwrap();
        let one = &judged(&evaluation).0[0];
        assert!((one.expanded_uncertainty(decision) - expanded).abs() < 1e-12, "{decision}");
        assert!((one.guard(decision) - guard).abs() < 1e-12, "{decision}");
    }
    assert_eq!(DecisionRule::Guarded { coverage_factor: -3.0 }.to_string(), "guarded, w = U (k = 2)");
}
