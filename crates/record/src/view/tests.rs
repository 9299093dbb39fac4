//! What the page gets in place of a value that was not at rest, and beside a word that was contradicted.
use alloc::string::String;
use alloc::vec;
use alloc::vec::Vec;

use judge::limits::Word;
use serde_json::{Value, json};
use visit::round::{CheckView, Phase, PointStage, PointView, RulerView, View};
use visit::verdict::Verdict;

use super::{RecentJson, ShownFollowUp, VerdictJson, ViewContext, view_json};
use crate::FollowUpJson;
use crate::follow_up::tests::{amended, amended_to, completed, early_pass, reading, worked_out};

fn view(context: &ViewContext, amendment_is_live: bool) -> Value {
    view_of(early_pass(), "capacitance", context, amendment_is_live)
}

fn view_of(verdict: Verdict, judged: &str, context: &ViewContext, amendment_is_live: bool) -> Value {
    shown((verdict, true), judged, context, amendment_is_live)
}

fn view_of_live(verdict: Verdict, live: bool, context: &ViewContext) -> Value {
    shown((verdict, live), "capacitance", context, false)
}

fn shown(
    (verdict, live): (Verdict, bool),
    judged: &str,
    context: &ViewContext,
    amendment_is_live: bool,
) -> Value {
    let point = PointView {
        name: "capacitance".into(),
        label: "terminal to terminal".into(),
        unit: "uF".into(),
        state: PointStage::Settled,
        shown: String::new(),
        early: verdict.readings.first().cloned(),
        typed: false,
    };
    let ruler = RulerView {
        name: judged.into(),
        unit: "uF",
        low: Some(37.6),
        high: Some(42.4),
        value: 39.235,
        standard_uncertainty: 0.66,
        expanded_uncertainty: 1.32,
        coverage_factor: 2.0,
        guard: 1.32,
    };
    let check = CheckView {
        number: 1,
        unit_tag: "RTU-1".into(),
        component: "c".into(),
        rule: "run-capacitor".into(),
        title: "Run capacitor".into(),
        about: String::new(),
        phase: Phase::Done,
        cautions: Vec::new(),
        hold_points: Vec::new(),
        points: vec![point],
        plate: Vec::new(),
        prompt: String::new(),
        question: None,
        proof: None,
        alarm: String::new(),
        ruler: Some(ruler),
    };
    let view = View {
        check: Some(check),
        live: None,
        verdict: Some((verdict, live)),
        amendment_is_live,
        amendment_changes: 12,
        paused: false,
        unit_state: None,
        contradicted: None,
        route_ended: false,
        owed_first: false,
        owed: Vec::new(),
    };
    serde_json::from_str(&view_json(1, 0, &view, context)).unwrap()
}

#[test]
fn a_danger_stands_first_and_stays_when_the_reading_is_gone() {
    let none = view(&ViewContext::default(), false);
    assert_eq!((none.get("danger"), none["recent"].get(0)), (Some(&Value::Null), None));
    let mut found = early_pass();
    found.danger = true;
    found.word = Word::Fail;
    for (live, gone) in
        [(true, ""), (false, "The reading is gone. That does not say that the danger is over.")]
    {
        let json = VerdictJson::from(&found);
        let context =
            ViewContext { unsaved: !live, recent: vec![RecentJson::from(&json)], ..ViewContext::default() };
        let shown = view_of_live(found.clone(), live, &context);
        let danger = &shown["danger"];
        assert_eq!(
            (&danger["word"], &danger["gone"], &danger["unsaved"]),
            (&json!("DANGER"), &json!(gone), &json!(!live))
        );
        assert_eq!(danger["advice"], json!(json.judgements[0].advice));
        assert!(danger["source"].as_str().unwrap().starts_with("limit: "), "{danger}");
        assert!(danger["what"].as_str().unwrap().contains("between 38.1 and 40.4 uF, settling"), "{danger}");
        assert_eq!(shown["recent"][0]["danger"], json!(true));
        assert_eq!(shown["verdict"]["danger"], json!(true));
    }
}

fn with(shown: Vec<(FollowUpJson, bool)>) -> ViewContext {
    let mut context = ViewContext::default();
    shown.into_iter().for_each(|(json, unsaved)| context.add_follow_up(ShownFollowUp { json, unsaved }));
    context
}

#[test]
fn an_early_word_has_ends_in_the_place_of_its_value() {
    let view = view(&ViewContext::default(), false);
    let early = "between 38.1 and 40.4 uF, settling";
    let values = json!([{"label": "capacitance", "text": early, "settled": false, "unsaved": false}]);
    assert_eq!(view["verdict"]["values"], values);
    assert_eq!(view["check"]["points"][0]["shown"], early);
    let ruler = &view["check"]["ruler"];
    assert_eq!((&ruler["value"], &ruler["early"]), (&Value::Null, &early.into()), "no pointer: {ruler}");
    assert_eq!((&ruler["at_least"], &ruler["at_most"]), (&38.117.into(), &40.353.into()));
    assert_eq!(view["verdict"]["amended"], Value::Null);
}

#[test]
fn the_figure_stands_in_the_same_place_once_it_is_shown() {
    let view = view(&with(vec![(completed(&early_pass()), true)]), false);
    let text = "40.02 \u{b1} 0.84 uF, settled";
    let values = json!([{"label": "capacitance", "text": text, "settled": true, "unsaved": true}]);
    assert_eq!(view["verdict"]["values"], values);
    assert_eq!(view["check"]["points"][0]["shown"], text);
    let ruler = &view["check"]["ruler"];
    assert_eq!((&ruler["value"], &ruler["expanded_uncertainty"]), (&40.02.into(), &0.84.into()), "{ruler}");
    assert_eq!(ruler["early"], Value::Null);
}

#[test]
fn an_amendment_stands_beside_its_verdict_and_says_whether_the_leads_still_show_it() {
    let of = early_pass();
    let amendment = amended(&of, reading(true, 31.2, 0.35, (31.1, 31.3)));
    let older = FollowUpJson { now: Some("conditional fail".into()), ..amendment.clone() };
    let context = with(vec![(completed(&of), false), (older, false), (amendment.clone(), false)]);
    assert_eq!(context.follow_ups.len(), 2, "the newest of each");
    for live in [true, false] {
        let view = view(&context, live);
        let said = &view["verdict"]["amended"];
        assert_eq!(
            (&said["said"], &said["word"], &said["live"]),
            (&"pass".into(), &"fail".into(), &live.into())
        );
        assert_eq!(said["value"], "31.20 \u{b1} 0.70 uF, settled");
        assert_eq!(view["verdict"]["values"][0]["settled"], true);
    }
    // What followed an earlier verdict is not this one's.
    let other = with(vec![(FollowUpJson { number: 2, ..amendment }, false)]);
    assert_eq!(view(&other, true)["verdict"]["amended"], Value::Null);
}

/// What is worked out has no value while a reading moves, and its own once each has a figure.
#[test]
fn what_is_worked_out_is_completed_with_the_last_figure() {
    let (of, json) = worked_out();
    let before = view_of(of.clone(), "loss", &ViewContext::default(), false);
    assert_eq!(before["verdict"]["values"].as_array().unwrap().len(), 1);
    assert_eq!(before["check"]["ruler"]["value"], Value::Null);
    let view = view_of(of, "loss", &with(vec![(json, true)]), false);
    assert_eq!(
        view["verdict"]["values"][1],
        json!({"label": "loss", "text": "40.0 \u{b1} 1.3 uF, settled", "settled": true, "unsaved": true})
    );
    assert_eq!(view["check"]["ruler"]["value"], 40.02);
}

#[test]
fn an_amendment_says_whether_it_moved_goes_back_or_is_the_last_that_is_told() {
    let shown = |word, how| {
        let rest = reading(true, 40.0, 0.42, (39.9, 40.1));
        let json = amended_to(&early_pass(), word, rest, how);
        let amended = view(&with(vec![(json, false)]), true)["verdict"]["amended"].clone();
        (amended["back"].clone(), amended["moved"].clone(), amended["changes"].clone())
    };
    assert_eq!(shown(Word::Fail, (true, 1)), (false.into(), true.into(), Value::Null));
    assert_eq!(shown(Word::Pass, (false, 2)), (true.into(), false.into(), Value::Null));
    assert_eq!(shown(Word::Fail, (false, 9)), (false.into(), false.into(), 12.into()));
}

/// A look that was compared at once comes with its verdict, one that settled later with its figure.
#[test]
fn a_second_look_stands_under_the_value() {
    let look = || -> crate::SecondLookJson {
        let look = |value: f64| {
            json!({"number": 1, "device": "meter", "value": value, "unit": "uF", "standard_uncertainty": 0.4,
                "as_left": false, "at_s": 1.0})
        };
        serde_json::from_value(
            json!({"point": "capacitance", "label": "terminal to terminal", "first": look(39.4),
            "second": look(40.0), "agrees": false, "by": "repeatability", "apart": 0.6, "within": 0.2}),
        )
        .unwrap()
    };
    let figure = FollowUpJson { second_look: Some(look()), ..completed(&early_pass()) };
    let view = view(&with(vec![(figure, false)]), false);
    let values = view["verdict"]["values"].as_array().unwrap();
    let looks: Vec<&str> = values
        .iter()
        .filter(|value| value["label"] == "Second look:")
        .map(|value| value["text"].as_str().unwrap())
        .collect();
    assert_eq!(looks.len(), 1, "{values:?}");
    assert!(
        looks[0].starts_with("terminal to terminal 40 uF, first 39.4 uF: they do NOT agree"),
        "{looks:?}"
    );
}
