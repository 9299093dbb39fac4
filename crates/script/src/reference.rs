//! A rule as rhai walks it: the reference that tests and benches compare compiled rules with. No rule set uses it.
//! Calls `judge` and turns its drafts into judgements. Does not validate the file; `load` has done so.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt;

use judge::rule::{Answer, Header, Judgement, Outcome, RuleError, Source, SourcePart};
use quantity::Unit;
use rhai::{AST, ASTNode, CallFnOptions, Dynamic, Engine, EvalAltResult, Expr, ImmutableString, Map, Scope};

use crate::diagnostic::{At, Diagnostic, SourceFile};
use crate::engine::OPERATIONS_MAX;
use crate::judgement::{Draft, Drafts, Refusal, kind_of};
use crate::limits::Limits;
use crate::load::read_alone;
use crate::run::{Run, RunHandle, failed};

/// A text in the rule with its possible meanings, computed once when the rule is loaded.
struct Word {
    text: Arc<str>,
    source: Option<Source>,
    unit: Option<Unit>,
}

/// A group of values in rhai's form, and which input goes where.
struct Group {
    template: Map,
    /// For each entry of the template, in its order, the index of its input and its possible words.
    inputs: Vec<(usize, Vec<ImmutableString>)>,
}

/// A rule that rhai evaluates by walking its syntax tree.
pub struct Reference {
    path: String,
    source: String,
    header: Header,
    engine: Engine,
    ast: AST,
    limits: Limits,
    readings: Group,
    nameplate: Group,
    /// The limits in rhai's form, if `judge` takes them.
    named_limits: Option<Map>,
    words: Vec<Word>,
    sources: BTreeMap<At, (Source, Arc<[SourcePart]>)>,
}

impl fmt::Debug for Reference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Reference").field("path", &self.path).finish_non_exhaustive()
    }
}

impl Reference {
    /// Reads one rule, as a set would.
    ///
    /// # Errors
    /// All problems of the file, by line.
    pub fn load(path: &str, text: &str, limits: Limits) -> Result<Self, Vec<Diagnostic>> {
        let (parts, engine) = read_alone(SourceFile { path, text })?;
        let (header, ast) = (parts.header, parts.ast);
        let points = header.points.len();
        let readings = Group::new(header.points.iter().map(|p| (p.name.as_str(), &[][..])), 0);
        let nameplate =
            Group::new(header.nameplate.iter().map(|p| (p.name.as_str(), p.choices.as_slice())), points);
        let named_limits = parts
            .checked
            .takes_limits
            .then(|| header.limits.iter().map(|l| (l.name.as_str().into(), l.value.into())).collect());
        Ok(Self {
            path: path.into(),
            source: text.into(),
            words: words_of(&ast),
            header,
            engine,
            ast: ast.clone_functions_only(),
            limits,
            readings,
            nameplate,
            named_limits,
            sources: parts.checked.sources,
        })
    }

    /// What the rule declares.
    #[must_use]
    pub const fn header(&self) -> &Header {
        &self.header
    }

    /// Judges as a rule of a set does.
    ///
    /// # Errors
    /// As for [`judge::rule::Rule::judge`].
    pub fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        let names = || {
            let points = self.header.points.iter().map(|p| (p.name.as_str(), p.line));
            points.chain(self.header.nameplate.iter().map(|p| (p.name.as_str(), p.line)))
        };
        if values.len() != names().count() {
            let text = format!("{} values were given for {} inputs", values.len(), names().count());
            return Err(self.error(At::default(), text));
        }
        if let Some((value, (name, line))) = values.iter().zip(names()).find(|(value, _)| !value.is_finite())
        {
            return Err(self.error(At { line, column: 1 }, format!("{name} is {value}, not a finite number")));
        }
        let (given, path) = self.run(values)?;
        Ok(Outcome { answer: self.answer(given)?, path })
    }
    fn error(&self, at: At, message: impl Into<String>) -> RuleError {
        SourceFile { path: &self.path, text: &self.source }.error(at, message)
    }

    /// Runs `judge`; returns its result and the path it took.
    fn run(&self, values: &[f64]) -> Result<(Dynamic, u64), RuleError> {
        let run = Arc::new(Run::new(&self.limits));
        let options =
            CallFnOptions::new().eval_ast(false).with_tag(Dynamic::from(RunHandle(Arc::clone(&run))));
        let readings = self.readings.filled(values);
        let nameplate = self.nameplate.filled(values);
        let mut scope = Scope::new();
        let result = match &self.named_limits {
            Some(limits) => self.engine.call_fn_with_options::<Dynamic>(
                options,
                &mut scope,
                &self.ast,
                "judge",
                (readings, nameplate, limits.clone()),
            ),
            None => self.engine.call_fn_with_options::<Dynamic>(
                options,
                &mut scope,
                &self.ast,
                "judge",
                (readings, nameplate),
            ),
        };
        match result {
            Ok(given) => Ok((given, run.path())),
            Err(error) => Err(self.explain(*error)),
        }
    }

    /// rhai's error in our words, at the innermost position.
    fn explain(&self, error: EvalAltResult) -> RuleError {
        let (at, message) = failed(error, OPERATIONS_MAX);
        self.error(at, message)
    }

    fn word(&self, text: &ImmutableString) -> Option<&Word> {
        let index = self.words.binary_search_by(|word| (*word.text).cmp(text.as_str())).ok()?;
        self.words.get(index)
    }

    fn shared(&self, text: &ImmutableString) -> Arc<str> {
        self.word(text).map_or_else(|| text.as_str().into(), |word| Arc::clone(&word.text))
    }

    fn judgement(&self, draft: &Draft) -> Result<Judgement, RuleError> {
        let [advice_low, advice_high, advice_ok, unit, source] = &draft.texts;
        let unit = match unit {
            Some(text) => self.word(text).and_then(|word| word.unit),
            None => self.unit_of(&draft.name),
        };
        let unit = unit.ok_or_else(|| {
            self.error(draft.at, format!("{}: the unit is not known; add .unit(\"...\")", draft.name))
        })?;
        let (source, source_parts) =
            match source {
                Some(text) => {
                    let source = self.word(text).and_then(|word| word.source.clone());
                    let no_source = || {
                        let why = Source::parse(text).err().map(|error| error.to_string());
                        self.error(draft.at, why.unwrap_or_else(|| format!("{text}: no source of this rule")))
                    };
                    (source.ok_or_else(no_source)?, Arc::default())
                }
                None => self.sources.get(&draft.at).cloned().ok_or_else(|| {
                    self.error(draft.at, format!("{}: the limits have no source", draft.name))
                })?,
            };
        let advice = |text: &Option<ImmutableString>| text.as_ref().map(|text| self.shared(text));
        Ok(Judgement {
            name: self.shared(&draft.name),
            value: draft.value,
            unit,
            low: draft.low,
            high: draft.high,
            advice_ok: advice(advice_ok),
            advice_low: advice(advice_low),
            advice_high: advice(advice_high),
            source,
            source_parts,
        })
    }

    fn unit_of(&self, name: &str) -> Option<Unit> {
        let point = self.header.points.iter().find(|p| p.name == name).map(|p| p.display.unit);
        point.or_else(|| self.header.nameplate.iter().find(|p| p.name == name).map(|p| p.unit))
    }

    fn answer(&self, given: Dynamic) -> Result<Answer, RuleError> {
        let given = match given.try_cast_result::<Draft>() {
            Ok(draft) => return Ok(Answer::Judgements(alloc::vec![self.judgement(&draft)?])),
            Err(other) => other,
        };
        let given = match given.try_cast_result::<Drafts>() {
            Ok(Drafts(drafts)) => return self.several(&drafts),
            Err(other) => other,
        };
        match given.try_cast_result::<Refusal>() {
            Ok(Refusal(because)) => Ok(Answer::NoVerdict(self.shared(&because))),
            Err(other) => Err(self.error(
                At::default(),
                format!(
                    "judge gave {}; only a judgement, all_of or no_verdict is an answer",
                    kind_of(&other)
                ),
            )),
        }
    }

    fn several(&self, drafts: &[Draft]) -> Result<Answer, RuleError> {
        let mut judgements: Vec<Judgement> = Vec::with_capacity(drafts.len());
        for draft in drafts {
            let judgement = self.judgement(draft)?;
            if judgements.iter().any(|other| other.name == judgement.name) {
                let text =
                    format!("two judgements are named {:?}; give each its own name", draft.name.as_str());
                return Err(self.error(draft.at, text));
            }
            judgements.push(judgement);
        }
        Ok(Answer::Judgements(judgements))
    }
}

impl Group {
    fn new<'a>(names: impl Iterator<Item = (&'a str, &'a [String])>, offset: usize) -> Self {
        let by_name: BTreeMap<&str, (usize, &[String])> =
            names.zip(offset..).map(|((name, words), index)| (name, (index, words))).collect();
        let template: Map = by_name.keys().map(|name| ((*name).into(), Dynamic::from(0.0_f64))).collect();
        // Both maps are ordered by name, so the indices are in the order of the template.
        let words = |words: &[String]| words.iter().map(|word| word.as_str().into()).collect();
        Self { template, inputs: by_name.into_values().map(|(index, list)| (index, words(list))).collect() }
    }

    fn filled(&self, values: &[f64]) -> Map {
        let mut map = self.template.clone();
        for (slot, (index, words)) in map.values_mut().zip(&self.inputs) {
            // A value that is not there stays no value: every use of it is an error.
            *slot = values.get(*index).map_or(Dynamic::UNIT, |value| {
                if words.is_empty() {
                    return Dynamic::from(*value);
                }
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a place in the list
                let word = words.get(value.max(0.0) as usize);
                word.map_or(Dynamic::UNIT, |word| Dynamic::from(word.clone()))
            });
        }
        map
    }
}

/// No unit has a longer spelling.
const UNIT_BYTES_MAX: usize = 10;

/// Every text in the rule, sorted, without duplicates.
fn words_of(ast: &AST) -> Vec<Word> {
    let mut texts: BTreeMap<ImmutableString, ()> = BTreeMap::new();
    ast.walk(&mut |path: &[ASTNode<'_>]| {
        if let Some(ASTNode::Expr(Expr::StringConstant(text, _))) = path.last() {
            texts.insert(text.clone(), ());
        }
        true
    });
    texts
        .into_keys()
        .map(|text| Word {
            text: text.as_str().into(),
            source: Source::parse(&text).ok(),
            // A refused unit costs a search for a near one; long texts are none.
            unit: if text.len() <= UNIT_BYTES_MAX { Unit::parse(&text).ok() } else { None },
        })
        .collect()
}
