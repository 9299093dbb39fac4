//! Compiles an analysed rule into a program of crate `rulecode`: own functions are written out where they are called,
//! names become registers, branches become blocks. Relies on `analysis`, which has proved names and types; what it
//! cannot compile all the same is refused with its place.
//!
//! The order of evaluation is that of rhai: a name as the first argument is read after the other arguments, and the
//! arguments of a chain (`.low(...)`) are evaluated before what they hang on.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::sync::Arc;
use alloc::vec::Vec;

use judge::rule::{Header, Source, SourcePart};
use quantity::Unit;
use rhai::{AST, ASTNode, Expr, ImmutableString, Position, Stmt};
use rulecode::Program;
use rulecode::build::{Builder, INSTRUCTIONS_MAX};
use rulecode::program::{Block, Exit, Input, Instruction, Mark, Text};

use crate::analysis::{Analysis, FunctionDef};
use crate::diagnostic::At;

mod calls;
mod expressions;
mod join;
mod statements;
mod value;

use value::Value;

/// What cannot be compiled, and where.
pub(crate) struct Refused {
    pub(crate) at: At,
    pub(crate) message: alloc::string::String,
}

type Step<T> = Result<T, Refused>;

/// One function while it is written out.
struct Frame {
    names: Vec<(ImmutableString, Value)>,
    /// Its result is the rule's answer.
    is_tail: bool,
    /// Where it returns, and with what; empty in a tail.
    returns: Vec<(Block, Value)>,
}

struct Compiler<'r> {
    header: &'r Header,
    functions: &'r [FunctionDef],
    sources: &'r BTreeMap<At, (Source, Arc<[SourcePart]>)>,
    /// Names that some statement changes.
    changed: BTreeSet<ImmutableString>,
    builder: Builder,
    frames: Vec<Frame>,
    /// The block that is being written; `None` after a return.
    now: Option<Block>,
    /// Where the innermost function being written out is called.
    place: Position,
}

/// The program of an analysed rule.
pub(crate) fn compile(ast: &AST, header: &Header, checked: &Analysis) -> Result<Program, Refused> {
    let words = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    let points = header.points.iter().map(|point| (point.name.as_str(), point.line, 0));
    let nameplate =
        header.nameplate.iter().map(|item| (item.name.as_str(), item.line, words(item.choices.len())));
    let inputs = points
        .chain(nameplate)
        .map(|(name, line, words)| Input { name: name.into(), line: u32::try_from(line).unwrap_or(0), words })
        .collect();
    let (builder, first) = Builder::new(inputs);
    let mut compiler = Compiler {
        header,
        functions: &checked.functions,
        sources: &checked.sources,
        changed: changed_names(ast),
        builder,
        frames: Vec::new(),
        now: Some(first),
        place: Position::NONE,
    };
    compiler.judge(checked.takes_limits)?;
    compiler
        .builder
        .finish()
        .map_err(|invalid| Refused { at: At::default(), message: alloc::format!("{invalid}") })
}

/// The names that a statement of the file changes.
fn changed_names(ast: &AST) -> BTreeSet<ImmutableString> {
    let mut changed = BTreeSet::new();
    ast.walk(&mut |path: &[ASTNode<'_>]| {
        if let Some(ASTNode::Stmt(Stmt::Assignment(assignment))) = path.last()
            && let Expr::Variable(variable, ..) = &assignment.1.lhs
        {
            changed.insert(variable.1.clone());
        }
        true
    });
    changed
}

/// No unit has a longer spelling.
const UNIT_BYTES_MAX: usize = 10;

/// A text with all it can mean.
fn meaning(header: &Header, text: &str) -> Text {
    let point = header.points.iter().find(|point| point.name == text).map(|point| point.display.unit);
    let item = || header.nameplate.iter().find(|item| item.name == text).map(|item| item.unit);
    Text {
        text: text.into(),
        // A refused unit costs a search for a near one; long texts are none.
        unit: if text.len() <= UNIT_BYTES_MAX { Unit::parse(text).ok() } else { None },
        source: Source::parse(text).ok(),
        unit_of_item: point.or_else(item),
    }
}

/// A position as programs keep it.
fn at(position: Position) -> rulecode::At {
    let short = |number: Option<usize>| u32::try_from(number.unwrap_or(0)).unwrap_or(0);
    rulecode::At { line: short(position.line()), column: short(position.position()) }
}

impl Compiler<'_> {
    fn refuse<T>(&self, at: Position, message: impl Into<alloc::string::String>) -> Step<T> {
        Err(Refused { at: At::from(at), message: message.into() })
    }

    fn too_long(&self, at: Position) -> Refused {
        let at = if self.place.is_none() { at } else { self.place };
        let message = alloc::format!(
            "the rule is too long with its functions written out where they are called: more than {INSTRUCTIONS_MAX} \
             steps; call them less often"
        );
        Refused { at: At::from(at), message }
    }

    /// Appends an instruction; code that is never reached is not kept.
    fn emit(&mut self, position: Position, instruction: Instruction) -> Step<()> {
        let Some(block) = self.now else { return Ok(()) };
        self.builder.emit(block, at(position), instruction).map_err(|_| self.too_long(position))
    }

    fn block(&mut self, position: Position) -> Step<Block> {
        self.builder.block().map_err(|_| self.too_long(position))
    }

    /// Ends the block that is being written.
    fn leave(&mut self, exit: Exit) {
        if let Some(block) = self.now.take() {
            self.builder.end(block, exit);
        }
    }

    fn text(&mut self, text: &str) -> Mark {
        let header = self.header;
        self.builder.text(text, || meaning(header, text))
    }
}
