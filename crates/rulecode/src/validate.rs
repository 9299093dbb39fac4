//! Validates the parts of a program: nothing it names is missing, and no block leads back.

use alloc::vec::Vec;
use core::fmt;

use crate::program::{AnswerOf, Exit, Instruction, Mark, NO_TEXT, Number, Parts, Program, Slot};

/// What a program names and does not have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Invalid {
    /// A register.
    Register,
    /// An entry of a table: a function, a list, an operand, a text, a place, an answer.
    Entry,
    /// A block, or an end of a block; or a block leads back.
    Block,
    /// A function of the catalogue is called with another number of values.
    Count,
}

impl fmt::Display for Invalid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Register => "the program names a register it does not have; load the rule anew",
            Self::Entry => "the program names an entry of a table it does not have; load the rule anew",
            Self::Block => "the program leads to a block it does not have, or back; load the rule anew",
            Self::Count => "the program calls a formula with another number of values; load the rule anew",
        })
    }
}

impl core::error::Error for Invalid {}

impl Program {
    /// A program of these parts.
    ///
    /// # Errors
    /// [`Invalid`]: what the parts name and do not have.
    pub fn new(parts: Parts) -> Result<Self, Invalid> {
        let has = Has(&parts);
        has.sizes()?;
        parts.operands.iter().try_for_each(|operand| has.number(*operand))?;
        parts.lists.iter().try_for_each(|(first, count)| has.operands(*first, *count as usize))?;
        parts.instructions.iter().try_for_each(|instruction| has.instruction(*instruction))?;
        parts.answers.iter().try_for_each(|answer| has.answer(answer))?;
        has.blocks()?;
        Ok(Self { parts })
    }
}

fn when(fine: bool, otherwise: Invalid) -> Result<(), Invalid> {
    if fine { Ok(()) } else { Err(otherwise) }
}

struct Has<'p>(&'p Parts);

impl Has<'_> {
    fn sizes(&self) -> Result<(), Invalid> {
        let parts = self.0;
        when(parts.inputs.len() <= parts.numbers.len(), Invalid::Register)?;
        when(parts.instructions.len() == parts.places.len(), Invalid::Block)?;
        let entries = parts.texts.len().max(parts.makes.len());
        let marked = |mark: &u32| *mark == NO_TEXT || (*mark as usize) < entries;
        when(parts.marks.iter().all(marked), Invalid::Entry)
    }

    fn number(&self, number: Number) -> Result<(), Invalid> {
        when((number.0 as usize) < self.0.numbers.len(), Invalid::Register)
    }

    fn numbers<const N: usize>(&self, numbers: [Number; N]) -> Result<(), Invalid> {
        numbers.into_iter().try_for_each(|number| self.number(number))
    }

    /// Inputs and constants are read only.
    fn flags<const N: usize>(&self, flags: [crate::program::Flag; N]) -> Result<(), Invalid> {
        when(flags.iter().all(|flag| (flag.0 as usize) < self.0.flags.len()), Invalid::Register)
    }

    fn mark(&self, mark: Mark) -> Result<(), Invalid> {
        when((mark.0 as usize) < self.0.marks.len(), Invalid::Register)
    }

    fn operands(&self, first: u32, count: usize) -> Result<(), Invalid> {
        let end = (first as usize).checked_add(count);
        when(end.is_some_and(|end| end <= self.0.operands.len()), Invalid::Entry)
    }

    fn call(&self, function: u16, count: u16, lists: bool) -> Result<(), Invalid> {
        let Some(function) = self.0.functions.get(function as usize) else { return Err(Invalid::Entry) };
        when(function.takes_lists() == lists, Invalid::Entry)?;
        when(function.parameters.len() == count as usize, Invalid::Count)
    }

    fn instruction(&self, instruction: Instruction) -> Result<(), Invalid> {
        match instruction {
            Instruction::Arithmetic { a, b, to, .. } => self.numbers([a, b, to]),
            Instruction::Negate { a, to } => self.numbers([a, to]),
            Instruction::Compare { a, b, to, .. } | Instruction::SameWord { a, b, to, .. } => {
                self.numbers([a, b])?;
                self.flags([to])
            }
            Instruction::SameFlag { a, b, to, .. } => self.flags([a, b, to]),
            Instruction::Not { a, to } => self.flags([a, to]),
            Instruction::Call { function, first, count, to } => {
                self.call(function, count, false)?;
                self.operands(first, count as usize)?;
                self.number(to)
            }
            Instruction::CallLists { function, first, count, to } => {
                self.call(function, count, true)?;
                let end = (first as usize).checked_add(count as usize);
                when(end.is_some_and(|end| end <= self.0.lists.len()), Invalid::Entry)?;
                self.number(to)
            }
            Instruction::Place { table, from, to } => {
                when((table as usize) < self.0.tables.len(), Invalid::Entry)?;
                self.numbers([from, to])
            }
            Instruction::CopyNumber { from, to } => self.numbers([from, to]),
            Instruction::CopyFlag { from, to } => self.flags([from, to]),
            Instruction::CopyMark { from, to } => {
                self.mark(from)?;
                self.mark(to)
            }
            Instruction::Judge { name, value, low, high } => {
                self.mark(name)?;
                self.number(value)?;
                low.into_iter().chain(high).try_for_each(|limit| self.number(limit))
            }
        }
    }

    fn answer(&self, answer: &AnswerOf) -> Result<(), Invalid> {
        match answer {
            AnswerOf::NoVerdict(why) => self.mark(*why),
            AnswerOf::Judgements(slots) => {
                when(!slots.is_empty(), Invalid::Entry)?;
                slots.iter().try_for_each(|slot| self.slot(slot))
            }
        }
    }

    fn slot(&self, slot: &Slot) -> Result<(), Invalid> {
        let Slot { name, value, low, high, texts, made } = *slot;
        self.number(value)?;
        low.into_iter().chain(high).try_for_each(|limit| self.number(limit))?;
        texts.into_iter().chain([name, made]).try_for_each(|mark| self.mark(mark))
    }

    fn blocks(&self) -> Result<(), Invalid> {
        let blocks = &self.0.blocks;
        let ends: Vec<u32> = blocks.iter().map(|(end, _)| *end).collect();
        when(ends.is_sorted(), Invalid::Block)?;
        let last = ends.last().copied().ok_or(Invalid::Block)?;
        when(last as usize == self.0.instructions.len(), Invalid::Block)?;
        for (index, (_, exit)) in blocks.iter().enumerate() {
            let ahead = |block: crate::program::Block| {
                let to = block.0 as usize;
                when(to > index && to < blocks.len(), Invalid::Block)
            };
            match *exit {
                Exit::Go(to) => ahead(to)?,
                Exit::Branch { on, yes, no } => {
                    self.flags([on])?;
                    ahead(yes)?;
                    ahead(no)?;
                }
                Exit::Answer(answer) => when((answer as usize) < self.0.answers.len(), Invalid::Entry)?,
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
