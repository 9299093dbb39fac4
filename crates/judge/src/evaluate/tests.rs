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

/// One input through one native rule, in the shop's usual decision rule.
fn at(rule: &Native, value: f64, standard_uncertainty: f64) -> Result<Evaluation, RuleError> {
    evaluate(rule, &[Input { value, standard_uncertainty }], DecisionRule::default())
}

/// A conditional word is no ground to replace a part: a second measurement comes before the rule's own advice.
#[test]
fn a_conditional_word_asks_for_another_measurement_before_what_the_rule_advises() {
    let rule = native(|v| {
        let mut one = judgement("c", v[0], Some(10.0), Some(20.0));
        one.advice_ok = Some("good".into());
        answer(alloc::vec![one], 0)
    });
    // U = 2 x 0.5 = 1 on each side.
    for (value, word, parts) in [
        (15.0, Word::Pass, ["good", "", ""]),
        (10.5, Word::ConditionalPass, ["inside", "across the low limit", "it would be: weak"]),
        (19.5, Word::ConditionalPass, ["inside", "across the high limit", "it would be: high"]),
        (9.5, Word::ConditionalFail, ["outside", "before you act", "if it stays so: weak"]),
        (20.5, Word::ConditionalFail, ["outside", "before you act", "if it stays so: high"]),
        (8.5, Word::Fail, ["weak", "", ""]),
        (21.5, Word::Fail, ["high", "", ""]),
    ] {
        let evaluation = at(&rule, value, 0.5).unwrap();
        let one = &judged(&evaluation).0[0];
        let advice = one.advice().unwrap();
        let [begins, holds, ends] = parts;
        assert_eq!((one.word, evaluation.word()), (word, word), "{value}");
        assert!(advice.starts_with(begins) && advice.contains(holds) && advice.ends_with(ends), "{advice}");
        let conditional = matches!(word, Word::ConditionalPass | Word::ConditionalFail);
        assert_eq!(advice.contains("measure again"), conditional, "{value}: {advice}");
    }
}

#[test]
fn where_the_rule_advises_nothing_nothing_is_made_up() {
    let rule = native(|v| {
        let mut one = judgement("c", v[0], Some(10.0), Some(12.0));
        (one.advice_low, one.advice_high) = (None, None);
        answer(alloc::vec![one], 0)
    });
    let advice = |value, u| judged(&at(&rule, value, u).unwrap()).0[0].advice();
    assert_eq!((advice(11.0, 0.1), advice(3.0, 0.1), advice(20.0, 0.1)), (None, None, None));
    assert!(advice(10.1, 0.1).unwrap().ends_with("measure again"), "{:?}", advice(10.1, 0.1));
    // The meter is too coarse: nothing was found about the part.
    assert_eq!((judged(&at(&rule, 11.0, 5.0).unwrap()).1, advice(11.0, 5.0)), (Word::NoVerdict, None));
}

#[test]
fn a_rule_that_names_its_own_reason_gives_no_verdict() {
    let rule =
        native(|_| Outcome { answer: Answer::NoVerdict("these look like HERM and FAN".into()), path: 0 });
    let evaluation = at(&rule, 1.0, 0.1).unwrap();
    assert_eq!(evaluation, Evaluation::NoVerdict { because: "these look like HERM and FAN".into() });
    assert_eq!(evaluation.word(), Word::NoVerdict);
    let input = Input { value: 1.0, standard_uncertainty: 0.1 };
    assert!(evaluation.thresholds(0, input, DecisionRule::default()).is_empty());
}

/// No word comes of what is not a number, or of no judgement at all, and the rule is named.
#[test]
fn nothing_is_judged_on_what_is_no_number() {
    const BAD: [f64; 3] = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY];
    let fine = native(|v| answer(alloc::vec![judgement("c", v[0], Some(0.0), Some(9.0))], 0));
    assert!(at(&fine, 5.0, 0.1).is_ok());
    for bad in BAD {
        assert!(at(&fine, bad, 0.1).unwrap_err().message.contains("input"), "{bad}");
        assert!(at(&fine, 5.0, bad).unwrap_err().message.contains("input"), "{bad}");
        for (value, low, high) in [(bad, 0.0, 9.0), (5.0, bad, 9.0), (5.0, 0.0, bad)] {
            let rule = native(move |_| answer(alloc::vec![judgement("c", value, Some(low), Some(high))], 0));
            let error = at(&rule, 5.0, 0.1).unwrap_err();
            assert_eq!((error.file.as_str(), error.line), ("native", 0));
            assert!(error.message.contains("not a finite number"), "{}", error.message);
        }
    }
    let error = at(&native(|_| answer(alloc::vec![], 0)), 5.0, 0.1).unwrap_err();
    assert_eq!((error.file.as_str(), error.message.as_str()), ("native", "the rule gave no judgement"));
}

/// Whatever the rule answers otherwise within the uncertainty: then no word stands clear, neither a pass nor a fail.
#[test]
fn another_answer_within_the_uncertainty_leaves_no_word_clear() {
    type Change = fn(&mut Vec<Judgement>);
    let changes: [(&str, Change); 7] = [
        ("the same", |_| {}),
        ("name", |list| list[0].name = "d".into()),
        ("unit", |list| list[0].unit = Unit::VOLT),
        ("no low limit", |list| list[0].low = None),
        ("no high limit", |list| list[0].high = None),
        ("no number", |list| list[0].value = f64::NAN),
        ("one more", |list| list.push(judgement("d", 50.0, Some(0.0), Some(100.0)))),
    ];
    for (what, change) in changes {
        for upwards in [true, false] {
            let rule = move |value: f64| {
                native(move |v| {
                    let mut list = alloc::vec![judgement("c", value, Some(0.0), Some(100.0))];
                    if (upwards && v[0] > 7.0) || (!upwards && v[0] < 7.0) {
                        change(&mut list);
                    }
                    answer(list, 0)
                })
            };
            let clear = what == "the same";
            let pass = at(&rule(50.0), 7.0, 0.5).unwrap().word();
            assert_eq!(pass, if clear { Word::Pass } else { Word::ConditionalPass }, "{what}, {upwards}");
            let fail = at(&rule(-50.0), 7.0, 0.5).unwrap().word();
            assert_eq!(fail, if clear { Word::Fail } else { Word::ConditionalFail }, "{what}, {upwards}");
        }
    }
    // Nothing to judge beyond the move, and an error there, are other answers too.
    let ends = native(|v| match v[0] {
        v if v > 7.0 => Outcome { answer: Answer::NoVerdict("beyond".into()), path: 0 },
        _ => answer(alloc::vec![judgement("c", 50.0, Some(0.0), None)], 0),
    });
    assert_eq!(at(&ends, 7.0, 0.5).unwrap().word(), Word::ConditionalPass);
}

/// Kragten's half-difference takes the limit to run straight between the moves. Where it jumps, the worse of the two moves counts.
#[test]
fn a_limit_that_jumps_within_the_uncertainty_counts_in_full() {
    // The low limit is 5 below 10 and 7 from there on; the margin is the value less the limit.
    let rule = native(|v| {
        let (low, path) = if v[0] < 10.0 { (5.0, 1) } else { (7.0, 2) };
        answer(alloc::vec![judgement("c", v[0], Some(low), None)], path)
    });
    let of = |value| {
        let evaluation = at(&rule, value, 0.5).unwrap();
        let (judgements, _, paths) = judged(&evaluation);
        let margin = judgements[0].margins.low.unwrap();
        (margin.inside_by, margin.standard_uncertainty, paths.to_vec())
    };
    let close = |got: (f64, f64, Vec<usize>), inside_by: f64, u: f64, paths: &[usize]| {
        assert!((got.0 - inside_by).abs() < 1e-9 && (got.1 - u).abs() < 1e-9 && got.2 == paths, "{got:?}");
    };
    // Up: 10.25 - 7 = 3.25, which is 1.5 less than 4.75; down 4.25, which is 0.5 less.
    close(of(9.75), 4.75, 1.5, &[0]);
    // Up 3.75, which is 0.5 more than 3.25; down: 9.75 - 5 = 4.75, which is 1.5 more.
    close(of(10.25), 3.25, 1.5, &[0]);
    // Half the difference where nothing jumps.
    close(of(8.0), 3.0, 0.5, &[]);
}

/// The uncertainties of independent inputs add in quadrature, for the value and for each margin (JCGM 100:2008, 5.1.2).
#[test]
fn independent_inputs_add_in_quadrature() {
    // c = a - b between b and 100 - 3 b: the low margin is a - 2 b, the high one 100 - a - 2 b.
    let rule = native(|v| {
        let limits = (Some(v[1]), Some(100.0 - 3.0 * v[1]));
        answer(alloc::vec![judgement("c", v[0] - v[1], limits.0, limits.1)], 0)
    });
    let input = |value, standard_uncertainty| Input { value, standard_uncertainty };
    let inputs = [input(30.0, 3.0), input(5.0, 2.0), input(1.0, 0.0)];
    let evaluation = evaluate(&rule, &inputs, DecisionRule::default()).unwrap();
    let one = &judged(&evaluation).0[0];
    // sqrt(3^2 + 2^2), and sqrt(3^2 + 4^2) on both sides.
    assert!((one.standard_uncertainty - 13.0_f64.sqrt()).abs() < 1e-9);
    let (low, high) = (one.margins.low.unwrap(), one.margins.high.unwrap());
    assert!((low.standard_uncertainty - 5.0).abs() < 1e-9 && (low.inside_by - 20.0).abs() < 1e-9);
    assert!((high.standard_uncertainty - 5.0).abs() < 1e-9 && (high.inside_by - 60.0).abs() < 1e-9);
    // Along the second input the low margin is 30 - 2 b: 0 at 15, 10 at 10, -10 at 20. The high one, 70 - 2 b: 35, 30, 40.
    let found = evaluation.thresholds(1, inputs[1], DecisionRule::default());
    let want = [10.0, 15.0, 20.0, 30.0, 35.0, 40.0];
    assert_eq!(found.len(), want.len(), "{found:?}");
    assert!(found.iter().zip(want).all(|(f, w)| (f - w).abs() < 1e-9), "{found:?}");
    // An input that is exactly known moves nothing, and there is no fourth.
    for index in [2, 3] {
        assert!(evaluation.thresholds(index, inputs[2], DecisionRule::default()).is_empty());
    }
}
