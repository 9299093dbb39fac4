//! Evaluates a program for one set of inputs.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use judge::rule::Outcome;

use crate::answer::{Registers, answer};
use crate::clock::{Clock, Limits};
use crate::fault::{At, Fault, call_failed, no_such_function, word_kind};
use crate::path::Path;
use crate::program::{Exit, Flag, Instruction, Mark, Number, Parts, Program};

impl Program {
    /// Judges one set of inputs, in their order.
    ///
    /// # Errors
    /// [`Fault`]: another number of inputs, one that is not finite; an argument out of the range of a formula, a
    /// result that is not finite, limits that cross, time that is spent.
    pub fn one(&self, values: &[f64], limits: &Limits) -> Result<Outcome, Fault> {
        let parts = &self.parts;
        validate(parts, values)?;
        let mut run = Run::new(parts, values, limits);
        let end = run.all(&mut ())?;
        Ok(Outcome { answer: answer(parts, end, &run.file)?, path: run.path.number() })
    }
}

/// Refuses another number of inputs, and inputs that are not finite.
fn validate(parts: &Parts, values: &[f64]) -> Result<(), Fault> {
    let inputs = &parts.inputs;
    if values.len() != inputs.len() {
        let text = format!("{} values were given for {} inputs", values.len(), inputs.len());
        return Err(Fault::new(At::default(), text));
    }
    match values.iter().zip(inputs).find(|(value, _)| !value.is_finite()) {
        Some((value, input)) => {
            let at = At { line: input.line, column: 1 };
            Err(Fault::new(at, format!("{} is {value}, not a finite number", input.name)))
        }
        None => Ok(()),
    }
}

/// The place of a word that a nameplate value denotes; NaN beyond the list.
pub(crate) fn place(value: f64, words: u32) -> f64 {
    let place = libm::trunc(value.max(0.0));
    if place < f64::from(words) { place } else { f64::NAN }
}

/// The registers.
pub(crate) struct File {
    numbers: Vec<f64>,
    flags: Vec<bool>,
    marks: Vec<u32>,
}

impl Registers for File {
    fn number(&self, number: Number) -> f64 {
        self.numbers.get(number.0 as usize).copied().unwrap_or(f64::NAN)
    }

    fn mark(&self, mark: Mark) -> u32 {
        self.marks.get(mark.0 as usize).copied().unwrap_or(crate::program::NO_TEXT)
    }
}

impl File {
    fn flag(&self, flag: Flag) -> bool {
        self.flags.get(flag.0 as usize).copied().unwrap_or(false)
    }

    fn set(&mut self, to: Number, value: f64) {
        if let Some(slot) = self.numbers.get_mut(to.0 as usize) {
            *slot = value;
        }
    }

    fn set_flag(&mut self, to: Flag, value: bool) {
        if let Some(slot) = self.flags.get_mut(to.0 as usize) {
            *slot = value;
        }
    }
}

/// Who looks on while a program runs.
pub(crate) trait Watch {
    /// The instruction at this index has run.
    fn ran(&mut self, _index: usize, _file: &File) {}
    /// A block ends here with a branch.
    fn branches(&mut self, _end: usize, _yes: bool) {}
}

impl Watch for () {}

struct Run<'p> {
    parts: &'p Parts,
    file: File,
    path: Path,
    clock: Clock,
    /// Arguments of a call.
    arguments: Vec<f64>,
}

impl<'p> Run<'p> {
    fn new(parts: &'p Parts, values: &[f64], limits: &Limits) -> Self {
        let mut numbers = parts.numbers.clone();
        for ((slot, value), input) in numbers.iter_mut().zip(values).zip(&parts.inputs) {
            *slot = if input.words == 0 { *value } else { place(*value, input.words) };
        }
        Self {
            parts,
            file: File { numbers, flags: parts.flags.clone(), marks: parts.marks.clone() },
            path: Path::START,
            clock: Clock::new(limits, 1),
            arguments: Vec::new(),
        }
    }

    /// Runs block after block; the number of the answer.
    fn all(&mut self, watch: &mut impl Watch) -> Result<u16, Fault> {
        let parts = self.parts;
        let mut block = 0_usize;
        let mut from = 0_usize;
        loop {
            let Some(&(end, exit)) = parts.blocks.get(block) else {
                return Err(Fault::new(At::default(), "the program has no end; load the rule anew"));
            };
            let end = end as usize;
            let instructions = parts.instructions.get(from..end).unwrap_or_default();
            for (index, instruction) in (from..).zip(instructions) {
                self.step(*instruction, index)?;
                watch.ran(index, &self.file);
            }
            let next = match exit {
                Exit::Answer(answer) => return Ok(answer),
                Exit::Go(to) => to,
                Exit::Branch { on, yes, no } => {
                    let on = self.file.flag(on);
                    watch.branches(end, on);
                    if on { yes } else { no }
                }
            };
            block = next.0 as usize;
            // Blocks lead forwards only, so this is no underflow, and the loop ends.
            from = parts.blocks.get(block.wrapping_sub(1)).map_or(0, |(end, _)| *end as usize);
        }
    }

    fn step(&mut self, instruction: Instruction, index: usize) -> Result<(), Fault> {
        let at = || self.parts.places.get(index).copied().unwrap_or_default();
        let file = &mut self.file;
        match instruction {
            Instruction::Arithmetic { operator, a, b, to, assigns } => {
                let (a, b) = (file.number(a), file.number(b));
                if !assigns {
                    self.clock.tick(at())?;
                }
                let result = operator.of(a, b);
                if !result.is_finite() {
                    let sign = if assigns { "=" } else { "" };
                    let text = format!("{a} {}{sign} {b} is not a finite number", operator.sign());
                    return Err(Fault::new(at(), text));
                }
                file.set(to, result);
            }
            Instruction::Negate { a, to } => file.set(to, -file.number(a)),
            Instruction::Compare { operator, a, b, to } => {
                let outcome = operator.of(file.number(a), file.number(b));
                self.path.record(u32::from(outcome));
                self.clock.tick(at())?;
                file.set_flag(to, outcome);
            }
            Instruction::SameFlag { a, b, differ, to } => {
                let outcome = (file.flag(a) == file.flag(b)) != differ;
                self.path.record(u32::from(outcome));
                self.clock.tick(at())?;
                file.set_flag(to, outcome);
            }
            Instruction::SameWord { a, b, differ, to } => {
                let (a, b) = (file.number(a), file.number(b));
                let Some(outcome) = same_word(a, b, differ) else {
                    let sign = if differ { "!=" } else { "==" };
                    let text = format!("{sign} cannot work on {} and {}", word_kind(a), word_kind(b));
                    return Err(Fault::new(at(), text));
                };
                self.path.record(u32::from(outcome));
                self.clock.tick(at())?;
                file.set_flag(to, outcome);
            }
            Instruction::Not { a, to } => file.set_flag(to, !file.flag(a)),
            Instruction::Call { function, first, count, to } => {
                return self.call(function, first, count, to, at());
            }
            Instruction::CallLists { function, first, count, to } => {
                return self.call_lists(function, first, count, to, at());
            }
            Instruction::Place { table, from, to } => {
                file.set(to, moved(self.parts, table, file.number(from)));
            }
            Instruction::CopyNumber { from, to } => file.set(to, file.number(from)),
            Instruction::CopyFlag { from, to } => file.set_flag(to, file.flag(from)),
            Instruction::CopyMark { from, to } => {
                let mark = file.mark(from);
                if let Some(slot) = file.marks.get_mut(to.0 as usize) {
                    *slot = mark;
                }
            }
            Instruction::Judge { name, low, high, .. } => {
                self.clock.tick(at())?;
                return self.uncrossed(name, low, high, at());
            }
        }
        Ok(())
    }

    /// Refuses a low limit above the high limit.
    fn uncrossed(&self, name: Mark, low: Option<Number>, high: Option<Number>, at: At) -> Result<(), Fault> {
        let (Some(low), Some(high)) = (low, high) else { return Ok(()) };
        let (low, high) = (self.file.number(low), self.file.number(high));
        if low > high {
            return Err(Fault::new(at, limits_cross(self.parts, self.file.mark(name), low, high)));
        }
        Ok(())
    }

    fn call(&mut self, function: u16, first: u32, count: u16, to: Number, at: At) -> Result<(), Fault> {
        let parts = self.parts;
        let Some(called) = parts.functions.get(function as usize) else { return Ok(()) };
        self.arguments.clear();
        let operands = parts.operands.get(first as usize..).unwrap_or_default();
        self.arguments.extend(operands.iter().take(count.into()).map(|operand| self.file.number(*operand)));
        let arguments = &self.arguments;
        // Numbers are finite; only a word can be missing.
        if arguments.iter().any(|argument| argument.is_nan()) {
            let missing = |index: usize| arguments.get(index).is_some_and(|argument| argument.is_nan());
            return Err(Fault::new(at, no_such_function(called, missing)));
        }
        let result = called.call(arguments);
        let result = result.map_err(|error| Fault::new(at, call_failed(called, arguments, &error)))?;
        self.called(called.is_discrete, result, to, at)
    }

    fn call_lists(&mut self, function: u16, first: u32, count: u16, to: Number, at: At) -> Result<(), Fault> {
        let parts = self.parts;
        let Some(called) = parts.functions.get(function as usize) else { return Ok(()) };
        let lists = parts.lists.get(first as usize..).unwrap_or_default();
        let values: Vec<Vec<f64>> = lists
            .iter()
            .take(count.into())
            .map(|(first, count)| {
                let operands = parts.operands.get(*first as usize..).unwrap_or_default();
                operands.iter().take(*count as usize).map(|operand| self.file.number(*operand)).collect()
            })
            .collect();
        let is_missing = |list: &Vec<f64>| list.iter().any(|value| value.is_nan());
        if values.iter().any(is_missing) {
            let missing = |index: usize| values.get(index).is_some_and(is_missing);
            return Err(Fault::new(at, no_such_function(called, missing)));
        }
        let slices: Vec<&[f64]> = values.iter().map(Vec::as_slice).collect();
        let result = called
            .call_lists(&slices)
            .map_err(|error| Fault::new(at, call_failed(called, &values.concat(), &error)))?;
        self.called(called.is_discrete, result, to, at)
    }

    fn called(&mut self, is_discrete: bool, result: f64, to: Number, at: At) -> Result<(), Fault> {
        if is_discrete {
            self.path.record_step(result);
        }
        self.clock.tick(at)?;
        self.file.set(to, result);
        Ok(())
    }
}

/// What is said of limits that cross.
fn limits_cross(parts: &Parts, name: u32, low: f64, high: f64) -> String {
    let name = parts.texts.get(name as usize).map_or("", |name| &*name.text);
    format!("{name}: the low limit {low} lies above the high limit {high}")
}

/// Whether two words are alike; `None` if one is missing.
#[allow(clippy::float_cmp, reason = "places in a list are whole numbers")]
pub(crate) fn same_word(a: f64, b: f64, differ: bool) -> Option<bool> {
    if a.is_nan() || b.is_nan() { None } else { Some((a == b) != differ) }
}

/// The place in another list; NaN if the word is missing.
pub(crate) fn moved(parts: &Parts, table: u16, from: f64) -> f64 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in a list")]
    let place = if from.is_nan() { usize::MAX } else { from as usize };
    let found = parts.tables.get(table as usize).and_then(|table| table.get(place));
    found.copied().unwrap_or(f64::NAN)
}
