//! Manual lines, alone and with a round behind them. The pipeline with shipped profiles and rules has its tests in `checks`.
use super::*;
use alloc::boxed::Box;
use alloc::string::ToString;
use alloc::sync::Arc;
use alloc::vec;

use judge::rule::{Answer, Header, Judgement, Outcome, Point, Rule, RuleError, Source, SourceClass};
use quantity::{Coupling, DisplayUnit, Unit};
use visit::round::Plan;

fn typed(text: &str) -> Vec<Result<String, String>> {
    let mut lines = manual::ManualLines::default();
    let mut out = vec![];
    lines.bytes(text.as_bytes(), &mut |result| {
        out.push(match result {
            Ok(Act::Type { point, value: Display::Value(value), accuracy }) => {
                Ok(alloc::format!("{point} {} {:?} {}", value.number, value.unit, accuracy.is_some()))
            }
            Ok(other) => Ok(alloc::format!("{other:?}")),
            Err(fault) => Err(fault.to_string()),
        });
    });
    out
}

#[test]
fn lines_become_typed_values() {
    assert_eq!(
        typed("capacitance=39.40uF\n\nshorted = 0.1 ohm; 1% + 2\n"),
        [
            Ok("capacitance 39.40 Some(Unit(uF)) false".to_string()),
            Ok("shorted 0.1 Some(Unit(ohm)) true".to_string())
        ]
    );
}

#[test]
fn a_few_words_do_what_the_buttons_do() {
    let said = typed("confirm locked out\nyes\n next \nfinish\n");
    let said: Vec<&str> = said.iter().map(|line| line.as_deref().unwrap_or("refused")).collect();
    assert_eq!(
        said,
        ["Confirm { hold_point: \"locked out\" }", "Answer { question: None, yes: true }", "Next", "Finish"]
    );
    assert!(matches!(typed("confirm\nyes please\nno -1\n").as_slice(), [Err(_), Err(_), Err(_)]));
}

#[test]
fn capitals_make_no_other_word_and_an_answer_may_name_its_question() {
    let said = typed("YES\nNo 3\nConfirm Locked Out\nNEXT\nAgain\n");
    let said: Vec<&str> = said.iter().map(|line| line.as_deref().unwrap_or("refused")).collect();
    assert_eq!(
        said,
        [
            "Answer { question: None, yes: true }",
            "Answer { question: Some(3), yes: false }",
            "Confirm { hold_point: \"Locked Out\" }",
            "Next",
            "Again { as_left: false }"
        ]
    );
}

#[test]
fn what_is_no_value_is_refused_with_a_sentence() {
    for text in [
        "39.4uF\n",
        "capacitance=OLL\n",
        "capacitance=39.4uf\n",
        "capacitance=1uF; 2 parsec\n",
        "capacitance=1uF; 1.9\n",
    ] {
        assert!(matches!(typed(text).as_slice(), [Err(_)]), "{text:?}");
    }
    // OL is a finding, which a rule may ask for with open(...).
    assert!(matches!(typed("capacitance=OL\n").as_slice(), [Ok(_)]));
    let endless = alloc::format!("{}\n1=2V\n", "x".repeat(10_000));
    assert_eq!(typed(&endless).len(), 2);
    assert_eq!(typed("no line end yet"), []);
}

/// One point; 1 to 60 of its unit are believed without a question, 20 to 40 pass.
struct OnePoint(Header);

impl OnePoint {
    fn new(name: &str, unit: Unit, coupling: Option<Coupling>) -> Self {
        let point = Point {
            name: name.into(),
            label: name.into(),
            display: DisplayUnit { unit, coupling },
            plausible: Some((1.0, 60.0)),
            open_counts_as: None,
            drift: None,
            line: 1,
        };
        Self(Header { title: "one point".into(), points: vec![point], ..Header::default() })
    }
}

impl Rule for OnePoint {
    fn id(&self) -> &'static str {
        "one-point"
    }
    fn hash(&self) -> &'static str {
        "0"
    }
    fn header(&self) -> &Header {
        &self.0
    }
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        let judgement = Judgement {
            name: "value".into(),
            value: values[0],
            unit: self.0.points[0].display.unit,
            low: Some(20.0),
            high: Some(40.0),
            advice_ok: None,
            advice_low: None,
            advice_high: None,
            source: Source { text: "for a test".into(), class: SourceClass::Nameplate },
            source_parts: [].into(),
        };
        Ok(Outcome { answer: Answer::Judgements(vec![judgement]), path: 0 })
    }
}

/// A pipeline with a check of this rule armed and a person who types, beside the meter that is read off, if any.
fn bench(rule: OnePoint, meter: Option<&str>) -> Pipeline {
    let set = RuleSet::new(vec![Arc::new(rule) as Arc<dyn Rule>], "set");
    let mut pipeline = Pipeline::new(set, Settings::default());
    let profile = meter.map(|text| Box::new(Profile::parse(text).unwrap()));
    let joined = Event::Joined { device: "typed".into(), kind: DeviceKind::Manual(profile) };
    pipeline.step(joined, Instant::ZERO);
    let plan = Plan {
        unit_tag: "RTU-07".into(),
        component: "C1".into(),
        rule: "one-point".into(),
        plate: vec![],
        bindings: vec![],
        ..Plan::default()
    };
    pipeline.step(Event::Round(round::Event::Arm(Box::new(plan))), Instant::ZERO);
    pipeline
}

/// What a chunk of typed bytes brings about, one text for each output.
fn types(pipeline: &mut Pipeline, text: &str) -> Vec<String> {
    let event = Event::Bytes { device: "typed".into(), data: text.as_bytes().to_vec() };
    said(pipeline.step(event, Instant::ZERO))
}

fn said(out: Vec<Stamped>) -> Vec<String> {
    // That a visit begins and that a current shows power are no matter of these tests.
    let told = |stamped: &Stamped| {
        !matches!(
            stamped.output,
            Output::Round(round::Output::HoldPoint { .. } | round::Output::Opened { .. })
        )
    };
    out.into_iter()
        .filter(told)
        .map(|stamped| match stamped.output {
            Output::Round(round::Output::Asked { number, .. }) => alloc::format!("asked {number}"),
            Output::Round(round::Output::Refused { why }) => alloc::format!("refused {why}"),
            Output::Round(round::Output::Settled(_)) => "settled".to_string(),
            Output::Round(round::Output::Verdict(verdict)) => verdict.word.to_string(),
            other => alloc::format!("{other:?}"),
        })
        .collect()
}

fn capacitance() -> OnePoint {
    OnePoint::new("capacitance", Unit::MICROFARAD, None)
}

#[test]
fn an_answer_is_for_the_question_that_was_open_when_its_line_began() {
    // Whole lines of one chunk: each answer is for the question that is open when it is taken.
    let mut pipeline = bench(capacitance(), None);
    assert_eq!(types(&mut pipeline, "capacitance=99uF\nyes\n"), ["settled", "asked 1", "fail"]);

    // The line began before there was a question.
    let mut pipeline = bench(capacitance(), None);
    assert_eq!(types(&mut pipeline, "ye"), [""; 0]);
    let other = round::Event::from(Act::Type {
        point: "capacitance".into(),
        value: quantity::parse_typed("99uF").unwrap().into(),
        accuracy: None,
    });
    assert_eq!(said(pipeline.step(Event::Round(other.clone()), Instant::ZERO)), ["settled", "asked 1"]);
    let refused = types(&mut pipeline, "s\n");
    assert!(
        refused[0].starts_with("refused the answer was begun before question 1 was asked"),
        "{refused:?}"
    );
    // The line began under the first question; the page answers that one, and another comes up.
    assert_eq!(types(&mut pipeline, "y"), [""; 0]);
    let no = round::Event::from(Act::Answer { question: Some(1), yes: false });
    assert_eq!(said(pipeline.step(Event::Round(no), Instant::ZERO)), [""; 0]);
    assert_eq!(said(pipeline.step(Event::Round(other), Instant::ZERO)), ["settled", "asked 2"]);
    let refused = types(&mut pipeline, "es\n");
    assert!(refused[0].starts_with("refused the answer is for question 1"), "{refused:?}");
    // Begun and ended under the same question, whatever lies between.
    assert_eq!(types(&mut pipeline, "y"), [""; 0]);
    assert_eq!(types(&mut pipeline, "e"), [""; 0]);
    assert_eq!(types(&mut pipeline, "s\n"), ["fail"]);
}

#[test]
fn a_gap_forgets_the_line_that_was_begun() {
    let mut pipeline = bench(capacitance(), None);
    assert_eq!(types(&mut pipeline, "n"), [""; 0]);
    pipeline.step(Event::Gap { device: "typed".into() }, Instant::ZERO);
    assert_eq!(types(&mut pipeline, "capacitance=99uF\nyes\n"), ["settled", "asked 1", "fail"]);
}

/// The route goes on in the middle of a chunk: what stands behind `next` is for the check that it arms.
#[test]
fn lines_behind_next_are_for_the_next_check_however_they_are_cut() {
    let text = "capacitance=30uF\nnext\ncapacitance=10uF\nnext\n";
    let stepped = |cuts: &[&str]| {
        let plan = |component: &str| Plan {
            unit_tag: "RTU-07".into(),
            component: component.into(),
            rule: "one-point".into(),
            plate: vec![],
            bindings: vec![],
            ..Plan::default()
        };
        let set = RuleSet::new(vec![Arc::new(capacitance()) as Arc<dyn Rule>], "set");
        let mut pipeline =
            Pipeline::new(set, Settings::default()).on(Route::new(vec![plan("C1"), plan("C2")]));
        let joined = Event::Joined { device: "typed".into(), kind: DeviceKind::Manual(None) };
        pipeline.step(joined, Instant::ZERO);
        pipeline.step(Event::Round(Act::Next.into()), Instant::ZERO);
        let step = |cut: &&str| {
            let event = Event::Bytes { device: "typed".into(), data: cut.as_bytes().to_vec() };
            pipeline.step(event, Instant::ZERO)
        };
        cuts.iter().flat_map(step).collect::<Vec<_>>()
    };
    let whole = stepped(&[text]);
    let by_line: Vec<&str> = text.split_inclusive('\n').collect();
    let by_byte: Vec<&str> = text.split_inclusive(|_| true).collect();
    assert_eq!(stepped(&by_line), whole);
    assert_eq!(stepped(&by_byte), whole);
    let of_verdicts: Vec<(String, String)> = whole
        .into_iter()
        .filter_map(|stamped| match stamped.output {
            Output::Round(round::Output::Verdict(verdict)) => {
                Some((verdict.component, verdict.word.to_string()))
            }
            _ => None,
        })
        .collect();
    assert_eq!(of_verdicts, [("C1".into(), "pass".into()), ("C2".into(), "fail".into())]);
}

/// A hand meter that is read off: 2 % + 5 counts of alternating current, steps of 0.01 A up to 60 A.
const HAND_METER: &str = "profile = 1\nid = \"hand\"\n[frame]\nkind = \"line\"\n[decode]\nkind = \"pattern\"\n\
    pattern = \"{value:7} {unit:5}\"\n[decode.units]\nA = \"A ac\"\nuF = \"uF\"\n\
    [[accuracy]]\nquantity = \"current ac\"\nup_to = \"60A\"\nspec = \"2.0% + 5\"\nresolution = \"0.01A\"\n\
    [[accuracy]]\nquantity = \"capacitance\"\nspec = \"1.8% + 10\"\n";

/// The verdict of a typed value: its word and its U with k = 2, and what was asked.
fn judged(rule: OnePoint, act: impl FnOnce(&mut Pipeline) -> Vec<Stamped>) -> (String, String) {
    let mut pipeline = bench(rule, Some(HAND_METER));
    let verdict = act(&mut pipeline).into_iter().find_map(|stamped| match stamped.output {
        Output::Round(round::Output::Verdict(verdict)) => Some(verdict),
        _ => None,
    });
    let verdict = verdict.expect("a verdict");
    let u = verdict.judgements[0].expanded_uncertainty(verdict.decision);
    (verdict.word.to_string(), alloc::format!("{u:.4}"))
}

/// 2 % of 20.49 A + 5 x 0.01 A, over the square root of 3 (JCGM 100, 4.3.7), times 2: 0.5309 A.
#[test]
fn what_is_left_out_of_a_typed_value_changes_neither_word_nor_uncertainty() {
    let amps = || OnePoint::new("amps", Unit::AMPERE, Some(Coupling::Ac));
    let expected = ("conditional pass".to_string(), "0.5309".to_string());
    for text in ["20.49 A ac", "20.49A", "20.49", "20490 mA ac; 2.0% + 5 x 0.01A"] {
        let typed_line = |pipeline: &mut Pipeline| {
            let data = alloc::format!("amps={text}\n").into_bytes();
            pipeline.step(Event::Bytes { device: "typed".into(), data }, Instant::ZERO)
        };
        assert_eq!(judged(amps(), typed_line), expected, "{text}");
    }
    // The same from the page, which is no device.
    for text in ["20.49 A ac", "20.49A", "20.49"] {
        let typed_there = |pipeline: &mut Pipeline| {
            let value = quantity::parse_typed(text).unwrap();
            let event =
                round::Event::from(Act::Type { point: "Amps".into(), value: value.into(), accuracy: None });
            pipeline.step(Event::Round(event), Instant::ZERO)
        };
        assert_eq!(judged(amps(), typed_there), expected, "{text}");
    }
    for text in ["20.26uF", "20.26"] {
        let typed_line = |pipeline: &mut Pipeline| {
            let data = alloc::format!("capacitance={text}\n").into_bytes();
            pipeline.step(Event::Bytes { device: "typed".into(), data }, Instant::ZERO)
        };
        // 1.8 % of 20.26 uF + 10 x 0.01 uF, over the square root of 3, times 2.
        assert_eq!(judged(capacitance(), typed_line), ("conditional pass".into(), "0.5366".into()), "{text}");
    }
}

#[test]
fn ac_or_dc_is_refused_where_the_point_has_neither() {
    let mut pipeline = bench(capacitance(), Some(HAND_METER));
    let refused = types(&mut pipeline, "capacitance=20.26 ac\n");
    assert!(
        refused[0].starts_with("refused capacitance is wanted in uF, which is neither ac nor dc"),
        "{refused:?}"
    );
}

/// The meter shows steps of 0.01 A. U = 2 (2 % of the reading + 0.05 A) / sqrt 3 (JCGM 100, 4.3.7); digits left out add
/// their rounding, step / sqrt 12 (F.2.2.1), in quadrature.
#[test]
fn digits_left_out_are_asked_about_where_the_word_depends_on_them() {
    let amps = || OnePoint::new("amps", Unit::AMPERE, Some(Coupling::Ac));
    let line = |text: &'static str| {
        move |pipeline: &mut Pipeline| {
            let data = alloc::format!("amps={text}\n").into_bytes();
            pipeline.step(Event::Bytes { device: "typed".into(), data }, Instant::ZERO)
        }
    };
    // A pass of 20 either way: nothing is asked, the digit left out counts.
    assert_eq!(judged(amps(), line("20.60")), ("pass".into(), "0.5335".into()));
    assert_eq!(judged(amps(), line("20.6")), ("pass".into(), "0.5366".into()));
    // 39 of at most 40: U is 0.958 for 39.00, a pass, and 1.119 for a rounded 39.
    let mut pipeline = bench(amps(), Some(HAND_METER));
    assert_eq!(types(&mut pipeline, "amps=39\n"), ["settled", "asked 1"]);
    let question = pipeline.round().question().unwrap().1.to_string();
    assert!(question.starts_with("amps: 39 or 39.00 A? The meter shows steps of 0.01 A"), "{question}");
    assert_eq!(types(&mut pipeline, "yes\n"), ["pass"]);
    let verdict = pipeline.round().view(Instant::ZERO).verdict.unwrap().0;
    assert_eq!(verdict.readings[0].shown.to_text(), "39.00");
    assert_eq!(
        alloc::format!("{:.3}", verdict.judgements[0].expanded_uncertainty(verdict.decision)),
        "0.958"
    );
    // No: it is taken again, with every digit.
    let mut pipeline = bench(amps(), Some(HAND_METER));
    assert_eq!(types(&mut pipeline, "amps=39\nno\n"), ["settled", "asked 1"]);
    assert_eq!(types(&mut pipeline, "amps=39.31\n"), ["settled", "conditional pass"]);
    // Where the display's step is not known nothing is asked.
    let mut pipeline = bench(capacitance(), Some(HAND_METER));
    assert_eq!(types(&mut pipeline, "capacitance=39\n"), ["settled", "no verdict"]);
    let verdict = pipeline.round().view(Instant::ZERO).verdict.unwrap().0;
    assert!(verdict.notes[0].contains("type them all, zeros too"), "{:?}", verdict.notes);
}
