//! Values that are asked about before they are judged: implausible, digits swapped or left out, leads that may touch nothing.
//! Finds the one question to ask next. Does not judge; what was answered with yes is not asked again.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::{Decimal, Kind, Unit};

use super::facts::Facts;
use super::points::PointState;
use super::points::settled::SettledPoint;
use super::questions::{About, Question};
use crate::hold::proof::{NEXT_TO_NOTHING_COUNTS, NEXT_TO_NOTHING_V};
use crate::plan::Entered;
use crate::plate;
use crate::verdict::PlateUsed;
use judge::evaluate::{Evaluation, Input, evaluate};
use judge::limits::{DecisionRule, Word};
use judge::rule::{Point, Rule, RuleError};

/// A capacitance or resistance this many counts below zero is still taken for zero. Our own choice.
const NEGATIVE_COUNTS: f64 = 5.0;

/// What must be asked before these values are judged, if anything; `evaluated` is what the rule says of them.
pub(super) fn before_judging(
    at: &Facts<'_>,
    rule: &dyn Rule,
    plate_used: &[PlateUsed],
    inputs: &[Input],
    evaluated: &Result<Evaluation, RuleError>,
) -> Option<Question> {
    let accepted = |about: &About| at.questions.accepts(about);
    let points = &rule.header().points;
    let confirmed = |name: &str| accepted(&About::ImplausiblePlate(name.into()));
    if let Some((name, text)) = plate::implausible(rule.header(), &at.job.plan, plate_used, confirmed) {
        return Some(Question::new(About::ImplausiblePlate(name), text));
    }
    for (index, (point, state)) in points.iter().zip(at.points.states()).enumerate() {
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
    let slip = || slipped(at, rule, plate_used, inputs);
    let slip = if far_outside(evaluated) { slip() } else { None };
    slip.or_else(|| left_out(at, rule, inputs))
}

/// The word of these values; `no verdict` where the rule fails.
fn word_of(rule: &dyn Rule, values: &[Input], decision: DecisionRule) -> Word {
    evaluate(rule, values, decision).as_ref().map_or(Word::NoVerdict, Evaluation::word)
}

/// Typed digits or digits of the nameplate that would pass with two of them swapped.
fn slipped(at: &Facts<'_>, rule: &dyn Rule, plate_used: &[PlateUsed], inputs: &[Input]) -> Option<Question> {
    let accepted = |about: &About| at.questions.accepts(about);
    let points = &rule.header().points;
    let word = |values: &[Input]| word_of(rule, values, at.decision);
    let swapped_passes = |index: usize, value: f64| {
        let mut moved: Vec<Input> = inputs.to_vec();
        if let Some(slot) = moved.get_mut(index) {
            slot.value = value;
        }
        word(&moved) == Word::Pass
    };
    for (index, (point, state)) in points.iter().zip(at.points.states()).enumerate() {
        let about = About::SwappedReading(index);
        let Some(settled) = state.settled().filter(|_| !accepted(&about)) else { continue };
        let Some(typed) = settled.typed else { continue };
        let unit = settled.reading.display.unit;
        let swap = swapped(typed, unit, point.display.unit).find(|(_, value)| swapped_passes(index, *value));
        if let Some((swap, _)) = swap {
            let text = swapped_text(&point.label, typed, swap, unit);
            return Some(Question::new(about, text));
        }
    }
    for (offset, used) in plate_used.iter().enumerate() {
        let about = About::SwappedPlate(used.name.clone());
        let entry = at.job.plan.plate.iter().find(|(name, _)| *name == used.name);
        let Some((_, Entered::Number { number, unit })) = entry.filter(|_| !accepted(&about)) else {
            continue;
        };
        let index = points.len() + offset;
        let found = swapped(*number, *unit, used.unit).find(|(swap, _)| {
            let mut plan = at.job.plan.clone();
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
fn left_out(at: &Facts<'_>, rule: &dyn Rule, inputs: &[Input]) -> Option<Question> {
    let settled = |index: usize| at.points.settled(index);
    let mut as_shown: Vec<Input> = inputs.to_vec();
    let mut first = None;
    for (index, slot) in as_shown.iter_mut().enumerate() {
        let Some(shown) = settled(index).and_then(SettledPoint::as_shown) else { continue };
        *slot = shown.input;
        first = first.or(Some(index));
    }
    let index =
        first.filter(|_| word_of(rule, &as_shown, at.decision) != word_of(rule, inputs, at.decision))?;
    let (settled, shown) = settled(index).and_then(|settled| Some((settled, settled.as_shown()?)))?;
    let (label, unit, typed) = (&settled.reading.label, settled.reading.display.unit, settled.reading.shown);
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
    let (shown, unit) = (settled.reading.shown, settled.reading.display.unit);
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
    let (low, high) = point.plausible.unwrap_or_else(|| {
        usual_range(point.display.unit, settled.reading.shown, settled.reading.display.unit)
    });
    if (low..=high).contains(&value) {
        return None;
    }
    let shown = settled.reading.shown;
    let unit = settled.reading.display.unit;
    Some(format!(
        "{} {shown} {unit} is outside what such a part can show ({low} to {high} {}): wrong range, unit or point? \
         Yes keeps it; no: take it again",
        point.label, point.display.unit
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
