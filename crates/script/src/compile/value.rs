//! Values while a rule is compiled: which registers hold them. Emits nothing.

use alloc::rc::Rc;
use alloc::vec::Vec;

use rhai::ImmutableString;
use rulecode::program::{AnswerOf, Flag, Mark, Number, Slot};

use crate::analysis::Record;

/// A value in registers.
#[derive(Clone)]
pub(super) enum Value {
    Number(Number),
    Flag(Flag),
    /// A text, with its content if it is known.
    Text(Mark, Option<ImmutableString>),
    /// The place of a word in its list.
    Word(Number, Rc<[ImmutableString]>),
    Record(Record),
    List(Vec<Number>),
    Judgement(Slot),
    Answer(Rc<Tree>),
    /// Nothing, or something that no use accepts.
    Nothing,
}

/// An answer that earlier branches have decided.
pub(super) enum Tree {
    Leaf(AnswerOf),
    /// The first if the register says yes, the second otherwise.
    Either(Flag, Rc<Self>, Rc<Self>),
}

impl Value {
    /// As an answer of the rule.
    pub(super) fn answer(&self) -> Option<Rc<Tree>> {
        match self {
            Self::Judgement(slot) => Some(Rc::new(Tree::Leaf(AnswerOf::Judgements(alloc::vec![*slot])))),
            Self::Answer(tree) => Some(Rc::clone(tree)),
            _ => None,
        }
    }
}
