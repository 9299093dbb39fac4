//! What lanes answer at the end of a program: which set of judgements, and their numbers.

use alloc::vec::Vec;

use judge::rule::columns::{ColumnAnswers, LaneAnswer, Signature};

use super::Pass;
use crate::path::number;
use crate::program::{AnswerOf, NO_TEXT, Number, Slot};

/// What tells one judgement from another, apart from its numbers.
#[derive(PartialEq)]
struct Shape {
    name: u32,
    unit: u32,
    has_low: bool,
    has_high: bool,
}

impl Pass<'_> {
    pub(super) fn answer(&mut self, answer: u16, lanes: &[u16], out: &mut ColumnAnswers) {
        let [a, b] = &self.scratch.halves;
        let path = |lane: u16| {
            let half = |half: &Vec<u32>| half.get(lane as usize).copied().unwrap_or(0);
            number(half(a), half(b))
        };
        match self.parts.answers.get(answer as usize) {
            Some(AnswerOf::Judgements(slots)) => {
                let mut before: Option<(Vec<Shape>, Option<LaneAnswer>)> = None;
                for lane in lanes {
                    let same = before.as_ref().is_some_and(|(shapes, _)| {
                        shapes.len() == slots.len()
                            && shapes.iter().zip(slots).all(|(shape, slot)| *shape == self.shape(slot, *lane))
                    });
                    if !same {
                        let shapes: Vec<Shape> = slots.iter().map(|slot| self.shape(slot, *lane)).collect();
                        let set = self.signatures(&shapes).map(|signatures| out.set(&signatures));
                        before = Some((shapes, set));
                    }
                    if let Some((_, Some(set))) = before {
                        out.answer(self.first + *lane as usize, set, path(*lane));
                        if set != LaneAnswer::OtherSet {
                            self.numbers(slots, *lane, out);
                        }
                    }
                }
            }
            Some(AnswerOf::NoVerdict(_)) => {
                for lane in lanes {
                    out.answer(self.first + *lane as usize, LaneAnswer::NoVerdict, path(*lane));
                }
            }
            None => {}
        }
    }

    fn shape(&self, slot: &Slot, lane: u16) -> Shape {
        let [.., unit, _] = slot.texts;
        let has = |limit: Option<Number>| limit.is_some_and(|limit| !self.operand(limit).at(lane).is_nan());
        Shape {
            name: self.mark(slot.name, lane),
            unit: self.mark(unit, lane),
            has_low: has(slot.low),
            has_high: has(slot.high),
        }
    }

    /// What identifies these judgements; `None` if they are no answer: a name that stands twice, a unit not known.
    fn signatures(&self, shapes: &[Shape]) -> Option<Vec<Signature>> {
        let text = |index: u32| self.parts.texts.get(index as usize);
        let one = |(index, shape): (usize, &Shape)| {
            if shapes.iter().take(index).any(|other| other.name == shape.name) {
                return None;
            }
            let name = text(shape.name)?;
            let unit = if shape.unit == NO_TEXT { name.unit_of_item } else { text(shape.unit)?.unit };
            let (has_low, has_high) = (shape.has_low, shape.has_high);
            Some(Signature { name: name.text.clone(), unit: unit?, has_low, has_high })
        };
        shapes.iter().enumerate().map(one).collect()
    }

    fn numbers(&self, slots: &[Slot], lane: u16, out: &mut ColumnAnswers) {
        let at = self.first + lane as usize;
        for (index, slot) in slots.iter().enumerate() {
            let Some(column) = out.column_mut(index) else { continue };
            let numbers = [Some(slot.value), slot.low, slot.high];
            for (list, register) in
                [&mut column.value, &mut column.low, &mut column.high].into_iter().zip(numbers)
            {
                let number = register.map_or(f64::NAN, |register| self.operand(register).at(lane));
                if let Some(to) = list.get_mut(at) {
                    *to = if number.is_nan() { 0.0 } else { number };
                }
            }
        }
    }
}
