//! A verdict and a raw reading as the history stores them. Maps, and decides nothing.

use history::RawReading;
use judge::rule::source_with_class;
use judge::verdict::Verdict;
use quantity::{Reading, State};
use record::VerdictJson;

/// A reading as a device sent it.
pub(super) fn raw(device: &str, reading: &Reading) -> RawReading {
    let quantity = reading.quantity().and_then(Result::ok);
    let unit = match reading.coupling {
        Some(coupling) => format!("{} {coupling}", reading.unit),
        None => reading.unit.to_string(),
    };
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
        readings: json.readings.iter().zip(&verdict.readings).map(reading_row).collect(),
        judgements: json.judgements.iter().map(judgement_row).collect(),
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

fn reading_row(
    (json, reading): (&record::ReadingJson, &judge::verdict::PointReading),
) -> history::VerdictReading {
    history::VerdictReading {
        point: json.point.clone(),
        label: json.label.clone(),
        device: json.device.clone(),
        value: json.value,
        unit: json.unit.clone(),
        standard_uncertainty: json.standard_uncertainty,
        shown: Some(json.shown.clone()),
        count: json.count,
        at_us: us(reading.at.micros()),
    }
}

fn judgement_row(json: &record::JudgementJson) -> history::Judgement {
    history::Judgement {
        name: json.name.clone(),
        word: json.verdict.clone(),
        value: Some(json.value),
        unit: json.unit.clone(),
        low: json.low,
        high: json.high,
        standard_uncertainty: Some(json.standard_uncertainty),
        probability_of_conformance: Some(json.probability_of_conformance),
        guard: Some(json.guard),
        meter_too_coarse: json.meter_too_coarse,
        advice: json.advice.clone(),
        source: json.source.clone(),
        source_class: json.source_class.clone(),
    }
}
