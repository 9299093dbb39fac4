//! Loads a rule set: texts in; a validated set, or every problem of every file, out. Reads no files itself.

use alloc::boxed::Box;
use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt::Write;

use judge::rule::{Rule, RuleSet};
use rhai::{AST, Engine, LexError, ParseError, ParseErrorType};
use sha2::{Digest, Sha256};

use crate::diagnostic::{At, Diagnostic, Findings, Severity, SourceFile, did_you_mean};
use crate::engine::{SOURCE_BYTES_MAX, Sandbox};
use crate::limits::Limits;
use crate::rule::{Parts, shared};
use crate::{analysis, compile, header};

/// A loaded set.
#[derive(Clone, Debug)]
pub struct LoadedRules {
    /// The rules, by id.
    pub set: RuleSet,
    /// Things that somebody should look at; never errors.
    pub warnings: Vec<Diagnostic>,
}

/// Loads rule sets: all files of a set together, and only together.
#[derive(Clone, Copy, Debug, Default)]
pub struct RuleSetLoader {
    limits: Limits,
}

impl RuleSetLoader {
    /// A loader whose rules run within these limits.
    #[must_use]
    pub const fn new(limits: Limits) -> Self {
        Self { limits }
    }

    /// Compiles and analyses all files: pairs of path (for messages; its stem is the id) and text.
    ///
    /// The set's hash is SHA-256 over, for each rule by id: id, a zero byte, the rule's SHA-256. It does not depend
    /// on folders or order.
    ///
    /// # Errors
    /// All problems of all files, by file in the order given and by line. One bad file rejects the whole set, so the
    /// caller keeps the last good one.
    pub fn load<'a>(
        &self,
        files: impl IntoIterator<Item = (&'a str, &'a str)>,
    ) -> Result<LoadedRules, Vec<Diagnostic>> {
        self.load_after(files, &RuleSet::default())
    }

    /// Like [`RuleSetLoader::load`], for a set that replaces another: rules of that set with the same path and text
    /// are reused, without their warnings, and not compiled again.
    ///
    /// # Errors
    /// As for [`RuleSetLoader::load`].
    pub fn load_after<'a>(
        &self,
        files: impl IntoIterator<Item = (&'a str, &'a str)>,
        before: &RuleSet,
    ) -> Result<LoadedRules, Vec<Diagnostic>> {
        let sandbox = Sandbox::new();
        let before: Known<'_> = before.iter().map(|rule| (rule.file(), rule)).collect();
        let mut found = Vec::new();
        let mut ready: BTreeMap<String, Ready<'a>> = BTreeMap::new();
        let mut count = 0_usize;
        for (path, text) in files {
            count += 1;
            let file = SourceFile { path, text };
            let mut findings = Findings::new(file);
            if let Some((id, one)) = ready_one(file, &before, &sandbox, &mut findings) {
                if let Some(other) = ready.get(&id) {
                    let text = format!("{} has the same name; a rule's file name is its id", other.path());
                    findings.error(At::default(), text);
                } else {
                    ready.insert(id, one);
                }
            }
            found.extend(findings.into_sorted());
        }
        if count == 0 {
            let file = SourceFile { path: "rules", text: "" };
            let text = "no rule files here; a rule is a file NAME.rhai";
            found.push(Diagnostic { severity: Severity::Error, found: file.error(At::default(), text) });
        }
        if found.iter().any(|diagnostic| diagnostic.severity == Severity::Error) {
            return Err(found);
        }
        let hash = set_hash(ready.iter().map(|(id, one)| (id.as_str(), one.hash())));
        let rules = ready
            .into_values()
            .map(|one| match one {
                Ready::Fresh(parts) => shared(*parts, self.limits),
                Ready::Known(rule) => rule,
            })
            .collect();
        Ok(LoadedRules { set: RuleSet::new(rules, &hash), warnings: found })
    }
}

/// A rule that is ready for its set.
enum Ready<'a> {
    Fresh(Box<Parts<'a>>),
    /// It was in the set before.
    Known(Arc<dyn Rule>),
}

impl Ready<'_> {
    fn path(&self) -> &str {
        match self {
            Self::Fresh(parts) => parts.file.path,
            Self::Known(rule) => rule.file(),
        }
    }

    fn hash(&self) -> &str {
        match self {
            Self::Fresh(parts) => &parts.hash,
            Self::Known(rule) => rule.hash(),
        }
    }
}

/// The rules of the previous set, by file.
type Known<'r> = BTreeMap<&'r str, &'r Arc<dyn Rule>>;

/// One file with its rule's id, reused or newly loaded.
fn ready_one<'a>(
    file: SourceFile<'a>,
    before: &Known<'_>,
    sandbox: &Sandbox,
    findings: &mut Findings<'_>,
) -> Option<(String, Ready<'a>)> {
    if let Some(rule) = before.get(file.path)
        && rule.hash() == hex(&Sha256::digest(file.text.as_bytes()))
    {
        return Some((rule.id().into(), Ready::Known(Arc::clone(rule))));
    }
    let parts = read_one(file, sandbox, findings)?;
    Some((parts.id.clone(), Ready::Fresh(Box::new(parts))))
}

/// One file, if it has no errors.
fn read_one<'a>(file: SourceFile<'a>, sandbox: &Sandbox, findings: &mut Findings<'_>) -> Option<Parts<'a>> {
    let id = id_of(file.path, findings);
    let ast = parse(file, sandbox, findings)?;
    let header = header::read(ast.statements(), findings);
    let checked = analysis::analyse(&ast, &header, findings);
    if findings.has_errors() {
        return None;
    }
    let program = compile::compile(&ast, &header, &checked)
        .map_err(|refused| findings.error(refused.at, refused.message))
        .ok()?;
    Some(Parts { id, hash: hex(&Sha256::digest(file.text.as_bytes())), file, header, ast, checked, program })
}

/// One file by itself, with the engine that has read it.
pub(crate) fn read_alone(file: SourceFile<'_>) -> Result<(Parts<'_>, Engine), Vec<Diagnostic>> {
    let sandbox = Sandbox::new();
    let mut findings = Findings::new(file);
    match read_one(file, &sandbox, &mut findings) {
        Some(parts) => Ok((parts, sandbox.engine)),
        None => Err(findings.into_sorted()),
    }
}

/// The id: the file's stem, in kebab-case.
fn id_of(path: &str, findings: &mut Findings<'_>) -> String {
    let name = path.rsplit(['/', '\\']).next().unwrap_or(path);
    let stem = name.strip_suffix(".rhai").unwrap_or(name);
    let fine = stem
        .split('-')
        .all(|part| !part.is_empty() && part.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit()));
    if !fine || stem.starts_with(|c: char| c.is_ascii_digit()) {
        let text = format!(
            "{name:?}: a rule's file is named in lower case with hyphens, such as run-capacitor.rhai"
        );
        findings.error(At::default(), text);
    }
    stem.into()
}

fn parse(file: SourceFile<'_>, sandbox: &Sandbox, findings: &mut Findings<'_>) -> Option<AST> {
    if let Err((at, text)) = readable(file.text) {
        findings.error(at, text);
        return None;
    }
    sandbox.reset_token_count();
    match sandbox.engine.compile(file.text) {
        Ok(ast) => Some(ast),
        Err(error) => {
            findings.error(error.position(), explain(&error));
            None
        }
    }
}

/// Whether a text may be parsed at all: not too long, and without invisible characters.
pub(crate) fn readable(text: &str) -> Result<(), (At, String)> {
    if text.len() > SOURCE_BYTES_MAX {
        let said = format!("{} bytes are too much; at most {SOURCE_BYTES_MAX}", text.len());
        return Err((At::default(), said));
    }
    if let Some((line, column)) = hidden_character(text) {
        let said = "a character here is not seen or turns the text around (bidi control); remove it";
        return Err((At { line, column }, said.into()));
    }
    Ok(())
}

/// The position of the first character that is invisible or reorders the text.
fn hidden_character(text: &str) -> Option<(usize, usize)> {
    let hidden = |c: char| {
        // CR before LF is no part of the line; alone it ends a line for rhai and for nobody else.
        (c.is_control() && c != '\t')
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
    };
    text.lines()
        .enumerate()
        .find_map(|(line, content)| content.chars().position(hidden).map(|column| (line + 1, column + 1)))
}

/// rhai's parse error in our words, if ours say more.
pub(crate) fn explain(error: &ParseError) -> String {
    match error.err_type() {
        ParseErrorType::Reserved(word) => not_in_rules(word),
        ParseErrorType::BadInput(LexError::ImproperSymbol(word, _)) => not_in_rules(word),
        ParseErrorType::VariableUndefined(name) => {
            let hint = did_you_mean(name, ["m", "plate", "limit"]);
            format!("nothing is named {name} here{hint}")
        }
        ParseErrorType::VariableExists(name) => format!("{name} is set already; take another name"),
        ParseErrorType::AssignmentToConstant(name) => format!("{name} cannot be changed"),
        ParseErrorType::ExprTooDeep => "this is nested too deep; set parts of it with let".to_string(),
        ParseErrorType::TooManyFunctions => "too many functions in one rule".to_string(),
        ParseErrorType::FnDuplicatedDefinition(name, _) => format!("two functions are named {name}"),
        ParseErrorType::WrongFnDefinition => {
            "a function stands at the top level, not inside another".to_string()
        }
        other => other.to_string(),
    }
}

fn not_in_rules(word: &str) -> String {
    match word {
        "while" | "loop" | "do" | "for" | "until" | "break" | "continue" => {
            format!("{word}: loops are off in rules; write the steps out, or put them in a function")
        }
        "switch" => "switch is not for rules; write if ... else if ...".to_string(),
        "throw" => "throw is not for rules; say no_verdict(\"why\")".to_string(),
        "try" | "catch" => "an error in a rule is never caught: it gives no verdict".to_string(),
        _ => format!("{word} is not part of the rule language"),
    }
}

/// Over the id and hash of each rule; the hash as the 32 bytes of its hexadecimal digits.
fn set_hash<'p>(rules: impl Iterator<Item = (&'p str, &'p str)>) -> String {
    let mut hasher = Sha256::new();
    for (id, hash) in rules {
        hasher.update(id.as_bytes());
        hasher.update([0]);
        for pair in hash.as_bytes().chunks_exact(2) {
            let digits = core::str::from_utf8(pair).unwrap_or_default();
            hasher.update([u8::from_str_radix(digits, 16).unwrap_or_default()]);
        }
    }
    hex(&hasher.finalize())
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        // Writing into a String does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
