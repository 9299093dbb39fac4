//! A loaded rule: its declarations and its program. Validates nothing; `load` has done so.

use alloc::boxed::Box;
use alloc::string::String;
use alloc::sync::Arc;

use judge::rule::columns::ColumnAnswers;
use judge::rule::{Header, Outcome, Rule, RuleError};
use rhai::AST;
use rulecode::{Fault, Program, Scratch};

use crate::analysis::Analysis;
use crate::diagnostic::{At, SourceFile};
use crate::limits::Limits;

/// The parts of a rule.
pub(crate) struct Parts<'a> {
    pub(crate) id: String,
    pub(crate) hash: String,
    pub(crate) file: SourceFile<'a>,
    pub(crate) header: Header,
    pub(crate) ast: AST,
    pub(crate) checked: Analysis,
    pub(crate) program: Program,
}

/// A rule written in rhai, compiled.
struct Compiled {
    id: String,
    hash: String,
    path: String,
    source: String,
    header: Header,
    program: Program,
    limits: Limits,
}

/// The rule in the form that the engine holds.
pub(crate) fn shared(parts: Parts<'_>, limits: Limits) -> Arc<dyn Rule> {
    let Parts { id, hash, file, header, program, .. } = parts;
    let rule: Box<dyn Rule> = Box::new(Compiled {
        id,
        hash,
        path: file.path.into(),
        source: file.text.into(),
        header,
        program,
        limits,
    });
    Arc::from(rule)
}

impl Compiled {
    fn error(&self, fault: Fault) -> RuleError {
        let at = At { line: fault.at.line as usize, column: fault.at.column as usize };
        SourceFile { path: &self.path, text: &self.source }.error(at, fault.message)
    }
}

impl Rule for Compiled {
    fn id(&self) -> &str {
        &self.id
    }

    fn hash(&self) -> &str {
        &self.hash
    }

    fn file(&self) -> &str {
        &self.path
    }

    fn header(&self) -> &Header {
        &self.header
    }

    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        self.program.one(values, &self.limits).map_err(|fault| self.error(fault))
    }

    fn judge_columns(&self, columns: &[&[f64]], out: &mut ColumnAnswers) {
        self.program.columns(columns, &self.limits, &mut Scratch::default(), out);
    }
}
