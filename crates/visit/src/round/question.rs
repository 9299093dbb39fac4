//! Values that are asked about before they are judged: out of this world, digits swapped or left out, a part that reads
//! open. Gives each question its number, and takes the answer for it alone.
//! Does not judge; a question answered with yes is not asked again.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::{Decimal, Kind, Unit};

use super::Round;
use super::about::{About, Question};
use super::check::{Check, Phase};
use super::event::{Entered, NO_QUESTION, Output};
use super::plate;
use super::point::PointState;
use super::settled::{SettledPoint, open_point};
use crate::hold::How;
use crate::hold::proof::{NEXT_TO_NOTHING_COUNTS, NEXT_TO_NOTHING_V};
use crate::verdict::{PlateUsed, Reason};
use judge::evaluate::{Evaluation, Input, evaluate};
use judge::limits::{DecisionRule, Word};
use judge::rule::{Point, Rule, RuleError};

/// A capacitance or resistance this many counts below zero is still taken for zero. Our own choice.
const NEGATIVE_COUNTS: f64 = 5.0;

impl Round {
    /// The question that is open: its number and its text.
    #[must_use]
    pub fn question(&self) -> Option<(u32, &str)> {
        self.check.as_ref()?.question.as_ref().map(|open| (open.number, open.text.as_str()))
    }

    /// Asks, and waits for the answer before anything is judged.
    pub(super) fn ask(&mut self, question: Question) {
        if let Some(check) = &mut self.check {
            check.phase = Phase::Asking;
        }
        self.put(question);
    }

    /// Gives the question its number and tells it.
    fn put(&mut self, question: Question) {
        let Some(check) = &mut self.check else { return };
        self.questions = self.questions.saturating_add(1);
        let (number, text) = (self.questions, question.text.clone());
        check.question = Some(Question { number, ..question });
        self.say(Output::Asked { number, question: text });
    }

    /// `None`: the answer names no question, so it is for the one that is open.
    pub(super) fn answer(&mut self, named: Option<u32>, yes: bool) {
        if let Some(why) = self.not_asked(named) {
            return self.refuse(why);
        }
        let Some(check) = &mut self.check else { return };
        let Some(question) = check.question.take() else { return };
        if let About::ProofLeads(name, says) = question.about {
            return self.proof_leads_answered(&name, &says, yes);
        }
        check.phase = Phase::Measuring;
        match (&question.about, yes) {
            (About::OpenPart(index), true) => {
                let index = *index;
                check.accepted.push(question.about);
                self.take_open_part(index);
            }
            (About::OpenPart(index), false) => {
                if let Some(state) = check.points.get_mut(*index) {
                    let point = state.settled().map(|settled| settled.reading.point.clone());
                    *state = PointState::Waiting;
                    point.iter().for_each(|point| self.not_on(point));
                }
            }
            (About::LeftOut(index), true) => {
                if let Some(PointState::Settled(settled)) = check.points.get_mut(*index) {
                    settled.take_as_shown();
                }
                check.accepted.push(question.about);
                self.try_conclude();
            }
            (_, true) => {
                check.accepted.push(question.about);
                self.try_conclude();
            }
            (About::Implausible(index) | About::SwappedReading(index) | About::LeftOut(index), false) => {
                if let Some(state) = check.points.get_mut(*index) {
                    *state = PointState::Waiting;
                }
            }
            (About::ImplausiblePlate(_) | About::SwappedPlate(_) | About::ProofLeads(..), false) => {
                self.end_without(Reason::Asks(question.text));
            }
        }
    }

    /// Why an answer is not for the question that is open, if it is not.
    fn not_asked(&self, named: Option<u32>) -> Option<String> {
        match (self.question(), named) {
            (Some(_), None) => None,
            (Some((open, _)), Some(named)) if open == named => None,
            (Some((open, text)), Some(NO_QUESTION)) => {
                Some(format!("the answer was begun before question {open} was asked; now asked: {text}"))
            }
            (Some((open, text)), Some(named)) => Some(format!(
                "the answer is for question {named}, which is no longer asked; now asked, as question {open}: {text}"
            )),
            (None, Some(named)) if (1..=self.questions).contains(&named) => {
                Some(format!("question {named} is no longer asked; there is no question to answer"))
            }
            (None, _) => Some(String::from("there is no question to answer")),
        }
    }

    /// The meter read what leads in the air read too; only a person knows where they were.
    pub(super) fn ask_where_the_leads_were(&mut self, name: String, says: String) {
        let text = format!(
            "{name}: {says}. Leads in the air show the same. Were both leads on, metal to metal? \
             Yes: it counts as shown. No: clip on and read again"
        );
        self.put(Question::new(About::ProofLeads(name, says), text));
    }

    fn proof_leads_answered(&mut self, name: &str, says: &str, yes: bool) {
        if yes {
            return self.show(name, How::Stream(format!("{says}; both leads on: confirmed")));
        }
        let Some(check) = &mut self.check else { return };
        check.proof_says.clear();
        if let Some(proving) = &mut check.proving {
            proving.forget(None);
        }
    }

    /// The mechanic says that the leads are on and the part reads open: the display as it stands is the value.
    fn take_open_part(&mut self, index: usize) {
        let now = self.now;
        let Some(check) = &mut self.check else { return };
        let Some(rule) = check.rule.clone() else { return };
        let Some(point) = rule.header().points.get(index) else { return };
        if let Some(run) = check.open_run.take().filter(|run| run.point == index) {
            let done = open_point(point, &run.from.device, now);
            // Leads that come off an open circuit change nothing, so nothing is watched.
            return match done {
                Some(done) => self.point_settled(index, done),
                None => self.refuse(String::from("an open circuit is no reading for this rule")),
            };
        }
        let Some(PointState::Settling(settling)) = check.points.get(index) else {
            return self.try_conclude();
        };
        let value = settling
            .last_shown
            .and_then(|shown| settling.display.unit.convert(shown.to_f64(), point.unit).ok());
        let done = value.and_then(|value| SettledPoint::of_display(settling, point, value, 0.0, 1, now));
        match done {
            Some(done) => self.point_settled(index, done),
            None => self.refuse(String::from("the open reading could not be taken; clip on again")),
        }
    }
}

/// What must be asked before these values are judged, if anything; `evaluated` is what the rule says of them.
pub(super) fn before_judging(
    check: &Check,
    rule: &dyn Rule,
    plate_used: &[PlateUsed],
    inputs: &[Input],
    evaluated: &Result<Evaluation, RuleError>,
    decision: DecisionRule,
) -> Option<Question> {
    let accepted = |about: &About| check.accepted.contains(about);
    let points = &rule.header().points;
    let confirmed = |name: &str| accepted(&About::ImplausiblePlate(name.into()));
    if let Some((name, text)) = plate::implausible(rule.header(), &check.plan, plate_used, confirmed) {
        return Some(Question::new(About::ImplausiblePlate(name), text));
    }
    for (index, (point, state)) in points.iter().zip(&check.points).enumerate() {
        if let Some(text) = touches_nothing(point, state).filter(|_| !accepted(&About::OpenPart(index))) {
            return Some(Question::new(About::OpenPart(index), text));
        }
        let about = About::Implausible(index);
        // Who says that a part reads open has also said that its value is out of the usual.
        let asked = accepted(&about) || accepted(&About::OpenPart(index));
        let Some(settled) = state.settled().filter(|_| !asked) else { continue };
        if let Some(text) = implausible(point, settled) {
            return Some(Question::new(about, text));
        }
    }
    let slip = || slipped(check, rule, plate_used, inputs, decision);
    let slip = if far_outside(evaluated) { slip() } else { None };
    slip.or_else(|| left_out(check, rule, inputs, decision))
}

/// The word of these values; `no verdict` where the rule fails.
fn word_of(rule: &dyn Rule, values: &[Input], decision: DecisionRule) -> Word {
    evaluate(rule, values, decision).as_ref().map_or(Word::NoVerdict, Evaluation::word)
}

/// Typed digits or digits of the nameplate that would pass with two of them swapped.
fn slipped(
    check: &Check,
    rule: &dyn Rule,
    plate_used: &[PlateUsed],
    inputs: &[Input],
    decision: DecisionRule,
) -> Option<Question> {
    let accepted = |about: &About| check.accepted.contains(about);
    let points = &rule.header().points;
    let word = |values: &[Input]| word_of(rule, values, decision);
    let swapped_passes = |index: usize, value: f64| {
        let mut moved: Vec<Input> = inputs.to_vec();
        if let Some(slot) = moved.get_mut(index) {
            slot.value = value;
        }
        word(&moved) == Word::Pass
    };
    for (index, (point, state)) in points.iter().zip(&check.points).enumerate() {
        let about = About::SwappedReading(index);
        let Some(settled) = state.settled().filter(|_| !accepted(&about)) else { continue };
        let Some(typed) = settled.typed else { continue };
        let unit = settled.reading.unit;
        let swap = swapped(typed, unit, point.unit).find(|(_, value)| swapped_passes(index, *value));
        if let Some((swap, _)) = swap {
            let text = swapped_text(&point.label, typed, swap, unit);
            return Some(Question::new(about, text));
        }
    }
    for (offset, used) in plate_used.iter().enumerate() {
        let about = About::SwappedPlate(used.name.clone());
        let entry = check.plan.plate.iter().find(|(name, _)| *name == used.name);
        let Some((_, Entered::Number { number, unit })) = entry.filter(|_| !accepted(&about)) else {
            continue;
        };
        let index = points.len() + offset;
        let found = swapped(*number, *unit, used.unit).find(|(swap, _)| {
            let mut plan = check.plan.clone();
            for (name, entry) in &mut plan.plate {
                if let Entered::Number { number, .. } = entry
                    && *name == used.name
                {
                    *number = *swap;
                }
            }
            // Other nameplate values may be "the same as" this one, so the whole plate is resolved again.
            let Ok(resolved) = plate::resolve(rule.header(), &plan) else { return false };
            let mut moved: Vec<Input> = inputs.iter().take(points.len()).copied().collect();
            moved.extend(resolved.iter().map(|used| Input { value: used.value, standard_uncertainty: 0.0 }));
            moved.get(index).is_some() && word(&moved) == Word::Pass
        });
        if let Some((swap, _)) = found {
            let text = swapped_text(&format!("nameplate {}", used.name), *number, swap, *unit);
            return Some(Question::new(about, text));
        }
    }
    None
}

/// Typed values with fewer digits than the meter shows, where the word depends on the digits left out: they were rounded,
/// or they were zeros. Only a person knows. Where the word is the same either way nothing is asked, and what was left out
/// counts in the uncertainty.
fn left_out(check: &Check, rule: &dyn Rule, inputs: &[Input], decision: DecisionRule) -> Option<Question> {
    let settled = |index: usize| check.points.get(index).and_then(PointState::settled);
    let mut as_shown: Vec<Input> = inputs.to_vec();
    let mut first = None;
    for (index, slot) in as_shown.iter_mut().enumerate() {
        let Some(shown) = settled(index).and_then(SettledPoint::as_shown) else { continue };
        *slot = shown.input;
        first = first.or(Some(index));
    }
    let index = first.filter(|_| word_of(rule, &as_shown, decision) != word_of(rule, inputs, decision))?;
    let (settled, shown) = settled(index).and_then(|settled| Some((settled, settled.as_shown()?)))?;
    let (label, unit, typed) = (&settled.reading.label, settled.reading.unit, settled.reading.shown);
    let (digits, step) = (shown.digits, shown.step);
    let text = format!(
        "{label}: {typed} or {digits} {unit}? The meter shows steps of {step} {unit}, and the word depends on the digits \
         that were left out. Yes: it showed {digits} {unit}. No: type every digit that it shows, zeros too"
    );
    Some(Question::new(About::LeftOut(index), text))
}

/// Whether some judgement lies so far outside that a slip in typing is as likely as a bad part: by half of the tolerance's
/// width or more, one-sided by a tenth of the limit. A part that is a little weak is never asked about. Our own choice.
fn far_outside(evaluated: &Result<Evaluation, RuleError>) -> bool {
    let Ok(Evaluation::Judged { judgements, .. }) = evaluated else { return false };
    judgements.iter().any(|judged| {
        let at = &judged.judgement;
        let slip = match (at.low, at.high) {
            (Some(low), Some(high)) => (high - low) / 2.0,
            (Some(limit), None) | (None, Some(limit)) => limit.abs() / 10.0,
            (None, None) => return false,
        };
        let outside = [judged.margins.low, judged.margins.high];
        outside.into_iter().flatten().any(|margin| margin.inside_by < 0.0 && -margin.inside_by >= slip)
    })
}

fn swapped(digits: Decimal, unit: Unit, rule_unit: Unit) -> impl Iterator<Item = (Decimal, f64)> {
    digits
        .transpositions()
        .into_iter()
        .filter_map(move |swap| Some((swap, unit.convert(swap.to_f64(), rule_unit).ok()?)))
}

fn swapped_text(what: &str, typed: Decimal, swap: Decimal, unit: Unit) -> String {
    format!(
        "{what} {typed} {unit} would be in order as {swap} {unit}: were two digits swapped? Yes keeps {typed} {unit}; no: enter it again"
    )
}

/// Volts and amps have no open reading: leads in the air and a clamp round nothing (or round both conductors) show next
/// to nothing, and so may a dead part. The mechanic knows.
fn touches_nothing(point: &Point, state: &PointState) -> Option<String> {
    let settled = state.settled().filter(|settled| settled.typed.is_none())?;
    let (shown, unit) = (settled.reading.shown, settled.reading.unit);
    let counts = NEXT_TO_NOTHING_COUNTS * shown.resolution();
    let (least, on) = match unit.kind() {
        Kind::Voltage if unit == Unit::VOLT => {
            (counts.max(NEXT_TO_NOTHING_V), "Are both leads on the terminals?")
        }
        Kind::Voltage => (counts, "Are both leads on the terminals?"),
        Kind::Current => (counts, "Is the meter on one live conductor?"),
        _ => return None,
    };
    (shown.to_f64().abs() <= least * (1.0 + 1e-9)).then(|| {
        format!(
            "{} reads {shown} {unit}, as on nothing at all. {on} Yes: it is judged. No: clip on.",
            point.label
        )
    })
}

fn implausible(point: &Point, settled: &SettledPoint) -> Option<String> {
    let value = settled.input.value;
    let (low, high) = point
        .plausible
        .unwrap_or_else(|| usual_range(point.unit, settled.reading.shown, settled.reading.unit));
    if (low..=high).contains(&value) {
        return None;
    }
    let shown = settled.reading.shown;
    let unit = settled.reading.unit;
    Some(format!(
        "{} {shown} {unit} is outside what such a part can show ({low} to {high} {}): wrong range, unit or point? \
         Yes keeps it; no: take it again",
        point.label, point.unit
    ))
}

/// The range in which readings of a kind are believed without a question, where the rule names none. Common practice of
/// rooftop units, no source; wide on purpose.
fn usual_range(unit: Unit, shown: Decimal, shown_in: Unit) -> (f64, f64) {
    let kind_max = unit.kind().bounds().max;
    // A zeroed meter may show a few counts below zero; more is no capacitance and no resistance.
    let below_zero = Unit::base_of(unit.kind())
        .and_then(|base| shown_in.convert_span(-NEGATIVE_COUNTS * shown.resolution(), base).ok())
        .unwrap_or(0.0);
    let base = match unit.kind() {
        Kind::Capacitance => (below_zero, 2e-3),
        Kind::Resistance => (below_zero, kind_max),
        Kind::Voltage => (-1500.0, 1500.0),
        Kind::Current => (-1000.0, 1000.0),
        Kind::Temperature => (-60.0, 300.0),
        kind => (kind.bounds().min, kind.bounds().max),
    };
    let convert = |value: f64| Unit::base_of(unit.kind()).and_then(|base| base.convert(value, unit).ok());
    match (convert(base.0), convert(base.1)) {
        (Some(low), Some(high)) => (low, high),
        _ => (f64::NEG_INFINITY, f64::INFINITY),
    }
}
