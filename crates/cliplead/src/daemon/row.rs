//! A verdict, what follows it and a raw reading as the history stores them, each from what the core said. Numbers are those of
//! the JSON beside them, nine significant digits. Maps, and decides nothing.

use history::RawReading;
use judge::evaluate::Judged;
use judge::limits::DecisionRule;
use quantity::{Instant, Reading, State};
use record::{FollowUpKind, how_words, rounded, shown_words};
use visit::hold::HoldPoint;
use visit::round::Output;
use visit::verdict::{PlateUsed, PointReading, Verdict};

/// A reading as a device sent it.
pub(super) fn raw(device: &str, reading: &Reading) -> RawReading {
    let quantity = reading.quantity().and_then(Result::ok);
    let unit = reading.display.to_string();
    let state = match reading.state {
        State::Value(_) => "value",
        State::Overload(_) => "overload",
        State::NoValue => "no value",
    };
    let held = if reading.flags.is_live() { "" } else { ", not live" };
    RawReading {
        device: device.to_owned(),
        at_us: us(reading.at),
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

fn us(at: Instant) -> u64 {
    u64::try_from(at.micros()).unwrap_or(0)
}

/// A verdict under its id among all machines; `json` is the whole of it as it is shown.
pub(super) fn verdict(uid: String, verdict: &Verdict, json: String, wall_ms: i64) -> history::Verdict {
    let at_rest = verdict.readings.iter().all(|reading| reading.settled);
    let judgement = |judged| judgement_row(judged, verdict.decision, at_rest);
    history::Verdict {
        uid,
        seq: verdict.number,
        // The keeper knows which visit is open.
        visit: None,
        check: verdict.check,
        unit_tag: verdict.unit_tag.clone(),
        component: verdict.component.clone(),
        rule: verdict.rule.clone(),
        title: verdict.title.clone(),
        rule_hash: verdict.rule_hash.clone(),
        word: verdict.word.text().to_owned(),
        reason: verdict.reason.as_ref().map(ToString::to_string),
        advice: verdict.advice(),
        decision_rule: verdict.decision.to_string(),
        at_us: us(verdict.at),
        wall_ms,
        readings: verdict.readings.iter().map(reading_row).collect(),
        judgements: verdict.judgements.iter().map(judgement).collect(),
        plate: verdict.plate.iter().map(plate_row).collect(),
        hold_points: verdict.hold_points.iter().map(hold_point_row).collect(),
        json,
    }
}

/// A figure or an amendment under its id among all machines, given at `at`; `None` for any other output.
pub(super) fn follow_up(
    uid: String,
    verdict_uid: String,
    seq: u64,
    output: &Output,
    json: String,
    at: Instant,
    wall_ms: i64,
) -> Option<history::FollowUp> {
    let (kind, word, reading) = match output {
        Output::Completed { reading, .. } => (FollowUpKind::Completed, None, reading),
        Output::Amended { reading, word, .. } => (FollowUpKind::Amended, Some(word), reading),
        _ => return None,
    };
    Some(history::FollowUp {
        uid,
        verdict_uid,
        seq,
        kind: kind.name().to_owned(),
        word: word.map(|word| word.text().to_owned()),
        at_us: us(at),
        wall_ms,
        reading: reading_row(reading),
        json,
    })
}

fn reading_row(reading: &PointReading) -> history::VerdictReading {
    let settled = reading.settled;
    let end = |end: Option<f64>| end.filter(|end| end.is_finite()).map(rounded);
    history::VerdictReading {
        point: reading.point.clone(),
        label: reading.label.clone(),
        device: reading.device.clone(),
        // What was not at rest has ends and no value.
        value: settled.then(|| rounded(reading.quantity.value())),
        unit: reading.display.to_string(),
        standard_uncertainty: settled.then(|| rounded(reading.quantity.standard_uncertainty())),
        shown: settled.then(|| shown_words(reading)),
        count: reading.count,
        settled,
        at_least: end(reading.at_least),
        at_most: end(reading.at_most),
        at_us: us(reading.at),
    }
}

/// `at_rest`: everything it rests on had come to rest, so that its value is a figure.
fn judgement_row(judged: &Judged, decision: DecisionRule, at_rest: bool) -> history::Judgement {
    let of = &judged.judgement;
    history::Judgement {
        name: of.name.to_string(),
        word: judged.word.text().to_owned(),
        value: at_rest.then(|| rounded(of.value)),
        unit: of.unit.to_string(),
        low: of.low.map(rounded),
        high: of.high.map(rounded),
        standard_uncertainty: at_rest.then(|| rounded(judged.standard_uncertainty)),
        probability_of_conformance: Some(rounded(judged.probability_of_conformance)),
        guard: Some(rounded(judged.guard(decision))),
        meter_too_coarse: judged.meter_too_coarse,
        advice: judged.advice(),
        source: of.source.text.to_string(),
        source_class: of.source.class.name().to_owned(),
    }
}

fn plate_row(used: &PlateUsed) -> history::PlateValue {
    history::PlateValue {
        name: used.name.clone(),
        value: rounded(used.value),
        unit: used.word.clone().unwrap_or_else(|| used.unit.to_string()),
        source: used.source.to_string(),
    }
}

fn hold_point_row(shown: &HoldPoint) -> history::HoldPoint {
    let evidence = shown.evidence.as_ref();
    history::HoldPoint {
        name: shown.name.clone(),
        shown: evidence.is_some(),
        how: evidence.map(|evidence| how_words(&evidence.how).to_owned()),
        at_us: evidence.map(|evidence| us(evidence.at)),
    }
}

#[cfg(test)]
mod tests;
