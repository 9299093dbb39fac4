//! The verdict as JSON. Keys are kept from version to version; new ones may be added. Numbers are rounded to nine
//! significant digits, so that they are readable and the same bytes on every machine. Decides nothing.

use alloc::borrow::ToOwned;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use judge::evaluate::Judged;
use judge::limits::{DecisionRule, Word};
use serde::{Deserialize, Serialize};
use visit::hold::{HoldPoint, How};
use visit::verdict::{PlateUsed, PointReading, Verdict};

use crate::numbers::{rounded, seconds};
use crate::second_look::SecondLookJson;

/// A verdict with everything it rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct VerdictJson {
    /// A danger was found; absent where none was.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub danger: bool,
    pub rule: String,
    pub rule_hash: String,
    pub verdict: String,
    pub reason: Option<String>,
    pub hold_points: Vec<HoldPointJson>,
    /// What those that were shown rest on. Empty in older JSON that did not record it.
    #[serde(default)]
    pub evidence: Vec<EvidenceJson>,
    pub readings: Vec<ReadingJson>,
    /// The readings were taken after work was done; absent where they are as found.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub as_left: bool,
    /// Readings that were read before in the same visit; absent where there is none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub second_looks: Vec<SecondLookJson>,
    pub judgements: Vec<JudgementJson>,
    pub check: u32,
    /// The verdict's number in its round, from 1; 0 in older JSON without one.
    #[serde(default)]
    pub number: u64,
    pub unit: String,
    pub component: String,
    pub title: String,
    pub advice: Option<String>,
    pub plate: Vec<PlateJson>,
    pub decision_rule: String,
    /// k in U = k u.
    pub coverage_factor: f64,
    pub notes: Vec<String>,
    pub at_s: f64,
}

/// A hold point and how it was shown.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct HoldPointJson {
    pub name: String,
    pub shown: bool,
    /// `confirmed`, or what the meter showed.
    pub how: Option<String>,
    pub at_s: Option<f64>,
}

/// What a hold point rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct EvidenceJson {
    pub what: String,
    /// What it covers: a unit, its circuit, its component, or the leads of a device.
    pub scope: String,
    /// `confirmed`, or what the meter showed.
    pub how: String,
    /// `page`, `device NAME` for somebody who typed, the name of the meter, or the check whose verdict shows it.
    pub by: Option<String>,
    pub at_s: f64,
    /// When it lapses.
    pub until_s: f64,
}

/// A reading that a verdict rests on, in the displayed unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct ReadingJson {
    pub point: String,
    pub label: String,
    pub device: String,
    /// A figure if `settled` is true; otherwise the middle of the interval, which is not a figure.
    pub value: f64,
    pub unit: String,
    /// The last digits as displayed.
    pub shown: String,
    pub standard_uncertainty: f64,
    pub count: u32,
    /// The value had come to rest. False in older JSON that did not record it.
    #[serde(default)]
    pub settled: bool,
    /// Ends of the interval that contains the settled value, in `unit`; null if nothing settles.
    #[serde(default)]
    pub at_least: Option<f64>,
    #[serde(default)]
    pub at_most: Option<f64>,
    /// It was read while drifting, which the rule accepts; null for a value at rest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drift: Option<DriftJson>,
    pub at_s: f64,
}

/// A drift that the rule accepts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DriftJson {
    /// Its name in the rule.
    pub name: String,
    /// How fast, in the reading's unit.
    pub per_minute: f64,
}

/// One judgement.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct JudgementJson {
    pub name: String,
    pub verdict: String,
    pub value: f64,
    pub unit: String,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub standard_uncertainty: f64,
    pub probability_of_conformance: f64,
    pub advice: Option<String>,
    pub source: String,
    pub source_class: String,
    /// Guard band w at the limits, in `unit`; 0 under simple acceptance.
    pub guard: f64,
    pub meter_too_coarse: bool,
    /// U = k u, in `unit`; k is `coverage_factor` of the verdict.
    pub expanded_uncertainty: f64,
}

/// A nameplate value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the keys are described in this crate's README.md
pub struct PlateJson {
    pub name: String,
    pub value: f64,
    pub unit: String,
    /// The word, if the value is a choice; `value` is then its index in the rule's list.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub word: Option<String>,
    pub source: String,
    #[serde(default)]
    pub source_class: String,
}

impl From<&Verdict> for VerdictJson {
    fn from(verdict: &Verdict) -> Self {
        Self {
            danger: verdict.danger,
            rule: verdict.rule.clone(),
            rule_hash: verdict.rule_hash.clone(),
            verdict: verdict.word.text().to_owned(),
            reason: verdict.reason.as_ref().map(ToString::to_string),
            hold_points: verdict.hold_points.iter().map(HoldPointJson::from).collect(),
            evidence: verdict.hold_points.iter().filter_map(evidence).collect(),
            readings: verdict.readings.iter().map(ReadingJson::from).collect(),
            as_left: verdict.as_left,
            second_looks: verdict.second_looks.iter().map(SecondLookJson::from).collect(),
            judgements: verdict.judgements.iter().map(|judged| judgement(judged, verdict.decision)).collect(),
            check: verdict.check,
            number: verdict.number,
            unit: verdict.unit_tag.clone(),
            component: verdict.component.clone(),
            title: verdict.title.clone(),
            advice: verdict.advice(),
            plate: verdict.plate.iter().map(PlateJson::from).collect(),
            decision_rule: verdict.decision.to_string(),
            coverage_factor: rounded(verdict.decision.coverage_factor()),
            notes: verdict.notes.clone(),
            at_s: seconds(verdict.at),
        }
    }
}

impl VerdictJson {
    /// One line of JSON.
    #[must_use]
    pub fn line(&self) -> String {
        crate::to_line(self)
    }

    /// One line of JSON for a verdict shown although it is not stored: `"unsaved":true` comes first.
    #[must_use]
    pub fn unsaved_line(&self) -> String {
        unsaved_line(self)
    }

    /// The word, if the text is one of the five.
    #[must_use]
    pub fn word(&self) -> Option<Word> {
        Word::parse(&self.verdict)
    }
}

impl From<&HoldPoint> for HoldPointJson {
    fn from(shown: &HoldPoint) -> Self {
        let how = shown.evidence.as_ref().map(|evidence| how_words(&evidence.how).to_owned());
        Self {
            name: shown.name.clone(),
            shown: shown.evidence.is_some(),
            how,
            at_s: shown.evidence.as_ref().map(|evidence| seconds(evidence.at)),
        }
    }
}

fn evidence(shown: &HoldPoint) -> Option<EvidenceJson> {
    let evidence = shown.evidence.as_ref()?;
    let by = match &evidence.how {
        How::Confirmed(by) => by.word(),
        How::Stream(_) => evidence.from.clone(),
    };
    Some(EvidenceJson {
        what: shown.name.clone(),
        scope: evidence.covers.clone(),
        how: how_words(&evidence.how).to_owned(),
        by,
        at_s: seconds(evidence.at),
        until_s: seconds(evidence.until),
    })
}

impl From<&PointReading> for ReadingJson {
    fn from(reading: &PointReading) -> Self {
        let unit = reading.display.to_string();
        Self {
            point: reading.point.clone(),
            label: reading.label.clone(),
            device: reading.device.clone(),
            value: rounded(reading.quantity.value()),
            unit,
            shown: shown_words(reading),
            standard_uncertainty: rounded(reading.quantity.standard_uncertainty()),
            count: reading.count,
            settled: reading.settled,
            at_least: reading.at_least.map(rounded),
            at_most: reading.at_most.map(rounded),
            drift: reading
                .drift
                .as_ref()
                .map(|drift| DriftJson { name: drift.name.clone(), per_minute: rounded(drift.per_minute) }),
            at_s: seconds(reading.at),
        }
    }
}

impl From<&PlateUsed> for PlateJson {
    fn from(used: &PlateUsed) -> Self {
        Self {
            name: used.name.clone(),
            value: rounded(used.value),
            unit: used.unit.to_string(),
            word: used.word.clone(),
            source: used.source.text.to_string(),
            source_class: used.source.class.name().to_owned(),
        }
    }
}

pub(crate) fn judgement(judged: &Judged, decision: DecisionRule) -> JudgementJson {
    let at = &judged.judgement;
    JudgementJson {
        name: at.name.to_string(),
        verdict: judged.word.text().to_owned(),
        value: rounded(at.value),
        unit: at.unit.to_string(),
        low: at.low.map(rounded),
        high: at.high.map(rounded),
        standard_uncertainty: rounded(judged.standard_uncertainty),
        probability_of_conformance: rounded(judged.probability_of_conformance),
        advice: judged.advice(),
        source: at.source.text.to_string(),
        source_class: at.source.class.name().to_owned(),
        guard: rounded(judged.guard(decision)),
        meter_too_coarse: judged.meter_too_coarse,
        expanded_uncertainty: rounded(judged.expanded_uncertainty(decision)),
    }
}

/// One line of JSON for something shown although it is not stored: `"unsaved":true` comes first.
pub(crate) fn unsaved_line(of: &impl Serialize) -> String {
    #[derive(Serialize)]
    struct Unsaved<'a, T> {
        unsaved: bool,
        #[serde(flatten)]
        of: &'a T,
    }
    crate::to_line(&Unsaved { unsaved: true, of })
}

/// How a hold point was shown, as it is written: `confirmed`, or what the meter showed.
#[must_use]
pub fn how_words(how: &How) -> &str {
    match how {
        How::Confirmed(_) => "confirmed",
        How::Stream(says) => says,
    }
}

/// What the display showed, as it is written.
#[must_use]
pub fn shown_words(reading: &PointReading) -> String {
    if reading.open { "OL".to_owned() } else { reading.shown.to_string() }
}
