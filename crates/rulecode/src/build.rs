//! Builds a program: hands out registers, collects instructions in blocks, and puts the blocks in an order in which
//! none leads back. Knows no rule language.

use alloc::collections::BTreeMap;
use alloc::vec::Vec;

use trade::catalogue::Function;

use crate::fault::At;
use crate::program::{
    AnswerOf, Block, Exit, Flag, Input, Instruction, Made, Mark, NO_TEXT, Number, Parts, Program, Text,
};
use crate::registers;
use crate::validate::Invalid;

/// The most instructions of a program; a shipped rule has 10 to 400.
pub const INSTRUCTIONS_MAX: usize = 8_000;
/// The most blocks of a program.
const BLOCKS_MAX: usize = 4_000;

/// The program is too long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLong;

#[derive(Default)]
struct Open {
    instructions: Vec<(Instruction, At)>,
    exit: Option<Exit>,
}

/// A program that is being built.
pub struct Builder {
    parts: Parts,
    constants: BTreeMap<u64, Number>,
    text_marks: BTreeMap<u32, Mark>,
    blocks: Vec<Open>,
    count: usize,
}

impl Builder {
    /// A program with these inputs, and its first block.
    #[must_use]
    pub fn new(inputs: Vec<Input>) -> (Self, Block) {
        let numbers = alloc::vec![0.0; inputs.len()];
        let parts = Parts {
            inputs,
            numbers,
            flags: alloc::vec![false, true],
            marks: alloc::vec![NO_TEXT],
            ..Parts::default()
        };
        let builder = Self {
            parts,
            constants: BTreeMap::new(),
            text_marks: BTreeMap::new(),
            blocks: alloc::vec![Open::default()],
            count: 0,
        };
        (builder, Block(0))
    }

    /// The register of an input.
    #[must_use]
    pub fn input(&self, index: usize) -> Number {
        Number(short(index))
    }

    /// The register of a constant.
    pub fn constant(&mut self, value: f64) -> Number {
        if let Some(known) = self.constants.get(&value.to_bits()) {
            return *known;
        }
        let number = self.number();
        if let Some(slot) = self.parts.numbers.get_mut(number.0 as usize) {
            *slot = value;
        }
        self.constants.insert(value.to_bits(), number);
        number
    }

    /// The register that always holds yes, or no.
    #[must_use]
    pub const fn always(&self, yes: bool) -> Flag {
        Flag(if yes { 1 } else { 0 })
    }

    /// The register that denotes no text.
    #[must_use]
    pub const fn no_text(&self) -> Mark {
        Mark(0)
    }

    /// A new register for a number.
    pub fn number(&mut self) -> Number {
        self.parts.numbers.push(0.0);
        Number(short(self.parts.numbers.len() - 1))
    }

    /// A new register for a yes/no, which stands at no.
    pub fn flag(&mut self) -> Flag {
        self.parts.flags.push(false);
        Flag(short(self.parts.flags.len() - 1))
    }

    /// A new register for an index.
    pub fn mark(&mut self) -> Mark {
        self.parts.marks.push(NO_TEXT);
        Mark(short(self.parts.marks.len() - 1))
    }

    /// The register that holds this index.
    fn always_mark(&mut self, index: usize) -> Mark {
        let index = u32::from(short(index));
        if let Some(known) = self.text_marks.get(&index) {
            return *known;
        }
        let mark = self.mark();
        if let Some(slot) = self.parts.marks.get_mut(mark.0 as usize) {
            *slot = index;
        }
        self.text_marks.insert(index, mark);
        mark
    }

    /// The register of a text.
    pub fn text(&mut self, text: &str, read: impl FnOnce() -> Text) -> Mark {
        let known = self.parts.texts.iter().position(|known| &*known.text == text);
        let index = known.unwrap_or_else(|| {
            self.parts.texts.push(read());
            self.parts.texts.len() - 1
        });
        self.always_mark(index)
    }

    /// The register of a place where judgements are made.
    pub fn made(&mut self, at: At, read: impl FnOnce() -> Made) -> Mark {
        let known = self.parts.makes.iter().position(|known| known.at == at);
        let index = known.unwrap_or_else(|| {
            self.parts.makes.push(read());
            self.parts.makes.len() - 1
        });
        self.always_mark(index)
    }

    /// A function of the catalogue.
    pub fn function(&mut self, function: &'static Function) -> u16 {
        let same = |known: &&Function| core::ptr::eq(*known, function);
        let known = self.parts.functions.iter().position(same);
        short(known.unwrap_or_else(|| {
            self.parts.functions.push(function);
            self.parts.functions.len() - 1
        }))
    }

    /// Operands in a row; where they begin.
    pub fn operands(&mut self, operands: &[Number]) -> u32 {
        let first = self.parts.operands.len();
        self.parts.operands.extend_from_slice(operands);
        u32::try_from(first).unwrap_or(u32::MAX)
    }

    /// Lists in a row; where they begin.
    pub fn lists(&mut self, lists: &[Vec<Number>]) -> u32 {
        let first = self.parts.lists.len();
        for list in lists {
            let begins = self.operands(list);
            self.parts.lists.push((begins, u32::try_from(list.len()).unwrap_or(u32::MAX)));
        }
        u32::try_from(first).unwrap_or(u32::MAX)
    }

    /// A table of places.
    pub fn table(&mut self, table: Vec<f64>) -> u16 {
        let same = |known: &Vec<f64>| {
            known.iter().map(|place| place.to_bits()).eq(table.iter().map(|place| place.to_bits()))
        };
        let known = self.parts.tables.iter().position(same);
        short(known.unwrap_or_else(|| {
            self.parts.tables.push(table);
            self.parts.tables.len() - 1
        }))
    }

    /// An answer.
    pub fn answer(&mut self, answer: AnswerOf) -> u16 {
        let known = self.parts.answers.iter().position(|known| *known == answer);
        short(known.unwrap_or_else(|| {
            self.parts.answers.push(answer);
            self.parts.answers.len() - 1
        }))
    }

    /// A new block.
    ///
    /// # Errors
    /// [`TooLong`].
    pub fn block(&mut self) -> Result<Block, TooLong> {
        if self.blocks.len() >= BLOCKS_MAX {
            return Err(TooLong);
        }
        self.blocks.push(Open::default());
        Ok(Block(short(self.blocks.len() - 1)))
    }

    /// Appends an instruction to a block.
    ///
    /// # Errors
    /// [`TooLong`].
    pub fn emit(&mut self, block: Block, at: At, instruction: Instruction) -> Result<(), TooLong> {
        // Registers and tables grow with the instructions; their numbers stay far below 65,535.
        if self.count >= INSTRUCTIONS_MAX {
            return Err(TooLong);
        }
        self.count += 1;
        if let Some(open) = self.blocks.get_mut(block.0 as usize) {
            open.instructions.push((instruction, at));
        }
        Ok(())
    }

    /// What follows a block.
    pub fn end(&mut self, block: Block, exit: Exit) {
        if let Some(open) = self.blocks.get_mut(block.0 as usize) {
            open.exit = Some(exit);
        }
    }

    /// The program.
    ///
    /// # Errors
    /// [`Invalid`], if the builder was used in a wrong way.
    pub fn finish(mut self) -> Result<Program, Invalid> {
        let order = self.order()?;
        let mut new: Vec<u16> = alloc::vec![u16::MAX; self.blocks.len()];
        for (index, old) in order.iter().enumerate() {
            if let Some(slot) = new.get_mut(*old) {
                *slot = short(index);
            }
        }
        let moved = |block: Block| Block(new.get(block.0 as usize).copied().unwrap_or(u16::MAX));
        for old in &order {
            let Some(open) = self.blocks.get_mut(*old) else { continue };
            for (instruction, at) in open.instructions.drain(..) {
                self.parts.instructions.push(instruction);
                self.parts.places.push(at);
            }
            let exit = match open.exit.ok_or(Invalid::Block)? {
                Exit::Go(to) => Exit::Go(moved(to)),
                Exit::Branch { on, yes, no } => Exit::Branch { on, yes: moved(yes), no: moved(no) },
                answer @ Exit::Answer(_) => answer,
            };
            let end = u32::try_from(self.parts.instructions.len()).unwrap_or(u32::MAX);
            self.parts.blocks.push((end, exit));
        }
        registers::reuse(&mut self.parts);
        Program::new(self.parts)
    }

    /// The blocks that are reached, each after all that lead to it: the reverse of the order in which a search
    /// in depth leaves them.
    fn order(&self) -> Result<Vec<usize>, Invalid> {
        let next = |block: usize, turn: usize| {
            let exit = self.blocks.get(block)?.exit?;
            match (exit, turn) {
                (Exit::Go(to), 0) => Some(to.0 as usize),
                (Exit::Branch { no, .. }, 0) => Some(no.0 as usize),
                (Exit::Branch { yes, .. }, 1) => Some(yes.0 as usize),
                _ => None,
            }
        };
        let mut seen = alloc::vec![false; self.blocks.len()];
        let mut left = Vec::new();
        let mut path: Vec<(usize, usize)> = alloc::vec![(0, 0)];
        while let Some((block, turn)) = path.last_mut() {
            if *turn == 0
                && let Some(seen) = seen.get_mut(*block)
            {
                *seen = true;
            }
            let to = next(*block, *turn);
            *turn += 1;
            match to {
                Some(to) if seen.get(to).is_none_or(|seen| !seen) => path.push((to, 0)),
                Some(_) => {}
                None => {
                    left.push(*block);
                    path.pop();
                }
            }
            if path.len() > self.blocks.len() {
                return Err(Invalid::Block);
            }
        }
        left.reverse();
        Ok(left)
    }
}

/// An index of a table that cannot reach 65,535 entries; the last one otherwise, which validation refuses.
fn short(index: usize) -> u16 {
    u16::try_from(index).unwrap_or(u16::MAX)
}
