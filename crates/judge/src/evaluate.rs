//! Evaluates a rule with "uncertainty for free": runs it at the inputs, and again with each uncertain input moved up
//! and down by its standard uncertainty, and combines the half-differences of each margin in quadrature (JCGM
//! 100:2008, 5.1.3 note 2; Kragten 1994). Assumes independent inputs. Does not settle or gate anything.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::limits::{DecisionRule, Margin, Margins, Side, Word};
use crate::rule::{Answer, Judgement, Outcome, Rule, RuleError};

/// One input of a rule: value and standard uncertainty in the unit that the header names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Input {
    /// Finite value.
    pub value: f64,
    /// Standard uncertainty, zero when exactly known.
    pub standard_uncertainty: f64,
}

/// A judgement with its uncertainty, word and probability.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The rule's judgement.
    pub judgement: Judgement,
    /// Standard uncertainty of the judged value (k = 1).
    pub standard_uncertainty: f64,
    /// Distances to the limits with their own uncertainty.
    pub margins: Margins,
    /// The word for this judgement.
    pub word: Word,
    /// Which side decided.
    pub side: Side,
    /// Probability that the true value conforms.
    pub probability_of_conformance: f64,
    /// The meter is too coarse for this tolerance; that is not the part's fault.
    pub meter_too_coarse: bool,
    /// How the distances change with each input: half-difference of the two moves, by input, low side then high side.
    sensitivity: Vec<[f64; 2]>,
}

impl Judged {
    /// A danger: the word is fail, whatever the guard band says, since a danger does not wait for it.
    #[must_use]
    pub fn danger(judgement: Judgement, standard_uncertainty: f64) -> Self {
        let margin = |inside_by| Margin { inside_by, standard_uncertainty };
        let doubtful = standard_uncertainty > 0.0;
        let margins = Margins {
            low: judgement.low.map(|low| margin(judgement.value - low)),
            high: judgement.high.map(|high| margin(high - judgement.value)),
        };
        Self {
            standard_uncertainty,
            margins,
            word: Word::Fail,
            side: if judgement.low.is_some() { Side::Low } else { Side::High },
            // Without an uncertainty, as beyond a meter's range, it is past the limit for certain.
            probability_of_conformance: if doubtful { margins.probability_of_conformance() } else { 0.0 },
            meter_too_coarse: false,
            sensitivity: Vec::new(),
            judgement,
        }
    }

    /// Expanded uncertainty U = k u of the judged value, in the judgement's unit; k is the shop's coverage factor.
    /// This is the figure after +- wherever the value is shown.
    #[must_use]
    pub fn expanded_uncertainty(&self, decision: DecisionRule) -> f64 {
        decision.coverage_factor() * self.standard_uncertainty
    }

    /// The guard band w at the limits, the wider of the two, in the judgement's unit; 0 under simple acceptance.
    #[must_use]
    pub fn guard(&self, decision: DecisionRule) -> f64 {
        let sides = [self.margins.low, self.margins.high];
        sides.into_iter().flatten().map(|side| side.guard(decision)).fold(0.0, f64::max)
    }

    /// What to do: the rule's advice for the deciding side. A conditional word alone is no reason to replace a part,
    /// so the engine first says what the meter's uncertainty allows.
    #[must_use]
    pub fn advice(&self) -> Option<String> {
        if self.word == Word::NoVerdict {
            // The meter is too coarse: nothing was found about the part, so nothing is to be done to it.
            return None;
        }
        let (rule, side) = match self.side {
            Side::Inside => return self.judgement.advice_ok.as_deref().map(String::from),
            Side::Low => (self.judgement.advice_low.as_deref(), "low"),
            Side::High => (self.judgement.advice_high.as_deref(), "high"),
        };
        let then = |words: &str| rule.map_or_else(String::new, |rule| format!("; {words}: {rule}"));
        match self.word {
            Word::ConditionalPass => Some(format!(
                "inside, but the meter's doubt reaches across the {side} limit: note it and measure again{}",
                then("across it, it would be")
            )),
            Word::ConditionalFail => Some(format!(
                "outside, but within the meter's doubt: measure again, or with a finer meter, before you act{}",
                then("if it stays so")
            )),
            _ => rule.map(String::from),
        }
    }
}

/// A rule's full answer with uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub enum Evaluation {
    /// Judgements; the worst word counts.
    Judged {
        /// All judgements, in the rule's order.
        judgements: Vec<Judged>,
        /// The worst word of all.
        word: Word,
        /// Inputs (by index) whose own uncertainty makes the rule take another path.
        path_changes: Vec<usize>,
    },
    /// The rule itself declares that no verdict is possible.
    NoVerdict {
        /// Its reason.
        because: String,
    },
}

/// Runs the rule with uncertainty.
///
/// # Errors
/// [`RuleError`] of the run at the inputs themselves; or if an input, a judged value or a limit is not finite, or
/// there is no judgement. An error in a moved run counts as a change of path.
pub fn evaluate(rule: &dyn Rule, inputs: &[Input], decision: DecisionRule) -> Result<Evaluation, RuleError> {
    let mut values: Vec<f64> = inputs.iter().map(|input| input.value).collect();
    let finite = |input: &Input| input.value.is_finite() && input.standard_uncertainty.is_finite();
    if !inputs.iter().all(finite) {
        return Err(broken(rule, "an input is not a finite number"));
    }
    let centre = rule.judge(&values)?;
    let judgements = match &centre.answer {
        Answer::NoVerdict(because) => return Ok(Evaluation::NoVerdict { because: String::from(&**because) }),
        Answer::Judgements(judgements) if judgements.is_empty() => {
            return Err(broken(rule, "the rule gave no judgement"));
        }
        Answer::Judgements(judgements) => judgements,
    };
    if !judgements.iter().all(Judgement::is_finite) {
        return Err(broken(rule, "a judged value or limit is not a finite number"));
    }
    let mut spreads: Vec<Spread> = judgements.iter().map(|_| Spread::new(inputs.len())).collect();
    let mut path_changes = Vec::new();
    let mut crossing = false;
    for (index, input) in inputs.iter().enumerate() {
        if input.standard_uncertainty <= 0.0 {
            continue;
        }
        let up = moved(rule, &mut values, index, input.value + input.standard_uncertainty);
        let down = moved(rule, &mut values, index, input.value - input.standard_uncertainty);
        let same = |outcome: &Option<Outcome>| outcome.as_ref().is_some_and(|o| o.path == centre.path);
        let forks = !(same(&up) && same(&down));
        if forks {
            path_changes.push(index);
        }
        let up = up.as_ref().and_then(|o| matching(o, judgements));
        let down = down.as_ref().and_then(|o| matching(o, judgements));
        crossing |= up.is_none() || down.is_none();
        for (k, (spread, at)) in spreads.iter_mut().zip(judgements).enumerate() {
            let up = up.and_then(|list| list.get(k)).unwrap_or(at);
            let down = down.and_then(|list| list.get(k)).unwrap_or(at);
            spread.add(index, at, up, down, forks);
        }
    }
    let judged: Vec<Judged> =
        judgements.iter().zip(spreads).map(|(at, spread)| spread.judged(at.clone(), decision)).collect();
    let worst = judged.iter().map(|j| j.word).max().unwrap_or(Word::NoVerdict);
    let word = if crossing { at_most_conditional(worst) } else { worst };
    Ok(Evaluation::Judged { judgements: judged, word, path_changes })
}

/// An answer that the engine cannot accept, attributed to the rule as a whole.
fn broken(rule: &dyn Rule, what: &str) -> RuleError {
    RuleError {
        message: String::from(what),
        file: String::from(rule.id()),
        line: 0,
        column: 0,
        source_line: String::new(),
    }
}

/// Limits a word to conditional: a move within the uncertainty makes the rule answer something else (other
/// judgements, an error, no verdict), so no word is clear.
fn at_most_conditional(word: Word) -> Word {
    match word {
        Word::Pass => Word::ConditionalPass,
        Word::Fail => Word::ConditionalFail,
        other => other,
    }
}

fn moved(rule: &dyn Rule, values: &mut [f64], index: usize, to: f64) -> Option<Outcome> {
    let slot = values.get_mut(index)?;
    let before = core::mem::replace(slot, to);
    let outcome = rule.judge(values).ok();
    if let Some(slot) = values.get_mut(index) {
        *slot = before;
    }
    outcome
}

/// The moved judgements, if they are the same judgements (names, limits present) as at the inputs.
fn matching<'a>(outcome: &'a Outcome, at: &[Judgement]) -> Option<&'a [Judgement]> {
    let Answer::Judgements(list) = &outcome.answer else { return None };
    let same = list.len() == at.len()
        && list.iter().zip(at).all(|(a, b)| {
            a.is_finite()
                && a.name == b.name
                && a.unit == b.unit
                && a.low.is_some() == b.low.is_some()
                && a.high.is_some() == b.high.is_some()
        });
    same.then_some(list.as_slice())
}

/// Sums of squared half-differences while the inputs are moved.
struct Spread {
    value: f64,
    low: f64,
    high: f64,
    sensitivity: Vec<[f64; 2]>,
}

impl Spread {
    fn new(inputs: usize) -> Self {
        Self { value: 0.0, low: 0.0, high: 0.0, sensitivity: alloc::vec![[0.0; 2]; inputs] }
    }

    /// Half the difference between the two moves; at a fork of the rule, where a limit may jump, the larger of the two.
    fn add(&mut self, index: usize, at: &Judgement, up: &Judgement, down: &Judgement, forks: bool) {
        let half = |f: &dyn Fn(&Judgement) -> f64| {
            let (rise, fall) = (f(up) - f(at), f(at) - f(down));
            if !forks {
                (f(up) - f(down)) / 2.0
            } else if rise.abs() >= fall.abs() {
                rise
            } else {
                fall
            }
        };
        let value = half(&|j| j.value);
        let low = if at.low.is_some() { half(&|j| j.value - j.low.unwrap_or(0.0)) } else { 0.0 };
        let high = if at.high.is_some() { half(&|j| j.high.unwrap_or(0.0) - j.value) } else { 0.0 };
        self.value += value * value;
        self.low += low * low;
        self.high += high * high;
        if let Some(slot) = self.sensitivity.get_mut(index) {
            *slot = [low, high];
        }
    }

    fn judged(self, judgement: Judgement, decision: DecisionRule) -> Judged {
        let side = |limit: Option<f64>, inside_by: f64, square: f64| {
            limit.map(|_| Margin { inside_by, standard_uncertainty: libm::sqrt(square) })
        };
        let low = side(judgement.low, judgement.value - judgement.low.unwrap_or(0.0), self.low);
        let high = side(judgement.high, judgement.high.unwrap_or(0.0) - judgement.value, self.high);
        let margins = Margins { low, high };
        let (mut word, decided) = margins.word(decision);
        let meter_too_coarse = margins.meter_too_coarse(decision) && word != Word::Fail;
        if meter_too_coarse {
            word = Word::NoVerdict;
        }
        Judged {
            standard_uncertainty: libm::sqrt(self.value),
            margins,
            word,
            side: decided,
            probability_of_conformance: margins.probability_of_conformance(),
            meter_too_coarse,
            sensitivity: self.sensitivity,
            judgement,
        }
    }
}

impl Evaluation {
    /// The word.
    #[must_use]
    pub fn word(&self) -> Word {
        match self {
            Self::Judged { word, .. } => *word,
            Self::NoVerdict { .. } => Word::NoVerdict,
        }
    }

    /// The values of input `index` at which some judgement would change its word, by linear extrapolation of each
    /// margin to -w, 0 and w. Sorted; empty when the input moves no margin.
    #[must_use]
    pub fn thresholds(&self, index: usize, input: Input, decision: DecisionRule) -> Vec<f64> {
        let Self::Judged { judgements, .. } = self else { return Vec::new() };
        let mut found = Vec::new();
        for judged in judgements {
            let Some(&[low, high]) = judged.sensitivity.get(index) else { continue };
            for (margin, half_difference) in [(judged.margins.low, low), (judged.margins.high, high)] {
                let Some(margin) = margin else { continue };
                let slope = half_difference / input.standard_uncertainty;
                if !slope.is_finite() || slope.abs() < f64::MIN_POSITIVE {
                    continue;
                }
                let guard = margin.guard(decision);
                for target in [-guard, 0.0, guard] {
                    let at = input.value + (target - margin.inside_by) / slope;
                    if at.is_finite() {
                        found.push(at);
                    }
                }
            }
        }
        found.sort_by(f64::total_cmp);
        found.dedup();
        found
    }
}

#[cfg(test)]
mod tests;
