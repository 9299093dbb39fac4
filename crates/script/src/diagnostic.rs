//! What is wrong with a rule file, and where. Holds the collector of findings; decides nothing about rules.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;

use judge::rule::RuleError;
use rhai::Position;

/// The severity of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The set is rejected.
    Error,
    /// The set loads, but somebody should have a look.
    Warning,
}

/// One finding in a rule file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// The severity.
    pub severity: Severity,
    /// What and where: file, line, column, the source line.
    pub found: RuleError,
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = match self.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
        };
        write!(f, "{word}: {}", self.found)
    }
}

/// A position in a source text, 1-based; zero if unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct At {
    pub(crate) line: usize,
    pub(crate) column: usize,
}

impl From<Position> for At {
    fn from(position: Position) -> Self {
        Self { line: position.line().unwrap_or(0), column: position.position().unwrap_or(0) }
    }
}

/// A source text with the name it was loaded under.
#[derive(Clone, Copy)]
pub(crate) struct SourceFile<'a> {
    pub(crate) path: &'a str,
    pub(crate) text: &'a str,
}

/// Characters of a source line that a message shows.
const SOURCE_LINE_CHARS_MAX: usize = 160;

impl SourceFile<'_> {
    pub(crate) fn error(self, at: At, message: impl Into<String>) -> RuleError {
        let source_line = match at.line.checked_sub(1) {
            Some(index) => {
                self.text.lines().nth(index).unwrap_or_default().chars().take(SOURCE_LINE_CHARS_MAX).collect()
            }
            None => String::new(),
        };
        RuleError {
            message: message.into(),
            file: self.path.into(),
            line: at.line,
            column: at.column,
            source_line,
        }
    }
}

/// Findings of one file, in the order found, without duplicates.
pub(crate) struct Findings<'a> {
    file: SourceFile<'a>,
    found: Vec<Diagnostic>,
}

/// More findings than this in one file help nobody.
const FINDINGS_MAX: usize = 50;

impl<'a> Findings<'a> {
    pub(crate) fn new(file: SourceFile<'a>) -> Self {
        Self { file, found: Vec::new() }
    }

    pub(crate) fn error(&mut self, at: impl Into<At>, message: impl Into<String>) {
        self.push(Severity::Error, at.into(), message.into());
    }

    pub(crate) fn warning(&mut self, at: impl Into<At>, message: impl Into<String>) {
        self.push(Severity::Warning, at.into(), message.into());
    }

    fn push(&mut self, severity: Severity, at: At, message: String) {
        let diagnostic = Diagnostic { severity, found: self.file.error(at, message) };
        if self.found.len() < FINDINGS_MAX && !self.found.contains(&diagnostic) {
            self.found.push(diagnostic);
        }
    }

    pub(crate) fn has_errors(&self) -> bool {
        self.found.iter().any(|d| d.severity == Severity::Error)
    }

    /// All findings by line.
    pub(crate) fn into_sorted(mut self) -> Vec<Diagnostic> {
        self.found.sort_by_key(|d| (d.found.line, d.found.column));
        self.found
    }
}

/// "; did you mean `x`?" if a candidate is near, otherwise empty.
pub(crate) fn did_you_mean<'a>(text: &str, candidates: impl IntoIterator<Item = &'a str>) -> String {
    let allowed = 1 + text.chars().count() / 4;
    let nearest = candidates
        .into_iter()
        .map(|candidate| (quantity::edit_distance(text, candidate), candidate))
        .min_by_key(|(distance, _)| *distance);
    match nearest {
        Some((distance, candidate)) if distance <= allowed => alloc::format!("; did you mean {candidate:?}?"),
        _ => String::new(),
    }
}
