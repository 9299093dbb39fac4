//! The history's place in the daemon: verdicts are kept here before anybody sees them. A verdict that cannot be stored
//! waits and is tried again; it is not shown meanwhile. Does not decide anything.

use std::collections::VecDeque;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::Context as _;
use history::{History, NewRound, RawReading, RoundId};
use judge::round::Settings;
use judge::rule::source_with_class;
use judge::verdict::Verdict;
use quantity::{Reading, State};
use record::VerdictJson;

use crate::output::talk;

/// Raw readings that wait for the next write at most; more are dropped and counted.
const RAW_MAX: usize = 4096;
/// Verdicts that wait for a disk at most. A round has some hundred.
const WAITING_MAX: usize = 4096;

/// The history, or nothing.
pub(super) struct Store {
    history: Option<(History, Option<RoundId>)>,
    raw: Vec<RawReading>,
    raw_dropped: u64,
    raw_fault: Option<String>,
    waiting: VecDeque<Waiting>,
    fault: Option<String>,
}

/// A verdict on its way.
#[derive(Clone)]
pub(crate) struct Kept {
    /// The verdict.
    pub(crate) verdict: Verdict,
    /// As it is written.
    pub(crate) json: VerdictJson,
}

struct Waiting {
    kept: Kept,
    row: history::Verdict,
}

impl Store {
    /// Opens the file; `None` keeps nothing.
    ///
    /// # Errors
    /// When the file cannot be used with its promise.
    pub(super) fn open(path: Option<&Path>) -> anyhow::Result<Self> {
        let history = path
            .map(|path| History::open(path).with_context(|| format!("history {}", path.display())))
            .transpose()?
            .map(|history| (history, None));
        Ok(Self {
            history,
            raw: Vec::new(),
            raw_dropped: 0,
            raw_fault: None,
            waiting: VecDeque::new(),
            fault: None,
        })
    }

    /// Whether anything is kept at all.
    pub(super) fn keeps(&self) -> bool {
        self.history.is_some()
    }

    /// Begins the round.
    ///
    /// # Errors
    /// When it cannot be stored.
    pub(super) fn begin(&mut self, site: &str, rules_hash: &str, settings: &Settings) -> anyhow::Result<()> {
        let Some((history, round)) = &mut self.history else { return Ok(()) };
        let wall_ms = wall_ms();
        let new = NewRound {
            uid: format!("{wall_ms:x}-{:x}", std::process::id()),
            site: if site.is_empty() { "unnamed site".to_owned() } else { site.to_owned() },
            started_wall_ms: wall_ms,
            rules_hash: rules_hash.to_owned(),
            decision_rule: settings.decision.to_string(),
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
        };
        *round = Some(history.begin_round(&new).context("the round was not stored")?);
        Ok(())
    }

    /// Takes a verdict and gives back what may be shown now: this one and any that waited before it, or nothing.
    pub(super) fn keep(&mut self, verdict: Verdict) -> Vec<Kept> {
        let json = VerdictJson::from(&verdict);
        let row = row(&json, &verdict);
        if self.history.is_none() {
            return vec![Kept { verdict, json }];
        }
        if self.waiting.len() >= WAITING_MAX {
            self.waiting.pop_front();
            tracing::error!("more than {WAITING_MAX} verdicts wait to be stored; the oldest was given up");
        }
        self.waiting.push_back(Waiting { kept: Kept { verdict, json }, row });
        self.retry()
    }

    /// Tries what waits, in order; gives back what is stored now.
    pub(super) fn retry(&mut self) -> Vec<Kept> {
        let mut shown = Vec::new();
        let Some((history, Some(round))) = &mut self.history else { return shown };
        while let Some(first) = self.waiting.front() {
            match history.commit_verdict(*round, &first.row) {
                Ok(_) => {
                    self.fault = None;
                    shown.extend(self.waiting.pop_front().map(|waiting| waiting.kept));
                }
                Err(error) => {
                    if self.fault.is_none() {
                        talk(&format!(
                            "cliplead: a verdict is NOT SAVED, so not shown; it is tried again: {error}"
                        ));
                    }
                    self.fault =
                        Some(format!("NOT SAVED, so not shown: {} verdict(s): {error}", self.waiting.len()));
                    break;
                }
            }
        }
        shown
    }

    /// Whether the verdict of this check still waits.
    pub(super) fn waits(&self, check: u32) -> bool {
        self.waiting.iter().any(|waiting| waiting.kept.verdict.check == check)
    }

    /// What is wrong now.
    pub(super) fn fault(&self) -> Option<&str> {
        self.fault.as_deref()
    }

    /// Takes a raw reading for the next write.
    pub(super) fn raw(&mut self, device: &str, reading: &Reading) {
        if self.history.is_none() {
            return;
        }
        if self.raw.len() >= RAW_MAX {
            self.raw_dropped += 1;
            return;
        }
        self.raw.push(raw(device, reading));
    }

    /// Writes the raw readings that wait. What cannot be written is dropped and counted: the verdicts carry their own.
    pub(super) fn write_raw(&mut self) {
        let Some((history, Some(round))) = &mut self.history else { return };
        if self.raw.is_empty() {
            return;
        }
        match history.append_readings(*round, &self.raw) {
            Ok(()) => self.raw_fault = None,
            Err(error) => {
                self.raw_dropped += self.raw.len() as u64;
                let error = error.to_string();
                // The same fault five times a second is told once.
                if self.raw_fault.as_ref() != Some(&error) {
                    tracing::warn!("raw readings are not stored, {} lost so far: {error}", self.raw_dropped);
                    self.raw_fault = Some(error);
                }
            }
        }
        self.raw.clear();
    }

    /// Ends the round.
    pub(super) fn end(&mut self) {
        self.write_raw();
        let Some((history, Some(round))) = &mut self.history else { return };
        if let Err(error) = history.end_round(*round, wall_ms()) {
            tracing::warn!("the end of the round was not stored: {error}");
        }
    }
}

/// Wall clock in milliseconds, for people; order goes by the commits.
pub(super) fn wall_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}

fn raw(device: &str, reading: &Reading) -> RawReading {
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

fn row(json: &VerdictJson, verdict: &Verdict) -> history::Verdict {
    history::Verdict {
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
        wall_ms: wall_ms(),
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
