//! The end of a check: inputs together, questions asked, the rule evaluated, the verdict made. Also the thresholds that
//! tell the settler when more readings could no longer change the verdict. Does not handle readings or hold points.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Instant, Reading, State};

use super::Round;
use super::check::{Check, Phase};
use super::plate;
use super::point::PointState;
use super::question;
use super::settled::{LeftOut, SettledPoint};
use super::why;
use crate::hold::Shown;
use crate::verdict::{PlateUsed, PointReading, Reason, Verdict};
use judge::evaluate::{Evaluation, Input, Judged, evaluate};
use judge::limits::{DecisionRule, Word};
use judge::rule::{Header, Point, Source};

impl Round {
    /// When every point has its value: ask what must be asked, then judge.
    pub(super) fn try_conclude(&mut self) {
        let decision = self.settings.decision;
        let Some(check) = &self.check else { return };
        let open = !check.open_hold_points(&self.gate).is_empty();
        if open
            || check.phase != Phase::Measuring
            || check.points.iter().any(|state| state.settled().is_none())
        {
            return;
        }
        let Some(rule) = check.rule.clone() else { return };
        if self.take_apart_again() {
            return;
        }
        let Some(check) = &self.check else { return };
        let used = match plate::resolve(rule.header(), &check.plan) {
            Ok(used) => used,
            Err(reason) => return self.end_without(reason),
        };
        let Some(inputs) = inputs(check, &used, None) else { return };
        let evaluated = evaluate(&*rule, &inputs, decision);
        if let Some(question) = question::before_judging(check, &*rule, &used, &inputs, &evaluated, decision)
        {
            return self.ask(question);
        }
        match evaluated {
            Err(error) => self.end_without(Reason::RuleFailed(error)),
            Ok(Evaluation::NoVerdict { because }) => self.end_without(Reason::RuleSays(because)),
            Ok(evaluation) => self.end_with(evaluation, used),
        }
    }

    fn end_with(&mut self, evaluation: Evaluation, used: Vec<PlateUsed>) {
        let word = evaluation.word();
        let Evaluation::Judged { mut judgements, path_changes, .. } = evaluation else { return };
        say_what_was_entered(&mut judgements, &used);
        let Some(check) = &self.check else { return };
        let mut notes = Vec::new();
        if let Some(header) = check.header() {
            notes.extend(path_changes.iter().map(|index| {
                format!(
                    "within the uncertainty of {} the rule would judge by another path",
                    input_name(header, *index)
                )
            }));
        }
        let coarse: Vec<String> =
            judgements.iter().filter(|j| j.meter_too_coarse).map(|j| j.judgement.name.to_string()).collect();
        let reason = (word == Word::NoVerdict).then(|| {
            if coarse.is_empty() {
                Reason::RuleSays("the rule judges by no limit".to_string())
            } else {
                Reason::MeterTooCoarse(coarse.clone())
            }
        });
        if !coarse.is_empty() {
            notes.extend(check.points.iter().filter_map(|state| digits_perhaps_left_out(state.settled()?)));
        }
        if reason.is_none() && !coarse.is_empty() {
            notes.push(format!("the meter is too coarse for: {}", coarse.join(", ")));
        }
        let verdict = self.verdict(word, reason, judgements, used, notes);
        if let Some(verdict) = verdict {
            let live = self.check.as_ref().is_some_and(|check| check.still_shown(None));
            self.emit(verdict, live);
        }
    }

    /// Ends the armed check with `no verdict`.
    pub(super) fn end_without(&mut self, reason: Reason) {
        let used = self.check.as_ref().and_then(|check| plate::resolve(check.header()?, &check.plan).ok());
        let verdict =
            self.verdict(Word::NoVerdict, Some(reason), Vec::new(), used.unwrap_or_default(), Vec::new());
        if let Some(verdict) = verdict {
            self.emit(verdict, false);
        }
    }

    /// Why the armed check has no verdict at this moment.
    pub(super) fn why_none_yet(&self) -> Reason {
        let Some(check) = &self.check else { return Reason::ReadingsMissing(Vec::new()) };
        let Some(header) = check.header() else { return Reason::NoSuchRule(check.plan.rule.clone()) };
        let open = check.open_hold_points(&self.gate);
        if !open.is_empty() {
            return Reason::HoldPointsOpen(open);
        }
        if let Err(reason) = plate::resolve(header, &check.plan) {
            return reason;
        }
        if let Some(question) = &check.question {
            return Reason::Asks(question.text.clone());
        }
        let unsettled = header.points.iter().zip(&check.points).find_map(|(point, state)| match state {
            PointState::Settling(settling) if settling.has_something() => {
                Some(Reason::Unsettled { point: point.label.clone(), why: settling.why_not_settled() })
            }
            _ => None,
        });
        let missing = || {
            let waiting =
                header.points.iter().zip(&check.points).filter(|(_, state)| state.settled().is_none());
            Reason::ReadingsMissing(waiting.map(|(point, _)| point.label.clone()).collect())
        };
        unsettled.unwrap_or_else(missing)
    }

    fn verdict(
        &self,
        word: Word,
        reason: Option<Reason>,
        judgements: Vec<Judged>,
        plate: Vec<PlateUsed>,
        mut notes: Vec<String>,
    ) -> Option<Verdict> {
        let check = self.check.as_ref()?;
        let unknown: Vec<&str> = check
            .points
            .iter()
            .filter_map(|state| state.settled())
            .filter(|settled| !settled.reading.accuracy_known)
            .map(|settled| settled.reading.label.as_str())
            .collect();
        if word != Word::NoVerdict && !unknown.is_empty() {
            notes.push(format!(
                "the meter's accuracy is not known for {}: only the rounding of its digits is counted, so the word is surer than the meter",
                unknown.join(", ")
            ));
        }
        notes.extend(check.points.iter().filter_map(|state| digits_left_out(state.settled()?)));
        notes.extend(check.typed_apart());
        notes.extend(
            check.points.iter().filter_map(|state| drifts(check.header()?, &state.settled()?.reading)),
        );
        if check.low_battery {
            notes.push(
                "the meter said that its battery is low: the reading is less sure than stated".to_string(),
            );
        }
        let readings: Vec<PointReading> =
            check.points.iter().filter_map(|state| Some(state.settled()?.reading.clone())).collect();
        let hold_points = check
            .hold_points()
            .iter()
            .zip(check.evidence(&self.gate))
            .map(|(name, evidence)| Shown { name: name.clone(), evidence: evidence.cloned() })
            .collect();
        Some(Verdict {
            number: self.verdicts.saturating_add(1),
            check: check.number,
            unit_tag: check.plan.unit_tag.clone(),
            component: check.plan.component.clone(),
            rule: check.plan.rule.clone(),
            title: check.header().map_or_else(|| check.plan.rule.clone(), |header| header.title.clone()),
            rule_hash: check.rule.as_ref().map_or_else(String::new, |rule| rule.hash().to_string()),
            word,
            reason,
            judgements,
            readings,
            plate,
            hold_points,
            decision: self.settings.decision,
            notes,
            at: self.now,
        })
    }
}

/// From where the thresholds of a point are seen: the estimate so far, with the meter's own uncertainty there. `None` while
/// nothing settles there, or at a reading that is no value.
pub(super) fn seen_from(check: &Check, index: usize, reading: &Reading, point: &Point) -> Option<Input> {
    let State::Value(shown) = reading.state else { return None };
    let PointState::Settling(settling) = check.points.get(index)? else { return None };
    let direct = reading.unit.convert(shown.to_f64(), point.unit).ok()?;
    let value = settling.estimate().unwrap_or(direct);
    Some(Input { value, standard_uncertainty: settling.instrument_uncertainty(value, point.unit)? })
}

/// What thresholds were asked at, and what was found there.
pub(super) struct Found {
    pub(super) inputs: Vec<Input>,
    pub(super) thresholds: Vec<f64>,
    /// `None` where the inputs are those asked at last: the evaluation is the last one too.
    pub(super) evaluation: Option<Evaluation>,
}

/// The values of point `index` at which the word would change, seen from `input`, and what the rule says there; no values near a
/// fork of the rule. `None` when another point is still missing or the rule gives no judgement there: then only full settling
/// counts. A rule says the same of the same inputs, so it is not run anew at those asked at last.
pub(super) fn thresholds(
    check: &Check,
    index: usize,
    input: Input,
    at: Instant,
    decision: DecisionRule,
) -> Option<Found> {
    let rule = check.rule.as_ref()?;
    if check.is_apart_from_others(index, at) {
        return None;
    }
    let used = plate::resolve(rule.header(), &check.plan).ok()?;
    let inputs = inputs(check, &used, Some((index, input)))?;
    if let Some((_, thresholds)) = check.last_asked.as_ref().filter(|(last, _)| *last == inputs) {
        return Some(Found { thresholds: thresholds.clone(), inputs, evaluation: None });
    }
    let evaluation = evaluate(&**rule, &inputs, decision).ok()?;
    let thresholds = evaluation.thresholds(index, input, decision);
    // Near a fork of the rule the margins alone do not say where the word changes: wait for full settling.
    let forks = matches!(&evaluation, Evaluation::Judged { path_changes, .. } if !path_changes.is_empty());
    let thresholds = if forks { Vec::new() } else { thresholds };
    Some(Found { inputs, thresholds, evaluation: Some(evaluation) })
}

/// What a verdict says of a value that was typed with fewer digits than the meter shows.
fn digits_left_out(settled: &SettledPoint) -> Option<String> {
    let step = settled.as_shown()?.step;
    let (label, shown, unit) = (&settled.reading.label, settled.reading.shown, settled.reading.unit);
    Some(format!(
        "{label}: typed as {shown} {unit}, the meter shows steps of {step} {unit}: the digits left out count as doubt"
    ))
}

/// What a verdict says of a value that was read while it drifted.
fn drifts(header: &Header, reading: &PointReading) -> Option<String> {
    let drift = reading.drift.as_ref()?;
    let accepted = header.points.iter().find(|point| point.name == reading.point)?.drift.as_ref()?;
    let rate = why::signed(drift.per_minute);
    Some(format!(
        "{}: read while it drifts {rate} {} a minute ({}), which the rule accepts: {}",
        reading.label, reading.unit, drift.name, accepted.source
    ))
}

/// The same where the meter's step is not known, and too few digits may be what makes it too coarse.
fn digits_perhaps_left_out(settled: &SettledPoint) -> Option<String> {
    if !matches!(settled.left_out, LeftOut::Perhaps) {
        return None;
    }
    let (label, shown, unit) = (&settled.reading.label, settled.reading.shown, settled.reading.unit);
    Some(format!(
        "{label}: the counts of the meter are taken at the last digit of {shown} {unit}; if it shows more digits, type them all, zeros too"
    ))
}

/// All inputs of the rule in its order; `None` while a point has no value. `instead` supplies one that is still settling.
pub(super) fn inputs(
    check: &Check,
    used: &[PlateUsed],
    instead: Option<(usize, Input)>,
) -> Option<Vec<Input>> {
    let mut inputs = Vec::with_capacity(check.points.len() + used.len());
    for (index, state) in check.points.iter().enumerate() {
        let given = instead.filter(|(at, _)| *at == index).map(|(_, input)| input);
        inputs.push(given.or_else(|| Some(state.settled()?.input))?);
    }
    inputs.extend(used.iter().map(|used| Input { value: used.value, standard_uncertainty: 0.0 }));
    Some(inputs)
}

fn input_name(header: &Header, index: usize) -> String {
    header.points.get(index).map_or_else(
        || {
            header
                .nameplate
                .get(index - header.points.len())
                .map_or_else(String::new, |item| item.name.clone())
        },
        |point| point.label.clone(),
    )
}

/// Says in the source of each judgement what each nameplate value rests on here: entered, a default, or taken as another one.
pub(super) fn say_what_was_entered(judgements: &mut [Judged], used: &[PlateUsed]) {
    judgements.iter_mut().for_each(|judged| say_what_one_rests_on(judged, used));
}

fn say_what_one_rests_on(judged: &mut Judged, used: &[PlateUsed]) {
    let parts = &judged.judgement.source_parts;
    let said = Source::of_parts(parts.iter().map(|part| {
        let used = part.plate.and_then(|index| used.get(index));
        (&*part.name, used.map_or(&part.source, |used| &used.source))
    }));
    if let Some(source) = said {
        judged.judgement.source = source;
    }
}
