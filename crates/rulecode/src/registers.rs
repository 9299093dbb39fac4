//! Gives registers of numbers a second use once nothing reads them any more, so that columns stay in fast memory.
//! Blocks lead forwards only, so a register is free after the last instruction in the text that names it.

use alloc::vec::Vec;

use crate::program::{AnswerOf, Exit, Instruction, Number, Parts};

/// From where to where a register is used, as indices of instructions.
#[derive(Clone, Copy)]
struct Life {
    begins: usize,
    ends: usize,
    is_written: bool,
}

/// Renames the registers of numbers: inputs, constants, then as few others as do.
pub(crate) fn reuse(parts: &mut Parts) {
    let lives = lives(parts);
    let inputs = parts.inputs.len();
    let mut new: Vec<u16> = alloc::vec![0; lives.len()];
    let mut numbers: Vec<f64> = Vec::new();
    let kept = |index: usize, life: &Life| index < inputs || !life.is_written;
    for (index, life) in lives.iter().enumerate().filter(|(index, life)| kept(*index, life)) {
        if let Some(slot) = new.get_mut(index) {
            *slot = u16::try_from(numbers.len()).unwrap_or(u16::MAX);
        }
        numbers.push(parts.numbers.get(index).copied().unwrap_or(0.0));
        debug_assert!(index >= inputs || !life.is_written);
    }
    let mut order: Vec<usize> = lives
        .iter()
        .enumerate()
        .filter(|(index, life)| !kept(*index, life))
        .map(|(index, _)| index)
        .collect();
    order.sort_by_key(|index| lives.get(*index).map_or(0, |life| life.begins));
    // Registers in use, with the end of their use.
    let mut used: Vec<(usize, u16)> = Vec::new();
    for index in order {
        let Some(life) = lives.get(index) else { continue };
        // An instruction never writes into what it reads, unless it was written so.
        let free = used.iter_mut().find(|(ends, _)| *ends < life.begins);
        let register = match free {
            Some(found) => {
                found.0 = life.ends;
                found.1
            }
            None => {
                let register = u16::try_from(numbers.len()).unwrap_or(u16::MAX);
                numbers.push(0.0);
                used.push((life.ends, register));
                register
            }
        };
        if let Some(slot) = new.get_mut(index) {
            *slot = register;
        }
    }
    parts.numbers = numbers;
    rename(parts, |number| number.0 = new.get(number.0 as usize).copied().unwrap_or(u16::MAX));
}

fn lives(parts: &mut Parts) -> Vec<Life> {
    let unused = Life { begins: usize::MAX, ends: 0, is_written: false };
    let mut lives = alloc::vec![unused; parts.numbers.len()];
    let mut meet = |number: Number, at: usize, writes: bool| {
        if let Some(life) = lives.get_mut(number.0 as usize) {
            life.begins = life.begins.min(at);
            life.ends = life.ends.max(at);
            life.is_written |= writes;
        }
    };
    let Parts { instructions, operands, lists, blocks, answers, .. } = parts;
    for (at, instruction) in instructions.iter_mut().enumerate() {
        each(instruction, &mut |number, writes| meet(*number, at, writes));
        let mut read = |first: u32, count: usize| {
            let pool = operands.get(first as usize..).unwrap_or_default();
            pool.iter().take(count).for_each(|operand| meet(*operand, at, false));
        };
        match *instruction {
            Instruction::Call { first, count, .. } => read(first, count.into()),
            Instruction::CallLists { first, count, .. } => {
                let lists = lists.get(first as usize..).unwrap_or_default();
                lists.iter().take(count.into()).for_each(|(first, count)| read(*first, *count as usize));
            }
            _ => {}
        }
    }
    for (end, exit) in blocks.iter() {
        let Exit::Answer(answer) = exit else { continue };
        if let Some(AnswerOf::Judgements(slots)) = answers.get(*answer as usize) {
            for slot in slots {
                [Some(slot.value), slot.low, slot.high]
                    .into_iter()
                    .flatten()
                    .for_each(|number| meet(number, *end as usize, false));
            }
        }
    }
    lives
}

fn rename(parts: &mut Parts, mut to: impl FnMut(&mut Number)) {
    for instruction in &mut parts.instructions {
        each(instruction, &mut |number, _| to(number));
    }
    parts.operands.iter_mut().for_each(&mut to);
    for answer in &mut parts.answers {
        let AnswerOf::Judgements(slots) = answer else { continue };
        for slot in slots {
            [Some(&mut slot.value), slot.low.as_mut(), slot.high.as_mut()]
                .into_iter()
                .flatten()
                .for_each(&mut to);
        }
    }
}

/// Every register of numbers that an instruction names itself, and whether it is written.
fn each(instruction: &mut Instruction, visit: &mut impl FnMut(&mut Number, bool)) {
    match instruction {
        Instruction::Arithmetic { a, b, to, .. } => {
            visit(a, false);
            visit(b, false);
            visit(to, true);
        }
        Instruction::Compare { a, b, .. } | Instruction::SameWord { a, b, .. } => {
            visit(a, false);
            visit(b, false);
        }
        Instruction::Negate { a: from, to }
        | Instruction::Place { from, to, .. }
        | Instruction::CopyNumber { from, to } => {
            visit(from, false);
            visit(to, true);
        }
        Instruction::Call { to, .. } | Instruction::CallLists { to, .. } => visit(to, true),
        Instruction::Judge { value, low, high, .. } => {
            visit(value, false);
            [low, high].into_iter().flatten().for_each(|limit| visit(limit, false));
        }
        Instruction::SameFlag { .. }
        | Instruction::Not { .. }
        | Instruction::CopyFlag { .. }
        | Instruction::CopyMark { .. } => {}
    }
}
