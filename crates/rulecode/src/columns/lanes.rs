//! What one instruction does to the lanes that reach it. Knows no blocks and no answers.

use alloc::vec::Vec;

use super::Pass;
use crate::path::{PRIMES, mixed, step};
use crate::program::{Arithmetic, Comparison, Flag, Mark, NO_TEXT, Number};

/// An operand: a number for each lane, or one for all.
#[derive(Clone, Copy)]
pub(super) enum Operand<'s> {
    Lanes(&'s [f64]),
    Same(f64),
}

impl Operand<'_> {
    pub(super) fn at(self, lane: u16) -> f64 {
        match self {
            Self::Lanes(column) => column.get(lane as usize).copied().unwrap_or(f64::NAN),
            Self::Same(number) => number,
        }
    }
}

/// What `of` makes of two operands, for every lane.
fn dense<T>(a: Operand<'_>, b: Operand<'_>, to: &mut [T], of: impl Fn(f64, f64) -> T) {
    match (a, b) {
        (Operand::Lanes(a), Operand::Lanes(b)) => {
            to.iter_mut().zip(a).zip(b).for_each(|((to, a), b)| *to = of(*a, *b));
        }
        (Operand::Lanes(a), Operand::Same(b)) => to.iter_mut().zip(a).for_each(|(to, a)| *to = of(*a, b)),
        (Operand::Same(a), Operand::Lanes(b)) => to.iter_mut().zip(b).for_each(|(to, b)| *to = of(a, *b)),
        (Operand::Same(a), Operand::Same(b)) => to.iter_mut().for_each(|to| *to = of(a, b)),
    }
}

impl Pass<'_> {
    pub(super) fn operand(&self, register: Number) -> Operand<'_> {
        let index = register.0 as usize;
        match self.scratch.numbers.get(index).filter(|column| !column.is_empty()) {
            Some(column) => Operand::Lanes(column),
            None => Operand::Same(self.parts.numbers.get(index).copied().unwrap_or(f64::NAN)),
        }
    }

    pub(super) fn flag(&self, register: Flag, lane: u16) -> bool {
        let column = self.scratch.flags.get(register.0 as usize);
        column.and_then(|column| column.get(lane as usize)).copied().unwrap_or(false)
    }

    pub(super) fn mark(&self, register: Mark, lane: u16) -> u32 {
        let column = self.scratch.marks.get(register.0 as usize);
        let constant = || self.parts.marks.get(register.0 as usize).copied().unwrap_or(NO_TEXT);
        column.and_then(|column| column.get(lane as usize)).copied().unwrap_or_else(constant)
    }

    /// Writes what `of` gives for each lane; a lane for which it gives nothing is dropped.
    pub(super) fn set(&mut self, to: Number, lanes: &mut Vec<u16>, of: impl Fn(&Self, u16) -> Option<f64>) {
        let mut column = self.scratch.numbers.get_mut(to.0 as usize).map(core::mem::take).unwrap_or_default();
        let mut kept = core::mem::take(lanes);
        // The column is away meanwhile, so no instruction writes into what it reads, but for those that say so.
        kept.retain(|lane| match (of(self, *lane), column.get_mut(*lane as usize)) {
            (Some(value), Some(slot)) => {
                *slot = value;
                true
            }
            _ => false,
        });
        *lanes = kept;
        if let Some(slot) = self.scratch.numbers.get_mut(to.0 as usize) {
            *slot = column;
        }
    }

    /// Writes an outcome for each lane and records it; a lane without one is dropped.
    pub(super) fn decide(&mut self, to: Flag, lanes: &mut Vec<u16>, of: impl Fn(&Self, u16) -> Option<bool>) {
        let mut kept = core::mem::take(lanes);
        kept.retain(|lane| {
            let Some(outcome) = of(self, *lane) else { return false };
            self.record(*lane, u32::from(outcome));
            self.set_flag(to, *lane, outcome);
            true
        });
        *lanes = kept;
    }

    pub(super) fn record(&mut self, lane: u16, outcome: u32) {
        for (half, prime) in self.scratch.halves.iter_mut().zip(PRIMES) {
            if let Some(half) = half.get_mut(lane as usize) {
                *half = mixed(*half, outcome, prime);
            }
        }
    }

    pub(super) fn set_flag(&mut self, to: Flag, lane: u16, value: bool) {
        let column = self.scratch.flags.get_mut(to.0 as usize);
        if let Some(slot) = column.and_then(|column| column.get_mut(lane as usize)) {
            *slot = value;
        }
    }

    pub(super) fn arithmetic(&mut self, operator: Arithmetic, [a, b, to]: [Number; 3], lanes: &mut Vec<u16>) {
        if a == to || b == to || lanes.len() < self.count {
            // Written so: `a += b`. The old numbers are read before the column is away.
            let (x, y) = (self.operand(a), self.operand(b));
            let results: Vec<f64> = lanes.iter().map(|lane| operator.of(x.at(*lane), y.at(*lane))).collect();
            return self.keep_finite(to, lanes, &results);
        }
        let mut column = self.scratch.numbers.get_mut(to.0 as usize).map(core::mem::take).unwrap_or_default();
        let (x, y) = (self.operand(a), self.operand(b));
        let to_lanes = column.get_mut(..self.count).unwrap_or_default();
        match operator {
            Arithmetic::Add => dense(x, y, to_lanes, |a, b| a + b),
            Arithmetic::Subtract => dense(x, y, to_lanes, |a, b| a - b),
            Arithmetic::Multiply => dense(x, y, to_lanes, |a, b| a * b),
            Arithmetic::Divide => dense(x, y, to_lanes, |a, b| a / b),
            Arithmetic::Remainder | Arithmetic::Power => dense(x, y, to_lanes, |a, b| operator.of(a, b)),
        }
        if !to_lanes.iter().all(|number| number.is_finite()) {
            lanes.retain(|lane| column.get(*lane as usize).is_some_and(|number| number.is_finite()));
        }
        if let Some(slot) = self.scratch.numbers.get_mut(to.0 as usize) {
            *slot = column;
        }
    }

    /// Writes results, one for each lane; a lane whose result is not finite is dropped.
    pub(super) fn keep_finite(&mut self, to: Number, lanes: &mut Vec<u16>, results: &[f64]) {
        let Some(column) = self.scratch.numbers.get_mut(to.0 as usize) else { return };
        for (lane, result) in lanes.iter().zip(results) {
            if let Some(slot) = column.get_mut(*lane as usize) {
                *slot = *result;
            }
        }
        lanes.retain(|lane| column.get(*lane as usize).is_some_and(|number| number.is_finite()));
    }

    pub(super) fn compare(
        &mut self,
        operator: Comparison,
        [a, b]: [Number; 2],
        to: Flag,
        lanes: &mut Vec<u16>,
    ) {
        if lanes.len() < self.count {
            return self.decide(to, lanes, |pass, lane| {
                Some(operator.of(pass.operand(a).at(lane), pass.operand(b).at(lane)))
            });
        }
        let mut column = self.scratch.flags.get_mut(to.0 as usize).map(core::mem::take).unwrap_or_default();
        let (x, y) = (self.operand(a), self.operand(b));
        let to_lanes = column.get_mut(..self.count).unwrap_or_default();
        match operator {
            Comparison::Less => dense(x, y, to_lanes, |a, b| a < b),
            Comparison::AtMost => dense(x, y, to_lanes, |a, b| a <= b),
            Comparison::Greater => dense(x, y, to_lanes, |a, b| a > b),
            Comparison::AtLeast => dense(x, y, to_lanes, |a, b| a >= b),
        }
        for (half, prime) in self.scratch.halves.iter_mut().zip(PRIMES) {
            half.iter_mut().zip(&column).for_each(|(half, yes)| *half = mixed(*half, u32::from(*yes), prime));
        }
        if let Some(slot) = self.scratch.flags.get_mut(to.0 as usize) {
            *slot = column;
        }
    }

    pub(super) fn call(&mut self, function: u16, first: u32, count: u16, to: Number, lanes: &mut Vec<u16>) {
        let parts = self.parts;
        let Some(called) = parts.functions.get(function as usize) else { return };
        let operands = parts.operands.get(first as usize..).unwrap_or_default();
        let operands = operands.get(..count.into()).unwrap_or_default();
        let mut arguments = core::mem::take(&mut self.scratch.arguments);
        let results: Vec<f64> = lanes
            .iter()
            .map(|lane| {
                arguments.clear();
                arguments.extend(operands.iter().map(|operand| self.operand(*operand).at(*lane)));
                // Numbers are finite; a word may be missing.
                let is_missing = arguments.iter().any(|argument| argument.is_nan());
                if is_missing { f64::NAN } else { called.call(&arguments).unwrap_or(f64::NAN) }
            })
            .collect();
        self.scratch.arguments = arguments;
        self.called(called.is_discrete, to, lanes, &results);
    }

    pub(super) fn call_lists(
        &mut self,
        function: u16,
        first: u32,
        count: u16,
        to: Number,
        lanes: &mut Vec<u16>,
    ) {
        let parts = self.parts;
        let Some(called) = parts.functions.get(function as usize) else { return };
        let lists = parts.lists.get(first as usize..).unwrap_or_default();
        let lists = lists.get(..count.into()).unwrap_or_default();
        let list = |first: u32, count: u32, lane: u16| -> Vec<f64> {
            let operands = parts.operands.get(first as usize..).unwrap_or_default();
            operands.iter().take(count as usize).map(|operand| self.operand(*operand).at(lane)).collect()
        };
        let result = |lane: &u16| {
            let values: Vec<Vec<f64>> =
                lists.iter().map(|(first, count)| list(*first, *count, *lane)).collect();
            if values.iter().flatten().any(|value| value.is_nan()) {
                return f64::NAN;
            }
            let slices: Vec<&[f64]> = values.iter().map(Vec::as_slice).collect();
            called.call_lists(&slices).unwrap_or(f64::NAN)
        };
        let results: Vec<f64> = lanes.iter().map(result).collect();
        self.called(called.is_discrete, to, lanes, &results);
    }

    pub(super) fn called(&mut self, is_discrete: bool, to: Number, lanes: &mut Vec<u16>, results: &[f64]) {
        if is_discrete {
            for (lane, result) in lanes.iter().zip(results) {
                self.record(*lane, step(*result));
            }
        }
        self.keep_finite(to, lanes, results);
    }
}
