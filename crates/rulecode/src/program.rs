//! What a program consists of. Evaluates nothing and validates nothing.

use alloc::sync::Arc;
use alloc::vec::Vec;

use judge::rule::{Source, SourcePart};
use quantity::Unit;
use trade::catalogue::Function;

use crate::fault::At;

/// A register that holds a number, or the place of a word in its list (NaN if the word is not there).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Number(pub(crate) u16);

/// A register that holds yes or no.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Flag(pub(crate) u16);

/// A register that holds an index into the texts, or into the places where judgements are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mark(pub(crate) u16);

/// A block of instructions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Block(pub(crate) u16);

/// An operator from two numbers to a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arithmetic {
    /// `+`
    Add,
    /// `-`
    Subtract,
    /// `*`
    Multiply,
    /// `/`
    Divide,
    /// `%`
    Remainder,
    /// `**`
    Power,
}

impl Arithmetic {
    /// All of them, by their signs.
    pub const NAMED: [(&'static str, Self); 6] = [
        ("+", Self::Add),
        ("-", Self::Subtract),
        ("*", Self::Multiply),
        ("/", Self::Divide),
        ("%", Self::Remainder),
        ("**", Self::Power),
    ];

    pub(crate) fn of(self, a: f64, b: f64) -> f64 {
        match self {
            Self::Add => a + b,
            Self::Subtract => a - b,
            Self::Multiply => a * b,
            Self::Divide => a / b,
            Self::Remainder => libm::fmod(a, b),
            Self::Power => libm::pow(a, b),
        }
    }

    pub(crate) fn sign(self) -> &'static str {
        Self::NAMED.iter().find(|(_, operator)| *operator == self).map_or("", |(sign, _)| sign)
    }
}

/// A comparison of two numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comparison {
    /// `<`
    Less,
    /// `<=`
    AtMost,
    /// `>`
    Greater,
    /// `>=`
    AtLeast,
}

impl Comparison {
    /// All of them, by their signs.
    pub const NAMED: [(&'static str, Self); 4] =
        [("<", Self::Less), ("<=", Self::AtMost), (">", Self::Greater), (">=", Self::AtLeast)];

    pub(crate) fn of(self, a: f64, b: f64) -> bool {
        match self {
            Self::Less => a < b,
            Self::AtMost => a <= b,
            Self::Greater => a > b,
            Self::AtLeast => a >= b,
        }
    }
}

/// One instruction. Fields named `to` are written, all others read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "the operands of an operator need no words")]
pub enum Instruction {
    /// Two numbers make one; an error if it is not finite. `assigns`: written `a += b`.
    Arithmetic { operator: Arithmetic, a: Number, b: Number, to: Number, assigns: bool },
    /// The number with the other sign.
    Negate { a: Number, to: Number },
    /// Compares two numbers and records the outcome.
    Compare { operator: Comparison, a: Number, b: Number, to: Flag },
    /// Whether two yes/no are alike (or unlike, with `differ`); recorded.
    SameFlag { a: Flag, b: Flag, differ: bool, to: Flag },
    /// Whether two words of one list are alike (or unlike); recorded.
    SameWord { a: Number, b: Number, differ: bool, to: Flag },
    /// The other of yes and no.
    Not { a: Flag, to: Flag },
    /// Calls a function of the catalogue with `count` numbers of the pool of operands, beginning at `first`.
    Call { function: u16, first: u32, count: u16, to: Number },
    /// Calls one that takes lists, with `count` lists of the table of lists, beginning at `first`.
    CallLists { function: u16, first: u32, count: u16, to: Number },
    /// The place of a word in another list.
    Place { table: u16, from: Number, to: Number },
    /// Copies a number.
    CopyNumber { from: Number, to: Number },
    /// Copies a yes/no.
    CopyFlag { from: Flag, to: Flag },
    /// Copies an index.
    CopyMark { from: Mark, to: Mark },
    /// Validates the limits of a judgement where it is made.
    Judge { name: Mark, value: Number, low: Option<Number>, high: Option<Number> },
}

/// What follows a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Another block.
    Go(Block),
    /// One of two blocks.
    Branch {
        /// What decides.
        on: Flag,
        /// The block if yes.
        yes: Block,
        /// The block if no.
        no: Block,
    },
    /// The end, with this answer of the table.
    Answer(u16),
}

/// A judgement in registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slot {
    /// What is judged.
    pub name: Mark,
    /// The value.
    pub value: Number,
    /// The low limit; NaN in the register: none.
    pub low: Option<Number>,
    /// The high limit; NaN in the register: none.
    pub high: Option<Number>,
    /// Low, high and ok advice, unit, source.
    pub texts: [Mark; 5],
    /// Where it was made.
    pub made: Mark,
}

/// An answer in registers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AnswerOf {
    /// One judgement or more.
    Judgements(Vec<Slot>),
    /// No verdict, and why.
    NoVerdict(Mark),
}

/// A text of the rule with all it can mean, found once.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    /// The text.
    pub text: Arc<str>,
    /// As a unit.
    pub unit: Option<Unit>,
    /// As a source.
    pub source: Option<Source>,
    /// The unit of the reading or nameplate item of this name.
    pub unit_of_item: Option<Unit>,
}

/// A place where a judgement is made.
#[derive(Clone, Debug, PartialEq)]
pub struct Made {
    /// Where.
    pub at: At,
    /// The source of its limits and its parts, if they come from nameplate items and limits of the rule.
    pub source: Option<(Source, Arc<[SourcePart]>)>,
}

/// An input: a reading or a nameplate value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// Its name.
    pub name: Arc<str>,
    /// The line that declares it.
    pub line: u32,
    /// The number of words of a choice; 0 for a number.
    pub words: u32,
}

/// The index that denotes no text.
pub const NO_TEXT: u32 = u32::MAX;

/// All parts of a program, before they are validated.
#[derive(Clone, Debug, Default)]
pub struct Parts {
    /// Inputs: the first registers of numbers hold them.
    pub inputs: Vec<Input>,
    /// The registers of numbers as they stand at the start: constants in theirs.
    pub numbers: Vec<f64>,
    /// The registers of yes/no as they stand at the start.
    pub flags: Vec<bool>,
    /// The registers of indices as they stand at the start.
    pub marks: Vec<u32>,
    /// The functions of the catalogue that are called.
    pub functions: Vec<&'static Function>,
    /// The pool of operands.
    pub operands: Vec<Number>,
    /// Lists: where each begins in the pool, and how many numbers it has.
    pub lists: Vec<(u32, u32)>,
    /// The place in another list for each word of a list.
    pub tables: Vec<Vec<f64>>,
    /// The texts.
    pub texts: Vec<Text>,
    /// The places where judgements are made.
    pub makes: Vec<Made>,
    /// The answers.
    pub answers: Vec<AnswerOf>,
    /// The instructions, block after block.
    pub instructions: Vec<Instruction>,
    /// Where each instruction stands in the rule.
    pub places: Vec<At>,
    /// The end of each block in the instructions, and what follows it.
    pub blocks: Vec<(u32, Exit)>,
}

/// A validated program.
#[derive(Clone, Debug)]
pub struct Program {
    pub(crate) parts: Parts,
}

impl Program {
    /// The number of its instructions.
    #[must_use]
    pub fn instructions(&self) -> usize {
        self.parts.instructions.len()
    }
}
