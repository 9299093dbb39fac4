//! Columns against single evaluations: sets, paths, errors, reuse.
use super::*;
use crate::rule::{Header, RuleError, Source, SourceClass};
use alloc::format;
use alloc::vec;

use LaneAnswer::{Error, NoVerdict, Set};

/// Judges by its first input: below 0 nothing, below 1 "small", below 2 small and large, below 3 with another limit,
/// below 4 not finite, below 5 no judgement, below 6 no verdict, else an error.
struct Steps(Header);

fn one(name: &str, value: f64, low: Option<f64>, high: Option<f64>) -> Judgement {
    Judgement {
        name: name.into(),
        value,
        unit: Unit::VOLT,
        low,
        high,
        advice_ok: None,
        advice_low: None,
        advice_high: None,
        source: Source { text: "plate".into(), class: SourceClass::Nameplate },
        source_parts: [].into(),
    }
}

impl Rule for Steps {
    fn id(&self) -> &'static str {
        "steps"
    }
    fn hash(&self) -> &'static str {
        "0"
    }
    fn header(&self) -> &Header {
        &self.0
    }
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        let (step, value) = (values[0], values[0] * values[1]);
        let path = u64::from(step > 0.5);
        let list = if step < 1.0 {
            vec![one("small", value, Some(0.0), None)]
        } else if step < 2.0 {
            vec![one("small", value, Some(0.0), None), one("large", 2.0 * value, None, Some(9.0))]
        } else if step < 3.0 {
            vec![one("small", value, Some(0.0), Some(value + 1.0))]
        } else if step < 4.0 {
            vec![one("small", f64::NAN, Some(0.0), None)]
        } else if step < 5.0 {
            vec![]
        } else if step < 6.0 {
            return Ok(Outcome { answer: Answer::NoVerdict("beyond".into()), path: 7 });
        } else {
            return Err(RuleError {
                message: "beyond".into(),
                file: "steps".into(),
                line: 0,
                column: 0,
                source_line: alloc::string::String::new(),
            });
        };
        Ok(Outcome { answer: Answer::Judgements(list), path })
    }
}

const STEPS: [f64; 9] = [0.25, 0.75, 1.5, 0.5, 2.5, 3.5, 4.5, 5.5, 6.5];

#[test]
fn each_lane_answers_as_the_rule_does_of_its_values_alone() {
    let rule = Steps(Header::default());
    let factors = [2.0; 9];
    let mut out = ColumnAnswers::default();
    rule.judge_columns(&[&STEPS, &factors], &mut out);
    assert_eq!(out.answers(), [Set(0), Set(0), Set(1), Set(0), Set(2), Error, Error, NoVerdict, Error]);
    assert_eq!(out.paths(), [0, 1, 1, 0, 1, 1, 1, 7, 0]);
    let first = out.column(0).unwrap();
    assert_eq!(first.value, [0.5, 1.5, 3.0, 1.0, 5.0, 0.0, 0.0, 0.0, 0.0]);
    assert_eq!((first.high[3], first.high[4], first.low[4]), (0.0, 6.0, 0.0));
    let second = out.column(1).unwrap();
    assert_eq!((second.value[2], second.high[2], second.value[4]), (6.0, 9.0, 0.0));
    assert!(out.column(2).is_none());
}

#[test]
fn another_run_keeps_the_numbers_of_the_sets_and_nothing_else() {
    let rule = Steps(Header::default());
    let mut out = ColumnAnswers::default();
    rule.judge_columns(&[&STEPS, &[2.0; 9]], &mut out);
    rule.judge_columns(&[&[2.5, 9.0], &[1.0; 2]], &mut out);
    assert_eq!((out.lanes(), out.answers()), (2, &[Set(2), Error][..]));
    assert_eq!(out.column(0).unwrap().value, [2.5, 0.0]);
    assert_eq!(out.column(1).unwrap().value, [0.0, 0.0]);
    // As many lanes as every column has; none without columns.
    rule.judge_columns(&[&STEPS, &[1.0; 3]], &mut out);
    assert_eq!(out.lanes(), 3);
    rule.judge_columns(&[], &mut out);
    assert_eq!(out.lanes(), 0);
}

/// A rule that words a judgement by its reading makes a set of each lane. Their number is bounded.
#[test]
fn sets_beyond_the_most_count_as_others_and_known_ones_are_still_told_apart() {
    let mut out = ColumnAnswers::default();
    out.begin(SETS_MAX + 2);
    for lane in 0..SETS_MAX + 2 {
        let list = vec![one(&format!("c{}", lane % (SETS_MAX + 1)), 1.0, None, None)];
        out.write(lane, &Outcome { answer: Answer::Judgements(list), path: 0 });
    }
    let last = u16::try_from(SETS_MAX - 1).unwrap();
    let want = [Set(last), LaneAnswer::OtherSet, Set(0)];
    assert_eq!(out.answers()[SETS_MAX - 1..], want);
    assert_eq!(out.column(0).unwrap().value[SETS_MAX - 1..], [1.0, 0.0, 1.0]);
    // A set that is given by its signatures has the same number.
    let signature = Signature { name: "c3".into(), unit: Unit::VOLT, has_low: false, has_high: false };
    assert_eq!(out.set(&[signature]), Set(3));
}
