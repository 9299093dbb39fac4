//! Parts that name something they do not have are refused; the program they were made from is not.
use super::*;
use crate::fault::At;
use crate::program::{Arithmetic, Block, Flag, Input, Made, Text};
use alloc::vec;

/// Judges twice the one input, unless it is zero or below.
fn parts() -> Parts {
    let function = trade::catalogue::find("abs").next().unwrap();
    let text = |text: &str| Text { text: text.into(), unit: None, source: None, unit_of_item: None };
    let (x, two, twice) = (Number(0), Number(1), Number(2));
    let slot =
        Slot { name: Mark(0), value: twice, low: Some(two), high: None, texts: [Mark(0); 5], made: Mark(0) };
    let instructions = vec![
        Instruction::Compare { operator: crate::program::Comparison::Greater, a: x, b: two, to: Flag(0) },
        Instruction::Arithmetic { operator: Arithmetic::Multiply, a: x, b: two, to: twice, assigns: false },
        Instruction::Call { function: 0, first: 0, count: 1, to: twice },
    ];
    Parts {
        inputs: vec![Input { name: "x".into(), line: 1, words: 0 }],
        numbers: vec![0.0, 2.0, 0.0],
        flags: vec![false],
        marks: vec![0],
        functions: vec![function],
        operands: vec![twice],
        texts: vec![text("x")],
        makes: vec![Made { at: At::default(), source: None }],
        answers: vec![AnswerOf::NoVerdict(Mark(0)), AnswerOf::Judgements(vec![slot])],
        places: vec![At::default(); instructions.len()],
        instructions,
        blocks: vec![
            (1, Exit::Branch { on: Flag(0), yes: Block(1), no: Block(2) }),
            (3, Exit::Answer(1)),
            (3, Exit::Answer(0)),
        ],
        ..Parts::default()
    }
}

fn refused(change: impl FnOnce(&mut Parts)) -> Option<Invalid> {
    let mut changed = parts();
    change(&mut changed);
    Program::new(changed).err()
}

#[test]
fn what_is_missing_is_found() {
    assert_eq!(refused(|_| {}), None);
    assert_eq!(refused(|parts| parts.numbers.truncate(2)), Some(Invalid::Register));
    assert_eq!(refused(|parts| parts.flags.clear()), Some(Invalid::Register));
    assert_eq!(refused(|parts| parts.marks.clear()), Some(Invalid::Register));
    assert_eq!(refused(|parts| parts.marks = vec![7]), Some(Invalid::Entry));
    assert_eq!(refused(|parts| parts.functions.clear()), Some(Invalid::Entry));
    assert_eq!(refused(|parts| parts.operands.clear()), Some(Invalid::Entry));
    assert_eq!(refused(|parts| parts.answers.truncate(1)), Some(Invalid::Entry));
    assert_eq!(refused(|parts| parts.answers.push(AnswerOf::Judgements(vec![]))), Some(Invalid::Entry));
    assert_eq!(refused(|parts| parts.lists.push((1, 1))), Some(Invalid::Entry));
    assert_eq!(refused(|parts| parts.places.truncate(1)), Some(Invalid::Block));
}

#[test]
fn a_program_ends_whatever_its_blocks_say() {
    let exit = |to: Exit| refused(move |parts| parts.blocks[1].1 = to);
    assert_eq!(exit(Exit::Go(Block(2))), None);
    // To itself, back, and beyond the end.
    assert_eq!(exit(Exit::Go(Block(1))), Some(Invalid::Block));
    assert_eq!(exit(Exit::Go(Block(0))), Some(Invalid::Block));
    assert_eq!(exit(Exit::Go(Block(3))), Some(Invalid::Block));
    assert_eq!(refused(|parts| parts.blocks.clear()), Some(Invalid::Block));
    assert_eq!(refused(|parts| parts.blocks[2].0 = 4), Some(Invalid::Block));
    assert_eq!(refused(|parts| parts.blocks[1].0 = 0), Some(Invalid::Block));
}

#[test]
fn a_call_with_another_number_of_values_is_found() {
    let call = |function, count| {
        refused(move |parts| {
            parts.operands = vec![Number(0); 9];
            parts.instructions[2] = Instruction::Call { function, first: 0, count, to: Number(2) };
        })
    };
    assert_eq!((call(0, 1), call(0, 2), call(1, 1)), (None, Some(Invalid::Count), Some(Invalid::Entry)));
}
