//! A verdict and a raw reading as the history stores them. Maps, and decides nothing.

use history::RawReading;
use judge::rule::source_with_class;
use quantity::{Instant, Reading, State};
use record::{FollowUpJson, VerdictJson};
use visit::verdict::Verdict;

/// A reading as a device sent it.
pub(super) fn raw(device: &str, reading: &Reading) -> RawReading {
    let quantity = reading.quantity().and_then(Result::ok);
    let unit = reading.display_unit().to_string();
    let state = match reading.state {
        State::Value(_) => "value",
        State::Overload(_) => "overload",
        State::NoValue => "no value",
    };
    let held = if reading.flags.is_live() { "" } else { ", not live" };
    RawReading {
        device: device.to_owned(),
        at_us: us(reading.at.micros()),
        value: quantity.map(quantity::Quantity::value),
        unit,
        standard_uncertainty: quantity.map(quantity::Quantity::standard_uncertainty),
        shown: match reading.state {
            State::Value(shown) => Some(shown.to_string()),
            State::Overload(_) | State::NoValue => None,
        },
        state: format!("{state}{held}"),
    }
}

fn us(micros: i64) -> u64 {
    u64::try_from(micros).unwrap_or(0)
}

/// A verdict under its id among all machines.
pub(super) fn verdict(uid: String, json: &VerdictJson, verdict: &Verdict, wall_ms: i64) -> history::Verdict {
    let at_rest = json.readings.iter().all(|reading| reading.settled);
    history::Verdict {
        uid,
        seq: verdict.number,
        check: json.check,
        unit_tag: json.unit.clone(),
        component: json.component.clone(),
        rule: json.rule.clone(),
        title: json.title.clone(),
        rule_hash: json.rule_hash.clone(),
        word: json.verdict.clone(),
        reason: json.reason.clone(),
        advice: json.advice.clone(),
        decision_rule: json.decision_rule.clone(),
        at_us: us(verdict.at.micros()),
        wall_ms,
        readings: json
            .readings
            .iter()
            .zip(&verdict.readings)
            .map(|(json, reading)| reading_row(json, us(reading.at.micros())))
            .collect(),
        judgements: json.judgements.iter().map(|judged| judgement_row(judged, at_rest)).collect(),
        plate: json
            .plate
            .iter()
            .map(|plate| history::PlateValue {
                name: plate.name.clone(),
                value: plate.value,
                unit: plate.word.as_ref().unwrap_or(&plate.unit).clone(),
                source: source_with_class(&plate.source, &plate.source_class),
            })
            .collect(),
        hold_points: json
            .hold_points
            .iter()
            .zip(&verdict.hold_points)
            .map(|(hold, shown)| history::HoldPoint {
                name: hold.name.clone(),
                shown: hold.shown,
                how: hold.how.clone(),
                at_us: shown.evidence.as_ref().map(|evidence| us(evidence.at.micros())),
            })
            .collect(),
        json: json.line(),
    }
}

/// Seconds as written are whole microseconds.
#[allow(clippy::cast_possible_truncation)] // a time of a round, far below the end of i64
fn micros_of(at_s: f64) -> u64 {
    us((at_s * 1e6).round() as i64)
}

fn reading_row(json: &record::ReadingJson, at_us: u64) -> history::VerdictReading {
    history::VerdictReading {
        point: json.point.clone(),
        label: json.label.clone(),
        device: json.device.clone(),
        // What was not at rest has ends and no value.
        value: json.settled.then_some(json.value),
        unit: json.unit.clone(),
        standard_uncertainty: json.settled.then_some(json.standard_uncertainty),
        shown: json.settled.then(|| json.shown.clone()),
        count: json.count,
        settled: json.settled,
        at_least: json.at_least.filter(|end| end.is_finite()),
        at_most: json.at_most.filter(|end| end.is_finite()),
        at_us,
    }
}

/// A figure or an amendment under its id among all machines, given at `at`.
pub(super) fn follow_up(
    uid: String,
    verdict_uid: String,
    seq: u64,
    json: &FollowUpJson,
    at: Instant,
    wall_ms: i64,
) -> history::FollowUp {
    history::FollowUp {
        uid,
        verdict_uid,
        seq,
        kind: json.event.name().to_owned(),
        word: json.now.clone(),
        at_us: us(at.micros()),
        wall_ms,
        reading: reading_row(&json.reading, micros_of(json.reading.at_s)),
        json: json.line(),
    }
}

/// `at_rest`: everything it rests on had come to rest, so that its value is a figure.
fn judgement_row(json: &record::JudgementJson, at_rest: bool) -> history::Judgement {
    history::Judgement {
        name: json.name.clone(),
        word: json.verdict.clone(),
        value: at_rest.then_some(json.value),
        unit: json.unit.clone(),
        low: json.low,
        high: json.high,
        standard_uncertainty: at_rest.then_some(json.standard_uncertainty),
        probability_of_conformance: Some(json.probability_of_conformance),
        guard: Some(json.guard),
        meter_too_coarse: json.meter_too_coarse,
        advice: json.advice.clone(),
        source: json.source.clone(),
        source_class: json.source_class.clone(),
    }
}
