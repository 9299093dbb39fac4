//! From registers to the answer that a caller reads. Evaluates no instruction.

use alloc::format;
use alloc::sync::Arc;
use alloc::vec::Vec;

use judge::rule::{Answer, Judgement, Source};

use crate::fault::{At, Fault};
use crate::program::{AnswerOf, Mark, NO_TEXT, Number, Parts, Slot, Text};

/// The values of registers at the end of an evaluation.
pub(crate) trait Registers {
    fn number(&self, number: Number) -> f64;
    fn mark(&self, mark: Mark) -> u32;
}

/// The answer of this number.
pub(crate) fn answer(parts: &Parts, index: u16, registers: &impl Registers) -> Result<Answer, Fault> {
    let reader = Reader { parts, registers };
    match parts.answers.get(index as usize) {
        Some(AnswerOf::NoVerdict(why)) => Ok(Answer::NoVerdict(reader.shared(*why))),
        Some(AnswerOf::Judgements(slots)) => reader.judgements(slots).map(Answer::Judgements),
        None => Err(Fault::new(At::default(), "the program has no such answer; load the rule anew")),
    }
}

struct Reader<'r, R> {
    parts: &'r Parts,
    registers: &'r R,
}

impl<R: Registers> Reader<'_, R> {
    fn text(&self, mark: Mark) -> Option<&Text> {
        let index = self.registers.mark(mark);
        if index == NO_TEXT { None } else { self.parts.texts.get(index as usize) }
    }

    fn shared(&self, mark: Mark) -> Arc<str> {
        self.text(mark).map(|text| Arc::clone(&text.text)).unwrap_or_default()
    }

    fn judgements(&self, slots: &[Slot]) -> Result<Vec<Judgement>, Fault> {
        let mut judgements: Vec<Judgement> = Vec::with_capacity(slots.len());
        for slot in slots {
            let (judgement, at) = self.judgement(slot)?;
            if judgements.iter().any(|other| other.name == judgement.name) {
                let text = format!("two judgements are named {:?}; give each its own name", judgement.name);
                return Err(Fault::new(at, text));
            }
            judgements.push(judgement);
        }
        Ok(judgements)
    }

    fn judgement(&self, slot: &Slot) -> Result<(Judgement, At), Fault> {
        let made = self.parts.makes.get(self.registers.mark(slot.made) as usize);
        let at = made.map_or_else(At::default, |made| made.at);
        let named = self.text(slot.name);
        let name = named.map(|name| Arc::clone(&name.text)).unwrap_or_default();
        let [low, high, ok, unit, source] = slot.texts;
        let unit = match self.text(unit) {
            Some(text) => text.unit,
            None => named.and_then(|name| name.unit_of_item),
        };
        let Some(unit) = unit else {
            return Err(Fault::new(at, format!("{name}: the unit is not known; add .unit(\"...\")")));
        };
        let (source, source_parts) = match self.text(source) {
            Some(text) => match &text.source {
                Some(source) => (source.clone(), Arc::default()),
                None => {
                    let why = Source::parse(&text.text).err().map(|error| format!("{error}"));
                    let why = why.unwrap_or_else(|| format!("{}: no source of this rule", text.text));
                    return Err(Fault::new(at, why));
                }
            },
            None => match made.and_then(|made| made.source.clone()) {
                Some(source) => source,
                None => return Err(Fault::new(at, format!("{name}: the limits have no source"))),
            },
        };
        let limit = |limit: Option<Number>| {
            limit.map(|limit| self.registers.number(limit)).filter(|limit| !limit.is_nan())
        };
        let advice = |mark: Mark| self.text(mark).map(|text| Arc::clone(&text.text));
        let judgement = Judgement {
            name,
            value: self.registers.number(slot.value),
            unit,
            low: limit(slot.low),
            high: limit(slot.high),
            advice_ok: advice(ok),
            advice_low: advice(low),
            advice_high: advice(high),
            source,
            source_parts,
        };
        Ok((judgement, at))
    }
}
