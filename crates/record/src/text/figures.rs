//! The word next to its figures: what a reader computes from the line is the word on the line.
use alloc::borrow::ToOwned;
use alloc::string::String;
use alloc::vec;
use alloc::vec::Vec;

use judge::evaluate::{Evaluation, Input, evaluate};
use judge::limits::{DecisionRule, Word};
use judge::rule::{Answer, Header, Judgement, Outcome, Rule, RuleError, Source, SourceClass};
use quantity::{Accuracy, Instant, Unit};
use visit::verdict::Verdict;

use super::line;
use crate::verdict::VerdictJson;

/// 40 uF +-6 %.
struct Capacitor(Header);

impl Rule for Capacitor {
    fn id(&self) -> &'static str {
        "run-capacitor"
    }
    fn hash(&self) -> &'static str {
        "0"
    }
    fn header(&self) -> &Header {
        &self.0
    }
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        let judgement = Judgement {
            name: "capacitance".into(),
            value: values.first().copied().unwrap_or_default(),
            unit: Unit::MICROFARAD,
            low: Some(37.6),
            high: Some(42.4),
            advice_ok: None,
            advice_low: None,
            advice_high: None,
            source: Source { text: "nameplate".into(), class: SourceClass::Nameplate },
            source_parts: [].into(),
        };
        Ok(Outcome { answer: Answer::Judgements(vec![judgement]), path: 0 })
    }
}

/// The verdict line of a value read with 1.9 % + 2 counts of 0.1 uF.
fn line_of(value: f64, decision: DecisionRule) -> (String, Word) {
    let sheet = Accuracy::parse("1.9% + 2 x 0.1uF").unwrap();
    let standard_uncertainty = sheet.standard_uncertainty(value, 0.1, Unit::MICROFARAD).unwrap();
    let inputs = [Input { value, standard_uncertainty }];
    let evaluation = evaluate(&Capacitor(Header::default()), &inputs, decision).unwrap();
    let word = evaluation.word();
    let Evaluation::Judged { judgements, .. } = evaluation else { panic!("no judgement") };
    let verdict = Verdict {
        number: 1,
        check: 1,
        unit_tag: String::new(),
        component: String::new(),
        rule: "run-capacitor".to_owned(),
        title: "Run capacitor".to_owned(),
        rule_hash: "0".to_owned(),
        word,
        danger: false,
        reason: None,
        judgements,
        readings: Vec::new(),
        as_left: false,
        second_looks: Vec::new(),
        plate: Vec::new(),
        hold_points: Vec::new(),
        decision,
        notes: Vec::new(),
        at: Instant::ZERO,
    };
    (line(&VerdictJson::from(&verdict)), word)
}

/// The word that follows from the figures on the line (ILAC-G8:09/2019, 4.2.3): inside by U or more is a pass, inside
/// by less a conditional pass, and so on outside.
fn word_by_the_figures(line: &str) -> Word {
    let (value, rest) = line.split("capacitance ").nth(1).unwrap().split_once(" +-").unwrap();
    let (u, rest) = rest.split_once(" uF (").unwrap();
    let (low, rest) = rest.split_once(" to ").unwrap();
    let high = rest.split_once(" uF)").unwrap().0;
    let number = |text: &str| text.parse::<f64>().unwrap();
    let inside_by = (number(value) - number(low)).min(number(high) - number(value));
    match inside_by {
        by if by >= number(u) => Word::Pass,
        by if by >= 0.0 => Word::ConditionalPass,
        by if by >= -number(u) => Word::ConditionalFail,
        _ => Word::Fail,
    }
}

#[test]
fn the_word_follows_from_the_figures_of_the_line_whatever_the_coverage_factor() {
    let guarded = |coverage_factor| DecisionRule::Guarded { coverage_factor };
    let (text, word) = line_of(38.8, guarded(3.0));
    assert_eq!(word, Word::ConditionalPass);
    assert!(text.contains("38.8 +-1.623 uF (37.6 to 42.4 uF)"), "{text}");
    let (text, word) = line_of(38.8, guarded(2.0));
    assert_eq!(word, Word::Pass);
    assert!(text.contains("38.8 +-1.082 uF (37.6 to 42.4 uF)"), "{text}");
    for k in [0.5, 1.0, 1.645, 2.0, 2.58, 3.0, 3.5] {
        for value in [35.0, 36.4, 37.5, 37.7, 38.4, 38.8, 39.3, 40.0, 41.1, 42.3, 42.5, 45.0] {
            let (text, word) = line_of(value, guarded(k));
            assert_eq!(word, word_by_the_figures(&text), "k = {k}: {text}");
        }
    }
}

/// Start and run windings that add up to the last bit are 0 % apart, not 4.7e-15 %.
#[test]
fn what_the_machine_rounds_is_no_figure() {
    let (line, _) = line_of(4.724e-15, DecisionRule::default());
    assert!(line.contains("capacitance 0 +-"), "{line}");
    let (line, _) = line_of(0.001, DecisionRule::default());
    assert!(line.contains("capacitance 0.001 +-"), "{line}");
}
