//! Evaluates a program for many sets of inputs at once: a column for each register, a lane for each set. A block runs
//! for the lanes that reach it; a lane that fails is dropped and stays an error.

use alloc::vec::Vec;

use judge::rule::columns::ColumnAnswers;

use crate::clock::{Clock, Limits};
use crate::fault::At;
use crate::one::{moved, place, same_word};
use crate::path::START;
use crate::program::{Exit, Instruction, NO_TEXT, Parts, Program};

mod answers;
mod lanes;

/// The lanes of one pass: so many that overhead is spread, so few that columns stay in fast memory.
const LANES: usize = 256;

/// Memory for [`Program::columns`], which may be used again for the same program or another.
#[derive(Debug, Default)]
pub struct Scratch {
    /// Empty: the register holds a constant.
    numbers: Vec<Vec<f64>>,
    flags: Vec<Vec<bool>>,
    /// Empty: the register holds a constant.
    marks: Vec<Vec<u32>>,
    /// The lanes that wait at each block.
    waiting: Vec<Vec<u16>>,
    halves: [Vec<u32>; 2],
    arguments: Vec<f64>,
}

impl Program {
    /// Judges as many sets of inputs as every column has: bit for bit as [`Program::one`] judges each. A lane with
    /// another number of inputs, or one that is not finite, is an error. The time allowed is that of all lanes
    /// together.
    pub fn columns(
        &self,
        columns: &[&[f64]],
        limits: &Limits,
        scratch: &mut Scratch,
        out: &mut ColumnAnswers,
    ) {
        let lanes = columns.iter().map(|column| column.len()).min().unwrap_or(0);
        out.begin(lanes);
        if columns.len() != self.parts.inputs.len() {
            return;
        }
        scratch.fit(&self.parts);
        let mut clock = Clock::new(limits, i64::try_from(lanes).unwrap_or(i64::MAX));
        let mut first = 0;
        while first < lanes {
            let count = LANES.min(lanes - first);
            Pass { parts: &self.parts, scratch, first, count }.run(columns, &mut clock, out);
            first += count;
        }
    }
}

impl Scratch {
    /// Makes room for a program: columns for what changes, none for constants.
    fn fit(&mut self, parts: &Parts) {
        self.numbers.resize(parts.numbers.len(), Vec::new());
        self.marks.resize(parts.marks.len(), Vec::new());
        self.numbers.iter_mut().for_each(Vec::clear);
        self.marks.iter_mut().for_each(Vec::clear);
        for column in self.numbers.iter_mut().take(parts.inputs.len()) {
            column.resize(LANES, 0.0);
        }
        for instruction in &parts.instructions {
            match *instruction {
                Instruction::Arithmetic { to, .. }
                | Instruction::Negate { to, .. }
                | Instruction::Call { to, .. }
                | Instruction::CallLists { to, .. }
                | Instruction::Place { to, .. }
                | Instruction::CopyNumber { to, .. } => {
                    if let Some(column) = self.numbers.get_mut(to.0 as usize) {
                        column.resize(LANES, 0.0);
                    }
                }
                Instruction::CopyMark { to, .. } => {
                    if let Some(column) = self.marks.get_mut(to.0 as usize) {
                        column.resize(LANES, NO_TEXT);
                    }
                }
                _ => {}
            }
        }
        self.flags.resize(parts.flags.len(), Vec::new());
        self.waiting.resize(parts.blocks.len(), Vec::new());
    }
}

/// One pass over at most [`LANES`] lanes, the first of which is lane `first` of the answers.
struct Pass<'p> {
    parts: &'p Parts,
    scratch: &'p mut Scratch,
    first: usize,
    count: usize,
}

impl Pass<'_> {
    fn run(&mut self, columns: &[&[f64]], clock: &mut Clock, out: &mut ColumnAnswers) {
        self.begin(columns);
        let mut from = 0_usize;
        for (block, (end, exit)) in self.parts.blocks.iter().enumerate() {
            let end = *end as usize;
            let mut lanes = self.scratch.waiting.get_mut(block).map(core::mem::take).unwrap_or_default();
            let instructions = self.parts.instructions.get(from..end).unwrap_or_default();
            from = end;
            for instruction in instructions {
                if lanes.is_empty() {
                    break;
                }
                if clock.tick(At::default()).is_err() {
                    lanes.clear();
                }
                self.step(*instruction, &mut lanes);
            }
            match *exit {
                Exit::Go(to) => self.wait(to.0, &lanes),
                Exit::Branch { on, yes, no } => {
                    let decided = self.scratch.flags.get(on.0 as usize);
                    let is_yes =
                        |lane: &u16| decided.and_then(|flags| flags.get(*lane as usize)) == Some(&true);
                    let (taken, left): (Vec<u16>, Vec<u16>) = lanes.iter().partition(|lane| is_yes(lane));
                    self.wait(yes.0, &taken);
                    self.wait(no.0, &left);
                }
                Exit::Answer(answer) => self.answer(answer, &lanes, out),
            }
            // The memory of the list is used again.
            lanes.clear();
            if let Some(waiting) = self.scratch.waiting.get_mut(block) {
                *waiting = lanes;
            }
        }
    }

    /// Inputs, constants, paths as they stand at the start; the lanes whose inputs are finite wait at the first block.
    fn begin(&mut self, columns: &[&[f64]]) {
        let (first, count) = (self.first, self.count);
        let Scratch { numbers, flags, marks, waiting, halves, .. } = &mut *self.scratch;
        for ((column, given), input) in numbers.iter_mut().zip(columns).zip(&self.parts.inputs) {
            let given = given.get(first..first + count).unwrap_or_default();
            for (to, value) in column.iter_mut().zip(given) {
                *to = if input.words == 0 { *value } else { place(*value, input.words) };
            }
        }
        for (column, start) in flags.iter_mut().zip(&self.parts.flags) {
            column.clear();
            column.resize(LANES, *start);
        }
        for (column, start) in marks.iter_mut().zip(&self.parts.marks) {
            column.fill(*start);
        }
        for (half, start) in halves.iter_mut().zip(START) {
            half.clear();
            half.resize(LANES, start);
        }
        waiting.iter_mut().for_each(Vec::clear);
        if let Some(waiting) = waiting.first_mut() {
            let is_finite = |lane: &u16| {
                columns
                    .iter()
                    .all(|column| column.get(first + *lane as usize).is_some_and(|value| value.is_finite()))
            };
            #[allow(clippy::cast_possible_truncation, reason = "at most LANES")]
            waiting.extend((0..count as u16).filter(is_finite));
        }
    }

    fn wait(&mut self, block: u16, lanes: &[u16]) {
        if let Some(waiting) = self.scratch.waiting.get_mut(block as usize) {
            waiting.extend_from_slice(lanes);
        }
    }

    fn step(&mut self, instruction: Instruction, lanes: &mut Vec<u16>) {
        match instruction {
            Instruction::Arithmetic { operator, a, b, to, .. } => {
                self.arithmetic(operator, [a, b, to], lanes)
            }
            Instruction::Negate { a, to } => {
                self.set(to, lanes, |pass, lane| Some(-pass.operand(a).at(lane)))
            }
            Instruction::Compare { operator, a, b, to } => self.compare(operator, [a, b], to, lanes),
            Instruction::SameFlag { a, b, differ, to } => {
                self.decide(to, lanes, |pass, lane| {
                    Some((pass.flag(a, lane) == pass.flag(b, lane)) != differ)
                });
            }
            Instruction::SameWord { a, b, differ, to } => self.decide(to, lanes, |pass, lane| {
                same_word(pass.operand(a).at(lane), pass.operand(b).at(lane), differ)
            }),
            Instruction::Not { a, to } => {
                for lane in lanes.iter() {
                    let value = !self.flag(a, *lane);
                    self.set_flag(to, *lane, value);
                }
            }
            Instruction::Call { function, first, count, to } => self.call(function, first, count, to, lanes),
            Instruction::CallLists { function, first, count, to } => {
                self.call_lists(function, first, count, to, lanes);
            }
            Instruction::Place { table, from, to } => {
                self.set(to, lanes, |pass, lane| Some(moved(pass.parts, table, pass.operand(from).at(lane))));
            }
            Instruction::CopyNumber { from, to } => {
                self.set(to, lanes, |pass, lane| Some(pass.operand(from).at(lane)));
            }
            Instruction::CopyFlag { from, to } => {
                for lane in lanes.iter() {
                    let value = self.flag(from, *lane);
                    self.set_flag(to, *lane, value);
                }
            }
            Instruction::CopyMark { from, to } => {
                for lane in lanes.iter() {
                    let value = self.mark(from, *lane);
                    let column = self.scratch.marks.get_mut(to.0 as usize);
                    if let Some(slot) = column.and_then(|column| column.get_mut(*lane as usize)) {
                        *slot = value;
                    }
                }
            }
            Instruction::Judge { low: Some(low), high: Some(high), .. } => {
                lanes.retain(|lane| self.operand(low).at(*lane) <= self.operand(high).at(*lane));
            }
            Instruction::Judge { .. } => {}
        }
    }
}
