//! Rows beside the JSON that they are stored with: a column and its key say the same, to the last bit.

use std::path::Path;

use judge::limits::Word;
use quantity::{Decimal, DisplayUnit, Quantity, Unit};
use record::replay::{ReplayOutput, play};
use record::{FollowUpJson, ReadError, VerdictJson};
use serde_json::{Value, json};

use super::*;

/// The verdicts of the shipped recordings, in which values settle, are open, are typed, and are refused.
fn verdicts() -> Vec<Verdict> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data");
    let rules = crate::rules::load_or_say(None).unwrap();
    let mut verdicts = Vec::new();
    for name in [
        "mill-yard-round/visit.jsonl",
        "odd-meters/two-cans.jsonl",
        "senml-readings/leads-and-can.jsonl",
        "typed-values/three-cans.jsonl",
    ] {
        let text = std::fs::read(folder.join(name)).unwrap();
        let mut keep = |heard: &ReplayOutput<'_>| {
            if let ReplayOutput::Verdict(verdict) = heard {
                verdicts.push((*verdict).clone());
            }
            Ok::<(), ReadError>(())
        };
        play(text.as_slice(), &script::FrameScripts, &rules, &mut keep).unwrap();
    }
    verdicts
}

/// The microseconds of a key that counts seconds.
fn us_of(seconds: &Value) -> Value {
    seconds.as_f64().map_or(Value::Null, |seconds| json!((seconds * 1e6).round()))
}

fn whole(us: Option<u64>) -> Value {
    us.map_or(Value::Null, |us| json!(us as f64))
}

fn assert_reading(row: &history::VerdictReading, json: &Value) {
    let named = [("point", &row.point), ("label", &row.label), ("device", &row.device), ("unit", &row.unit)];
    named.into_iter().for_each(|(key, column)| assert_eq!(json[key], json!(column), "{key}"));
    assert_eq!((&json["settled"], &json["count"]), (&json!(row.settled), &json!(row.count)));
    assert_eq!((&json["at_least"], &json["at_most"]), (&json!(row.at_least), &json!(row.at_most)));
    assert_eq!(us_of(&json["at_s"]), whole(Some(row.at_us)));
    let figure = [json!(row.value), json!(row.standard_uncertainty), json!(row.shown)];
    if row.settled {
        assert_eq!([&json["value"], &json["standard_uncertainty"], &json["shown"]].map(Value::clone), figure);
    } else {
        assert_eq!(figure, [Value::Null, Value::Null, Value::Null], "no figure");
    }
}

fn assert_judgement(row: &history::Judgement, json: &Value, at_rest: bool) {
    assert_eq!((&json["name"], &json["verdict"]), (&json!(row.name), &json!(row.word)));
    assert_eq!((&json["unit"], &json["advice"]), (&json!(row.unit), &json!(row.advice)));
    assert_eq!((&json["low"], &json["high"]), (&json!(row.low), &json!(row.high)));
    assert_eq!((&json["source"], &json["source_class"]), (&json!(row.source), &json!(row.source_class)));
    assert_eq!(
        (&json["guard"], &json["meter_too_coarse"]),
        (&json!(row.guard), &json!(row.meter_too_coarse))
    );
    assert_eq!(json["probability_of_conformance"], json!(row.probability_of_conformance));
    let figure = (json!(row.value), json!(row.standard_uncertainty));
    let wanted = if at_rest {
        (json["value"].clone(), json["standard_uncertainty"].clone())
    } else {
        (Value::Null, Value::Null)
    };
    assert_eq!(figure, wanted);
}

fn assert_row(row: &history::Verdict) {
    let json: Value = serde_json::from_str(&row.json).unwrap();
    for (key, column) in [
        ("unit", &row.unit_tag),
        ("component", &row.component),
        ("rule", &row.rule),
        ("title", &row.title),
        ("rule_hash", &row.rule_hash),
        ("verdict", &row.word),
        ("decision_rule", &row.decision_rule),
    ] {
        assert_eq!(json[key], json!(column), "{key}");
    }
    assert_eq!((&json["reason"], &json["advice"]), (&json!(row.reason), &json!(row.advice)));
    assert_eq!((&json["number"], &json["check"]), (&json!(row.seq), &json!(row.check)));
    assert_eq!(us_of(&json["at_s"]), whole(Some(row.at_us)));
    let list = |key: &str| json[key].as_array().unwrap().clone();
    let at_rest = list("readings").iter().all(|reading| reading["settled"] == true);
    let counts = [row.readings.len(), row.judgements.len(), row.plate.len(), row.hold_points.len()];
    let keys = ["readings", "judgements", "plate", "hold_points"];
    assert_eq!(counts, keys.map(|key| list(key).len()));
    row.readings.iter().zip(list("readings")).for_each(|(row, json)| assert_reading(row, &json));
    row.judgements
        .iter()
        .zip(list("judgements"))
        .for_each(|(row, json)| assert_judgement(row, &json, at_rest));
    for (row, json) in row.plate.iter().zip(list("plate")) {
        assert_eq!((&json["name"], &json["value"]), (&json!(row.name), &json!(row.value)));
        let unit = json.get("word").unwrap_or(&json["unit"]);
        assert_eq!(*unit, json!(row.unit));
        let text = |key: &str| json[key].as_str().unwrap().to_owned();
        assert_eq!(row.source, format!("{} [{}]", text("source"), text("source_class")));
    }
    for (row, json) in row.hold_points.iter().zip(list("hold_points")) {
        assert_eq!((&json["name"], &json["shown"]), (&json!(row.name), &json!(row.shown)));
        assert_eq!((&json["how"], us_of(&json["at_s"])), (&json!(row.how), whole(row.at_us)));
    }
}

#[test]
fn every_column_says_what_the_json_beside_it_says() {
    let verdicts = verdicts();
    let rows: Vec<history::Verdict> = verdicts
        .iter()
        .map(|given| verdict("id".into(), given, VerdictJson::from(given).line(), 1))
        .collect();
    rows.iter().for_each(assert_row);
    // Each kind of thing was among them.
    let any = |is: fn(&history::Verdict) -> bool| rows.iter().any(is);
    assert!(any(|row| row.reason.is_some()) && any(|row| row.advice.is_some()));
    assert!(any(|row| !row.judgements.is_empty()) && any(|row| !row.plate.is_empty()));
    assert!(any(|row| row.hold_points.iter().any(|hold| hold.how.as_deref() == Some("confirmed"))));
    assert!(any(|row| row.hold_points.iter().any(|hold| hold.at_us.is_none())));
    assert!(any(|row| row.readings.iter().any(|reading| !reading.settled)));
    assert!(any(|row| row.readings.iter().any(|reading| reading.shown.is_some())));
}

fn reading(settled: bool, at_least: f64) -> PointReading {
    PointReading {
        point: "capacitance".into(),
        label: "terminal to terminal".into(),
        device: "meter".into(),
        quantity: Quantity::new(40.0 + 1.0 / 3.0, 1.0 / 7.0, Unit::MICROFARAD).unwrap(),
        shown: Decimal::parse("40.33").unwrap(),
        open: false,
        display: DisplayUnit { unit: Unit::MICROFARAD, coupling: None },
        accuracy_known: true,
        count: 5,
        settled,
        at_least: Some(at_least),
        at_most: Some(41.0),
        drift: None,
        at: Instant::from_micros(2_000_001),
    }
}

#[test]
fn what_follows_a_verdict_says_what_its_json_says() {
    let of = verdicts().remove(0);
    let at = Instant::from_micros(3_000_001);
    let (verdict, judgements) = (of.number, of.judgements.clone());
    let outputs = [
        Output::Completed {
            verdict,
            reading: Box::new(reading(true, 40.2)),
            second_look: None,
            judgements: judgements.clone(),
        },
        Output::Amended {
            verdict,
            word: Word::ConditionalFail,
            reading: Box::new(reading(false, f64::NEG_INFINITY)),
            moved: true,
            changes: 1,
            judgements,
        },
    ];
    for output in outputs {
        let line = FollowUpJson::of(&of, &output, at).unwrap().line();
        let row = follow_up("id".into(), "of".into(), 1, &output, line, at, 1).unwrap();
        let json: Value = serde_json::from_str(&row.json).unwrap();
        assert_eq!((&json["event"], &json["now"]), (&json!(row.kind), &json!(row.word)));
        assert_eq!(us_of(&json["at_s"]), whole(Some(row.at_us)));
        assert_reading(&row.reading, &json["reading"]);
    }
    assert!(
        follow_up(
            "id".into(),
            "of".into(),
            1,
            &Output::Asked { number: 1, question: String::new() },
            String::new(),
            at,
            1
        )
        .is_none()
    );
}

/// Nine significant digits, in the column as in the JSON.
#[test]
fn numbers_are_rounded_as_they_are_written() {
    let row = reading_row(&reading(true, 40.2));
    assert_eq!((row.value, row.standard_uncertainty), (Some(40.333_333_3), Some(0.142_857_143)));
}
