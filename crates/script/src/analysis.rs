//! Static analysis of a rule before its first call. It proves that every node of the rule's functions is allowed,
//! every name is declared, every value has the required type, and every judgement has a unit and a source.
//!
//! The analysis runs the rule on types instead of numbers, analysing each function again for each set of argument
//! types, so nothing is guessed: texts are known literally, and a number knows which nameplate items and limits it
//! was made from (which is how a judgement gets its source). Functions cannot call themselves, so this terminates; a
//! budget bounds it.
//!
//! Does not run the rule and knows no values of readings.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec::Vec;

use judge::rule::{Header, PlateDefault, Source, SourceClass, SourcePart};
use rhai::{AST, ASTNode, ImmutableString, Position, Stmt};

use crate::diagnostic::{At, Findings};

mod calls;
mod expressions;
mod statements;
mod types;
mod units;

use types::{Origins, Type};

pub(crate) use types::Record;

/// The results of the analysis besides errors.
#[derive(Default)]
pub(crate) struct Analysis {
    /// `judge` takes the limits as a third argument.
    pub(crate) takes_limits: bool,
    /// The source of each judgement's limits, by the position where it is made.
    pub(crate) sources: BTreeMap<At, (Source, Arc<[SourcePart]>)>,
    /// The functions with their bodies.
    pub(crate) functions: Vec<FunctionDef>,
}

/// One function of the rule.
#[derive(Clone)]
pub(crate) struct FunctionDef {
    pub(crate) name: ImmutableString,
    pub(crate) parameters: Vec<ImmutableString>,
    pub(crate) body: Vec<Stmt>,
    start: Position,
    pub(crate) end: Position,
    called: bool,
}

/// Analyses all functions of a rule whose header had no errors.
pub(crate) fn analyse(ast: &AST, header: &Header, findings: &mut Findings<'_>) -> Analysis {
    let functions = functions_of(ast);
    let mut analyser = Analyser {
        header,
        findings,
        functions,
        stack: Vec::new(),
        done: Vec::new(),
        used: Origins::default(),
        used_points: 0,
        origins: BTreeMap::new(),
        budget: ANALYSES_MAX,
    };
    analyser.own_names();
    let takes_limits = analyser.judge();
    analyser.leftovers(takes_limits);
    let origins = core::mem::take(&mut analyser.origins);
    let sources = origins
        .into_iter()
        .filter_map(|(at, origins)| source_of(header, origins).map(|source| (at, source)))
        .collect();
    Analysis { takes_limits, sources, functions: analyser.functions }
}

/// The most analyses for one rule: one per function and set of argument types.
const ANALYSES_MAX: u32 = 500;

struct Analyser<'f, 'a> {
    header: &'f Header,
    findings: &'f mut Findings<'a>,
    functions: Vec<FunctionDef>,
    /// The functions being analysed, innermost last.
    stack: Vec<Frame>,
    /// Finished analyses.
    done: Vec<(usize, Vec<Type>, Type)>,
    used: Origins,
    used_points: u32,
    /// What the limits of each judgement are made from.
    origins: BTreeMap<At, Origins>,
    budget: u32,
}

/// One function during its analysis.
struct Frame {
    function: usize,
    names: Vec<Name>,
    returns: Type,
}

/// A local name.
struct Name {
    name: ImmutableString,
    value: Type,
    at: Position,
    fixed: bool,
    used: bool,
}

impl Analyser<'_, '_> {
    fn error(&mut self, at: impl Into<At>, message: impl Into<String>) -> Type {
        self.findings.error(at, message);
        Type::Any
    }

    /// Analyses `judge`; true if it takes the limits.
    fn judge(&mut self) -> bool {
        let found = self.functions.iter().position(|f| f.name == "judge");
        let Some((index, function)) = found.and_then(|index| Some((index, self.functions.get(index)?)))
        else {
            self.error(At::default(), "a rule has a function judge: fn judge(m, plate) { ... }");
            return false;
        };
        let start = function.start;
        let names: Vec<&str> = function.parameters.iter().map(ImmutableString::as_str).collect();
        let takes_limits = match names.as_slice() {
            ["m", "plate"] => false,
            ["m", "plate", "limit"] => true,
            _ => {
                self.error(start, "judge is written fn judge(m, plate) or fn judge(m, plate, limit)");
                return false;
            }
        };
        let mut arguments = alloc::vec![Type::Record(Record::Readings), Type::Record(Record::Nameplate)];
        if takes_limits {
            arguments.push(Type::Record(Record::Limits));
        }
        let result = self.analyse(index, arguments, start);
        match result {
            Type::Judgement(made) | Type::Answer(made) => {
                for made in made {
                    if !made.unit {
                        let text = "the unit is not known: no reading or nameplate item has this name; add .unit(\"...\")";
                        self.error(made.at, text);
                    }
                    if let Some(unit) = made.named
                        && let Err(text) = made.measure.fits(unit, "this judgement")
                    {
                        self.error(made.at, text);
                    }
                    if !made.source {
                        let text = "the limits have no source: add .source(\"...\"), or declare them with limit(...)";
                        self.error(made.at, text);
                    }
                }
            }
            Type::Any => {}
            other => {
                let end = self.functions.get(index).map_or(start, |f| f.end);
                let text = format!(
                    "judge gives {}; it must give a judgement on every way through: within, at_least, at_most, all_of \
                     or no_verdict",
                    other.words()
                );
                self.error(end, text);
            }
        }
        takes_limits
    }

    /// Reports what was declared and never used.
    fn leftovers(&mut self, takes_limits: bool) {
        if self.findings.has_errors() {
            return;
        }
        for (index, point) in self.header.points.iter().enumerate() {
            if self.used_points & (1 << index) == 0 {
                let text = format!("reading {:?} is taken and never used", point.name);
                self.findings.warning(At { line: point.line, column: 1 }, text);
            }
        }
        for (index, item) in self.header.nameplate.iter().enumerate() {
            let copied =
                self.header.nameplate.iter().any(
                    |other| matches!(&other.default, PlateDefault::SameAs(name, _) if *name == item.name),
                );
            if item.choices.is_empty() && item.plausible.is_none() {
                let text = format!(
                    "nameplate item {name:?} has no bounds, so a slip in typing it is judged without a question: add \
                     plausible(\"plate.{name}\", low, high), as wide as any real plate",
                    name = item.name
                );
                self.findings.warning(At { line: item.line, column: 1 }, text);
            }
            if !self.used.has_plate(index) && !copied {
                let text = format!("nameplate item {:?} is asked for and never used", item.name);
                self.findings.warning(At { line: item.line, column: 1 }, text);
            }
        }
        for (index, limit) in self.header.limits.iter().enumerate() {
            let of_danger = self.header.dangers.iter().any(|danger| danger.limit == index);
            if !self.used.has_limit(index) && !of_danger {
                let hint = if takes_limits { "" } else { "; judge(m, plate, limit) would give it" };
                let text = format!("limit {:?} is declared and never used{hint}", limit.name);
                self.findings.warning(At { line: limit.line, column: 1 }, text);
            }
        }
        for function in self.functions.iter().filter(|f| !f.called) {
            let text = format!("function {} is never called, so it was not checked", function.name);
            self.findings.warning(function.start, text);
        }
    }
}

/// The functions with their bodies, in the order of the file. rhai does not expose the bodies of functions, but its
/// walk visits every statement; the position of each shows which function it belongs to.
fn functions_of(ast: &AST) -> Vec<FunctionDef> {
    let mut functions: Vec<FunctionDef> = ast
        .shared_lib()
        .iter_script_fn_info()
        .map(|(.., function)| FunctionDef {
            name: function.name.clone(),
            parameters: function.params.iter().cloned().collect(),
            body: Vec::new(),
            start: function.body.start_position(),
            end: function.body.end_position(),
            called: false,
        })
        .collect();
    functions.sort_by_key(|f| At::from(f.start));
    ast.walk(&mut |path: &[ASTNode<'_>]| {
        if let [ASTNode::Stmt(statement)] = path {
            let at = At::from(statement.position());
            let owner = functions.iter_mut().find(|f| At::from(f.start) < at && at <= At::from(f.end));
            if let Some(function) = owner {
                function.body.push((*statement).clone());
            }
        }
        true
    });
    functions
}

/// The sources of limits made from these items, and all of them as text with the weakest class. `None` for no items.
fn source_of(header: &Header, origins: Origins) -> Option<(Source, Arc<[SourcePart]>)> {
    let mut parts: Vec<SourcePart> = Vec::new();
    let shown = |name: &str| Arc::from(name.replace('_', " "));
    for (index, item) in header.nameplate.iter().enumerate().filter(|(index, _)| origins.has_plate(*index)) {
        let source = match &item.default {
            PlateDefault::Required => Source { text: "to be entered".into(), class: SourceClass::Nameplate },
            PlateDefault::Value(_, source) | PlateDefault::SameAs(_, source) => {
                Source { text: Arc::clone(&source.text), class: source.class.weaker(SourceClass::Nameplate) }
            }
        };
        parts.push(SourcePart { name: shown(&item.name), plate: Some(index), source });
    }
    for (_, limit) in header.limits.iter().enumerate().filter(|(index, _)| origins.has_limit(*index)) {
        parts.push(SourcePart { name: shown(&limit.name), plate: None, source: limit.source.clone() });
    }
    let all = parts.iter().map(|part| (&*part.name, &part.source));
    Some((Source::of_parts(all)?, parts.into()))
}

/// The text in quotes, truncated if it is long.
fn quoted(text: &str) -> String {
    let short: String = text.chars().take(40).collect();
    format!("{:?}", short.to_string())
}
