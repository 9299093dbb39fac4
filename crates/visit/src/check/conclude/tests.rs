//! The end of a check by itself: why there is no verdict yet, what is asked first, and what the ending says.
use super::*;
use crate::check::questions::{About, Questions};
use crate::check::testing::Bench;
use crate::job::Job;
use crate::plan::Entered;
use crate::testing::{
    Judging, capacitance_38_to_42, held, job_of, judged, plate_item, point, reading, rule_error, within,
};
use judge::limits::DecisionRule;
use judge::rule::{Answer, Outcome, PlateItem};
use quantity::{Decimal, Flags, Reading, Unit};

fn facts<'a>(bench: &'a Bench, questions: &'a Questions) -> Facts<'a> {
    Facts { job: &bench.job, points: &bench.points, questions, decision: DecisionRule::default() }
}

fn ending(bench: &Bench, questions: &Questions) -> Ending {
    match conclude(&facts(bench, questions)) {
        Some(Conclusion::Judged(ending) | Conclusion::Without(ending)) => ending,
        Some(Conclusion::Ask(question)) => panic!("{}", question.text),
        None => panic!("nothing is concluded"),
    }
}

/// What is asked, answered with yes each time, until nothing is asked any more; and the ending.
fn questions_until_the_end(bench: &Bench) -> (Vec<About>, Ending) {
    let (mut asked, mut questions) = (Vec::new(), Questions::default());
    while let Some(Conclusion::Ask(question)) = conclude(&facts(bench, &questions)) {
        assert!(!asked.contains(&question.about), "asked again: {}", question.text);
        asked.push(question.about.clone());
        questions.accept(question.about);
    }
    (asked, ending(bench, &questions))
}

/// A capacitance within so many percent of its rating, both on the nameplate.
fn rated(items: [PlateItem; 2]) -> Job {
    let header = Header {
        points: Vec::from([point("capacitance", "uF")]),
        nameplate: items.into(),
        ..Header::default()
    };
    job_of(header, |v| {
        let band = v[1] * v[2] / 100.0;
        judged(Vec::from([within("capacitance", v[0], Some(v[1] - band), Some(v[1] + band))]))
    })
}

fn rated_at(capacitance: &str, tolerance: &str) -> Job {
    let bounded = |name, unit, plausible| PlateItem { plausible: Some(plausible), ..plate_item(name, unit) };
    let mut job = rated([bounded("rated", "uF", (0.5, 200.0)), bounded("tolerance", "%", (1.0, 25.0))]);
    for (name, text, unit) in [("rated", capacitance, "uF"), ("tolerance", tolerance, "%")] {
        let (number, unit) = (Decimal::parse(text).unwrap(), Unit::parse(unit).unwrap());
        job.plan.plate.push((name.to_string(), Entered::Number { number, unit }));
    }
    job
}

fn measured_by(judging: Judging) -> Bench {
    let header = Header { points: Vec::from([point("capacitance", "uF")]), ..Header::default() };
    let mut bench = Bench::of(job_of(header, judging));
    bench.type_in("capacitance", "40.00 uF");
    bench
}

/// Each reason hides those after it: a missing nameplate is told before anybody is sent to measure.
#[test]
fn why_there_is_no_verdict_yet_is_told_in_the_order_in_which_it_must_be_put_right() {
    let why = |bench: &Bench, questions: &Questions| why_none_yet(&facts(bench, questions)).to_string();
    let (mut questions, mut number) = (Questions::default(), 0);
    questions.ask(Question::new(About::Implausible(0), "is it right?".into()), &mut number);

    let mut bench = Bench::of(rated([plate_item("rated", "uF"), plate_item("tolerance", "%")]));
    bench.play("meter", "40.00 uF", 3);
    assert_eq!(why(&bench, &questions), "nameplate value missing: rated (uF), tolerance (%)");
    let no_rule = Bench::of(Job { rule: None, ..capacitance_38_to_42() });
    assert_eq!(why(&no_rule, &questions), r#"no rule "a-rule" in the rule set"#);

    let points = Vec::from(["c_herm", "c_fan", "herm_fan"].map(|name| point(name, "uF")));
    let mut bench = Bench::of(job_of(Header { points, ..Header::default() }, |_| {
        Err(rule_error("nothing is judged here"))
    }));
    assert_eq!(why(&bench, &Questions::default()), "no reading for: c herm, c fan, herm fan");
    bench.type_in("c_fan", "5.00 uF");
    assert_eq!(why(&bench, &Questions::default()), "no reading for: c herm, herm fan");
    bench.play("meter", "40.00 uF", 3);
    let says = why(&bench, &Questions::default());
    assert!(says.starts_with("c herm did not settle: "), "{says}");
    assert_eq!(why(&bench, &questions), "is it right?");
}

#[test]
fn open_leads_are_no_reading_and_a_held_display_is_a_reason_of_its_own() {
    let mut bench = Bench::of(capacitance_38_to_42());
    bench.play("meter", "0.00 uF", 3);
    let why = |bench: &Bench| why_none_yet(&facts(bench, &Questions::default())).to_string();
    assert_eq!(why(&bench), "no reading for: capacitance");
    bench.ms += 100;
    bench.take("meter", held(bench.ms, "40.00 uF"));
    assert_eq!(
        why(&bench),
        "capacitance did not settle: the display is held, or shows a relative or stored value"
    );
}

#[test]
fn nothing_is_concluded_while_a_point_has_no_value() {
    let mut bench = Bench::of(capacitance_38_to_42());
    assert!(conclude(&facts(&bench, &Questions::default())).is_none());
    bench.play("meter", "40.00 uF", 3);
    assert!(conclude(&facts(&bench, &Questions::default())).is_none());
}

/// 40 uF within 6 percent: 37.6 to 42.4 uF.
#[test]
fn a_value_without_doubts_is_judged_at_once() {
    for (typed, word) in [
        ("37.59 uF", Word::Fail),
        ("37.61 uF", Word::Pass),
        ("42.39 uF", Word::Pass),
        ("42.41 uF", Word::Fail),
        ("37.60 uF", Word::ConditionalPass),
    ] {
        let mut bench = Bench::of(rated_at("40", "6"));
        bench.type_in("capacitance", typed);
        let ending = ending(&bench, &Questions::default());
        assert_eq!((ending.word, ending.reason, ending.judgements.len()), (word, None, 1), "{typed}");
        assert_eq!(ending.plate.iter().map(|used| used.value).collect::<Vec<_>>(), [40.0, 6.0]);
    }
}

#[test]
fn what_is_doubtful_is_asked_before_it_is_judged_the_nameplate_first() {
    let mut bench = Bench::of(rated_at("400", "60"));
    bench.type_in("capacitance", "4000 uF");
    let (asked, ending) = questions_until_the_end(&bench);
    let expected = [
        About::ImplausiblePlate("rated".into()),
        About::ImplausiblePlate("tolerance".into()),
        About::Implausible(0),
    ];
    assert_eq!((asked.as_slice(), ending.word), (expected.as_slice(), Word::Fail), "kept by a yes");
}

#[test]
fn swapped_digits_are_asked_about_where_they_would_pass() {
    let mut bench = Bench::of(rated_at("54", "6"));
    bench.type_in("capacitance", "45.0 uF");
    let (asked, ending) = questions_until_the_end(&bench);
    assert_eq!(asked, [About::SwappedReading(0), About::SwappedPlate("rated".into())]);
    assert_eq!(ending.word, Word::Fail);
    let mut weak = Bench::of(rated_at("54", "6"));
    weak.type_in("capacitance", "50.0 uF");
    assert_eq!(questions_until_the_end(&weak).0, [], "a part that is a little weak is not doubted");
}

/// The lower limit is 37.6 uF. Rounded to whole microfarads 38 is doubtful there (U is more than 2 x 1 / sqrt(12) = 0.58 uF), 39 is
/// not, and 38.00 is not either.
#[test]
fn digits_left_out_are_asked_about_where_the_word_depends_on_them() {
    let accuracy = Some("0.1% + 1 x 0.01uF");
    let mut bench = Bench::of(rated_at("40", "6"));
    bench.type_in_with("capacitance", "39 uF", accuracy);
    let ending = ending(&bench, &Questions::default());
    assert_eq!(ending.word, Word::Pass);
    let says =
        "capacitance: typed as 39 uF, the meter shows steps of 0.01 uF: the digits left out count as doubt";
    assert!(ending.notes.iter().any(|note| note == says), "{:?}", ending.notes);

    bench.type_in_with("capacitance", "38 uF", accuracy);
    let Some(Conclusion::Ask(question)) = conclude(&facts(&bench, &Questions::default())) else { panic!() };
    assert_eq!(question.about, About::LeftOut(0));
    assert!(question.text.starts_with("capacitance: 38 or 38.00 uF? "), "{}", question.text);
    bench.points.settled_mut(0).unwrap().take_as_shown();
    assert_eq!(questions_until_the_end(&bench).1.word, Word::Pass);
    bench.type_in_with("capacitance", "38.00 uF", accuracy);
    assert_eq!(questions_until_the_end(&bench).1.word, Word::Pass);
}

#[test]
fn volts_that_leads_in_the_air_show_too_are_asked_about_unless_they_were_typed() {
    let header = Header { points: Vec::from([point("volts", "V ac")]), ..Header::default() };
    let mut bench =
        Bench::of(job_of(header, |v| judged(Vec::from([within("volts", v[0], Some(200.0), None)]))));
    bench.settle("meter", "0.2 V ac");
    assert_eq!(questions_until_the_end(&bench).0, [About::OpenPart(0)]);
    bench.type_in("volts", "0.2 V ac");
    assert_eq!(questions_until_the_end(&bench).0, []);
}

#[test]
fn without_a_word_it_ends_with_the_reason() {
    let reason = |judging: Judging| {
        let ending = ending(&measured_by(judging), &Questions::default());
        assert_eq!((ending.word, ending.judgements.len()), (Word::NoVerdict, 0));
        ending.reason
    };
    assert_eq!(
        reason(|_| Err(rule_error("division by zero"))),
        Some(Reason::RuleFailed(rule_error("division by zero")))
    );
    assert_eq!(
        reason(|_| Ok(Outcome { answer: Answer::NoVerdict("these look like HERM and FAN".into()), path: 0 })),
        Some(Reason::RuleSays("these look like HERM and FAN".into()))
    );
    let mut unrated = Bench::of(rated([plate_item("rated", "uF"), plate_item("tolerance", "%")]));
    unrated.type_in("capacitance", "40.00 uF");
    let missing = Vec::from(["rated (uF)".to_string(), "tolerance (%)".to_string()]);
    assert_eq!(ending(&unrated, &Questions::default()).reason, Some(Reason::PlateMissing(missing)));
}

#[test]
fn a_rule_without_limits_judges_nothing() {
    let bench = measured_by(|v| judged(Vec::from([within("capacitance", v[0], None, None)])));
    let ending = ending(&bench, &Questions::default());
    assert_eq!(ending.word, Word::NoVerdict);
    assert_eq!(ending.reason, Some(Reason::RuleSays("the rule judges by no limit".into())));
}

/// Half of the tolerance is 0.1 uF; U of 10 percent of 40 uF is 2 x 4 / sqrt(3) = 4.6 uF.
#[test]
fn a_meter_that_is_too_coarse_is_blamed_and_not_the_part() {
    let mut bench = measured_by(|v| judged(Vec::from([within("capacitance", v[0], Some(39.9), Some(40.1))])));
    bench.type_in_with("capacitance", "40.00 uF", Some("10%"));
    let ending = ending(&bench, &Questions::default());
    assert_eq!(ending.word, Word::NoVerdict);
    assert_eq!(ending.reason, Some(Reason::MeterTooCoarse(Vec::from(["capacitance".to_string()]))));
    assert_eq!(ending.judgements.len(), 1, "what was read is shown all the same");
}

#[test]
fn a_fork_within_the_uncertainty_is_noted() {
    let bench = measured_by(|v| {
        let judgement = within("capacitance", v[0], Some(38.0), None);
        Ok(Outcome { answer: Answer::Judgements(Vec::from([judgement])), path: u64::from(v[0] < 40.0) })
    });
    let notes = ending(&bench, &Questions::default()).notes;
    let says = "within the uncertainty of capacitance the rule would judge by another path";
    assert!(notes.iter().any(|note| note == says), "{notes:?}");
}

#[test]
fn a_low_battery_and_an_unknown_accuracy_are_noted() {
    let mut bench = Bench::of(capacitance_38_to_42());
    let flags = Flags { low_battery: true, ..Flags::default() };
    while !bench.points.are_complete() {
        bench.ms += 100;
        bench.take("meter", Reading { flags, ..reading(bench.ms, "40.00 uF") });
        assert!(bench.ms < 60_000);
    }
    let notes = ending(&bench, &Questions::default()).notes;
    assert_eq!(notes.len(), 2, "{notes:?}");
    assert!(notes[0].starts_with("the meter's accuracy is not known for capacitance"));
    assert!(notes[1].starts_with("the meter said that its battery is low"));
    let without = without(&facts(&bench, &Questions::default()), Reason::ReadingsMissing(Vec::new()));
    assert_eq!(without.notes, notes[1..], "the battery counts whatever the word");
}
