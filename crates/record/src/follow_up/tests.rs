//! Figures and amendments as JSON and as lines, and verdicts whose value was not at rest.
use alloc::borrow::ToOwned;
use alloc::boxed::Box;
use alloc::format;
use alloc::vec;
use alloc::vec::Vec;

use judge::evaluate::{Evaluation, Input, Judged, evaluate};
use judge::limits::{DecisionRule, Word};
use judge::rule::{Answer, Header, Judgement, Outcome, Rule, RuleError, Source, SourceClass};
use quantity::{Decimal, DisplayUnit, Instant, Quantity, Unit};
use visit::round::Output;
use visit::verdict::{Drift, PointReading, Verdict};

use crate::{FollowUpJson, FollowUpKind, VerdictJson, text};

/// A reading of a capacitor: the middle, its standard uncertainty, the ends; settled or not.
pub(crate) fn reading(settled: bool, value: f64, u: f64, ends: (f64, f64)) -> PointReading {
    PointReading {
        point: "capacitance".into(),
        label: "terminal to terminal".into(),
        device: "meter".into(),
        quantity: Quantity::new(value, u, Unit::MICROFARAD).unwrap(),
        shown: Decimal::parse("39.2").unwrap(),
        open: false,
        display: DisplayUnit { unit: Unit::MICROFARAD, coupling: None },
        accuracy_known: true,
        count: 5,
        settled,
        at_least: Some(ends.0),
        at_most: Some(ends.1),
        drift: None,
        at: Instant::from_micros(10_100_000),
    }
}

/// Judges `factor` times the capacitance.
struct Times(Header, &'static str, f64);

impl Rule for Times {
    fn id(&self) -> &'static str {
        "run-capacitor"
    }
    fn hash(&self) -> &'static str {
        "00"
    }
    fn header(&self) -> &Header {
        &self.0
    }
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        let judgement = Judgement {
            name: self.1.into(),
            value: self.2 * values[0],
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

fn judged(name: &'static str, factor: f64) -> Vec<Judged> {
    let inputs = [Input { value: 39.235, standard_uncertainty: 0.66 }];
    let rule = Times(Header::default(), name, factor);
    match evaluate(&rule, &inputs, DecisionRule::default()).unwrap() {
        Evaluation::Judged { judgements, .. } => judgements,
        Evaluation::NoVerdict { because } => panic!("{because}"),
    }
}

fn verdict(word: Word, readings: Vec<PointReading>, judgements: Vec<Judged>) -> Verdict {
    Verdict {
        number: 3,
        check: 1,
        unit_tag: "RTU-1".into(),
        component: "c".into(),
        rule: "run-capacitor".into(),
        title: "Run capacitor".into(),
        rule_hash: "00".into(),
        word,
        danger: false,
        reason: None,
        judgements,
        readings,
        as_left: false,
        second_looks: Vec::new(),
        plate: Vec::new(),
        hold_points: Vec::new(),
        decision: DecisionRule::default(),
        notes: Vec::new(),
        at: Instant::from_micros(10_200_000),
    }
}

pub(crate) fn early_pass() -> Verdict {
    let early = reading(false, 39.235, 0.66, (38.117, 40.353));
    verdict(Word::Pass, vec![early], judged("capacitance", 1.0))
}

pub(crate) fn completed(of: &Verdict) -> FollowUpJson {
    let reading = reading(true, 40.0213, 0.42, (39.98, 40.06));
    let reading = Box::new(reading);
    let output = Output::Completed { verdict: of.number, reading, second_look: None, judgements: Vec::new() };
    FollowUpJson::of(of, &output, Instant::from_micros(12_251_000)).unwrap()
}

pub(crate) fn amended(of: &Verdict, reading: PointReading) -> FollowUpJson {
    amended_to(of, Word::Fail, reading, (false, 1))
}

/// `how`: moved without lifted leads, and how often the word has changed.
pub(crate) fn amended_to(of: &Verdict, word: Word, reading: PointReading, how: (bool, u32)) -> FollowUpJson {
    let (moved, changes) = how;
    let output = Output::Amended {
        verdict: of.number,
        word,
        reading: Box::new(reading),
        moved,
        changes,
        judgements: Vec::new(),
    };
    FollowUpJson::of(of, &output, Instant::from_micros(14_310_000)).unwrap()
}

/// A pass that rests on an early reading and judges what is worked out of it, with its figure.
pub(crate) fn worked_out() -> (Verdict, FollowUpJson) {
    let early = reading(false, 39.235, 0.66, (38.117, 40.353));
    let of = verdict(Word::Pass, vec![early], judged("loss", 1.01));
    let figure = reading(true, 40.0213, 0.42, (39.98, 40.06));
    let output = Output::Completed {
        verdict: 3,
        reading: Box::new(figure),
        second_look: None,
        judgements: judged("loss", 1.02),
    };
    let json = FollowUpJson::of(&of, &output, Instant::from_micros(12_251_000)).unwrap();
    (of, json)
}

#[test]
fn an_early_word_shows_the_ends_of_its_interval_and_no_value() {
    let json = VerdictJson::from(&early_pass());
    assert_eq!(
        text::line(&json),
        "   10.200 s  #1  RTU-1 / c  Run capacitor: PASS  capacitance between 38.1 and 40.4 uF, settling (37.6 to 42.4 uF)"
    );
    for text in [text::line(&json), text::block(&json)] {
        assert!(!text.contains("39.2"), "the middle of the interval is no value: {text}");
    }
    let block = text::block(&json);
    assert!(
        block.contains(
            "reading   terminal to terminal: between 38.1 and 40.4 uF, settling (meter, 5 readings)"
        ),
        "{block}"
    );
}

/// A judgement that is worked out from a reading has no value either while the reading moves.
#[test]
fn what_is_worked_out_from_an_early_reading_has_no_value() {
    let early = reading(false, 39.235, 0.66, (38.117, 40.353));
    let json = VerdictJson::from(&verdict(Word::Pass, vec![early], judged("loss", 1.01)));
    let line = text::line(&json);
    assert!(
        line.ends_with(
            "PASS  loss (37.6 to 42.4 uF): terminal to terminal between 38.1 and 40.4 uF, settling"
        ),
        "{line}"
    );
}

#[test]
fn a_reading_says_whether_it_settled_and_between_which_ends() {
    let line = VerdictJson::from(&early_pass()).line();
    assert!(
        line.contains(r#""count":5,"settled":false,"at_least":38.117,"at_most":40.353,"at_s":10.1"#),
        "{line}"
    );
    assert!(line.contains(r#""check":1,"number":3,"#), "{line}");
    let same: VerdictJson = serde_json::from_str(&line).unwrap();
    assert_eq!(same, VerdictJson::from(&early_pass()));
    // As a program before this one wrote it.
    let old = line
        .replace(r#""settled":false,"at_least":38.117,"at_most":40.353,"#, "")
        .replace(r#""number":3,"#, "");
    let old: VerdictJson = serde_json::from_str(&old).unwrap();
    assert_eq!((old.number, old.readings[0].settled, old.readings[0].at_least), (0, false, None));
}

#[test]
fn a_figure_is_a_line_of_its_own_that_names_its_verdict() {
    let of = early_pass();
    let json = completed(&of);
    assert_eq!(
        text::follow_up(&json),
        "   12.251 s  #1  RTU-1 / c  Run capacitor: capacitance 40.02 +-0.84 uF, settled"
    );
    assert_eq!(
        (json.event, json.number, json.said.as_str(), &json.now),
        (FollowUpKind::Completed, 3, "pass", &None)
    );
    let line = json.line();
    assert!(
        line.starts_with(
            r#"{"event":"completed","number":3,"check":1,"unit":"RTU-1","component":"c","rule":"#
        ),
        "{line}"
    );
    assert!(
        line.contains(r#""said":"pass","now":null,"name":"capacitance","reading":{"point":"capacitance""#),
        "{line}"
    );
    assert!(!line.contains(r#""verdict""#), "nobody may take it for a verdict: {line}");
    assert_eq!(FollowUpJson::parse(&line).unwrap(), json);
    assert!(json.unsaved_line().starts_with(r#"{"unsaved":true,"event":"completed","#));
}

#[test]
fn an_amendment_says_what_was_said_what_is_shown_now_and_what_to_do() {
    let of = early_pass();
    let settled = amended(&of, reading(true, 31.2, 0.35, (31.1, 31.3)));
    assert_eq!(
        text::follow_up(&settled),
        "   14.310 s  #1  RTU-1 / c  Run capacitor: AMENDED  said PASS; the leads now show FAIL: \
         capacitance 31.20 +-0.70 uF, settled  -- measure again before you act"
    );
    let early = amended(&of, reading(false, 31.2, 0.35, (30.04, 32.36)));
    assert!(text::follow_up(&early).contains("FAIL: capacitance between 30.0 and 32.4 uF, settling  -- "));
    let line = early.line();
    assert!(line.contains(r#""said":"pass","now":"fail","name":"capacitance","reading""#), "{line}");
    assert_eq!(FollowUpJson::parse(&line).unwrap(), early);
}

/// A value that nothing is judged by as it stands goes by the name of its point.
#[test]
fn a_figure_that_no_judgement_is_about_goes_by_its_points_name() {
    let early = reading(false, 39.235, 0.66, (38.117, 40.353));
    let json = completed(&verdict(Word::Pass, vec![early], judged("loss", 1.01)));
    assert!(text::follow_up(&json).ends_with("Run capacitor: terminal to terminal 40.02 +-0.84 uF, settled"));
}

#[test]
fn what_is_about_another_verdict_or_is_no_follow_up_gives_nothing() {
    let of = early_pass();
    let reading = reading(true, 40.0, 0.4, (39.9, 40.1));
    let other = Output::Completed {
        verdict: 2,
        reading: Box::new(reading.clone()),
        second_look: None,
        judgements: Vec::new(),
    };
    assert_eq!(FollowUpJson::of(&of, &other, Instant::ZERO), None);
    assert_eq!(FollowUpJson::of(&of, &Output::Settled(reading), Instant::ZERO), None);
}

/// U has two digits and the figure ends where it does, also where rounding carries over.
#[test]
fn a_figure_ends_where_its_uncertainty_does() {
    let json = |value: f64, u: f64| {
        let mut json = completed(&early_pass());
        (json.reading.value, json.expanded_uncertainty) = (value, u);
        text::completed(&json).split("capacitance ").nth(1).unwrap().to_owned()
    };
    assert_eq!(json(40.0213, 0.996), "40.0 +-1.0 uF, settled");
    assert_eq!(json(40.0213, 0.0333), "40.021 +-0.033 uF, settled");
    assert_eq!(json(1234.5, 56.7), "1234 +-57 uF, settled");
    assert_eq!(json(40.0213, 0.0), "40.02 uF, settled");
}

/// Words of others stay in their line.
#[test]
fn words_of_others_act_in_no_line() {
    let mut json = amended(&early_pass(), reading(true, 31.2, 0.35, (31.1, 31.3)));
    let word = "x\u{1b}[2J\n    9.000 s  #9  PASS\u{202e}".to_owned();
    for text in [&mut json.unit, &mut json.component, &mut json.title, &mut json.said] {
        text.clone_from(&word);
    }
    (json.name, json.reading.unit) = (word.clone(), word);
    for event in [FollowUpKind::Completed, FollowUpKind::Amended] {
        let line = text::follow_up(&FollowUpJson { event, ..json.clone() });
        assert!(!line.chars().any(|c| c.is_control() || c == '\u{202e}'), "{line:?}");
    }
}

/// 1.02 times 39.235 is 40.0197, with U = 2 * 1.02 * 0.66 = 1.3464.
#[test]
fn what_is_worked_out_stands_behind_the_last_figure() {
    let (_, json) = worked_out();
    let line = text::follow_up(&json);
    assert!(
        line.ends_with("Run capacitor: terminal to terminal 40.02 +-0.84 uF, settled; loss 40.0 +-1.3 uF"),
        "{line}"
    );
    let judged = &json.judgements[0];
    assert_eq!((judged.name.as_str(), judged.value, judged.unit.as_str()), ("loss", 40.0197, "uF"));
    assert!((judged.standard_uncertainty - 0.6732).abs() < 1e-4, "{}", judged.standard_uncertainty);
    let line = json.line();
    assert!(line.contains(r#""judgements":[{"name":"loss","verdict":"pass","value":40.0197,"#), "{line}");
    assert_eq!(FollowUpJson::parse(&line).unwrap(), json);
}

/// The value that a judgement is about is the figure itself.
#[test]
fn what_is_the_figure_itself_is_told_once() {
    let of = early_pass();
    let figure = reading(true, 39.235, 0.66, (39.2, 39.3));
    let output = Output::Completed {
        verdict: 3,
        reading: Box::new(figure),
        second_look: None,
        judgements: judged("capacitance", 1.0),
    };
    let json = FollowUpJson::of(&of, &output, Instant::ZERO).unwrap();
    assert!(text::follow_up(&json).ends_with("capacitance 39.2 +-1.3 uF, settled"));
    assert_eq!(json.judgements.len(), 1);
}

#[test]
fn an_amendment_that_goes_back_or_has_moved_says_so() {
    let said = |word, moved, changes| {
        let reading = reading(true, 40.0213, 0.42, (39.98, 40.06));
        let line = text::follow_up(&amended_to(&early_pass(), word, reading, (moved, changes)));
        line.split_once("AMENDED  ").unwrap().1.to_owned()
    };
    let value = "40.02 +-0.84 uF, settled";
    let act = "  -- measure again before you act";
    assert_eq!(
        said(Word::Pass, false, 2),
        format!("back to PASS: the leads agree with it again: capacitance {value}{act}")
    );
    assert_eq!(
        said(Word::Fail, true, 1),
        format!("said PASS; capacitance has since moved to {value}, which would be FAIL{act}")
    );
    assert_eq!(
        said(Word::Pass, true, 2),
        format!("back to PASS: capacitance has since moved to {value}{act}")
    );
    assert!(!said(Word::Fail, true, 8).contains("times"));
    assert!(
        said(Word::Fail, true, 9)
            .contains("; the word has changed 9 times, later changes are only counted  -- ")
    );
}

/// As the version before wrote it.
#[test]
fn an_older_follow_up_is_read() {
    let line = completed(&early_pass()).line();
    let old = line.replace(r#""moved":false,"changes":null,"#, "").replace(r#""judgements":[],"#, "");
    assert_ne!(old, line);
    assert_eq!(FollowUpJson::parse(&old).unwrap(), completed(&early_pass()));
}

/// What a rule accepts by name is told by name, with its rate.
#[test]
fn a_value_that_drifts_by_leave_of_its_rule_says_so() {
    let mut drifts = reading(true, 39.235, 0.66, (38.9, 39.6));
    drifts.drift = Some(Drift { name: "discharge".into(), per_minute: -1.2345 });
    let says = "while it drifts -1.2 uF a minute (discharge)";
    let at_rest = |name, factor| verdict(Word::Pass, vec![drifts.clone()], judged(name, factor));
    let json = VerdictJson::from(&at_rest("capacitance", 1.0));
    assert!(text::line(&json).ends_with(&format!("(37.6 to 42.4 uF), {says}")), "{}", text::line(&json));
    assert!(text::block(&json).contains(&format!("5 readings), {says}\n")), "{}", text::block(&json));
    assert!(json.line().contains(r#""drift":{"name":"discharge","per_minute":-1.2345},"at_s""#));
    let of_it = text::line(&VerdictJson::from(&at_rest("loss", 1.01)));
    assert!(of_it.ends_with("while terminal to terminal drifts -1.2 uF a minute (discharge)"), "{of_it}");
    let output = Output::Completed {
        verdict: 3,
        reading: Box::new(drifts),
        second_look: None,
        judgements: Vec::new(),
    };
    let json = FollowUpJson::of(&early_pass(), &output, Instant::ZERO).unwrap();
    assert!(
        text::follow_up(&json).ends_with(&format!("39.2 +-1.3 uF, {says}")),
        "{}",
        text::follow_up(&json)
    );
    assert_eq!(FollowUpJson::parse(&json.line()).unwrap(), json);
    let at_rest =
        VerdictJson::from(&verdict(Word::Pass, vec![reading(true, 39.0, 0.6, (38.9, 39.1))], vec![]));
    assert!(!at_rest.line().contains("drift"), "a value at rest has no such key");
}
