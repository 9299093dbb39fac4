//! Calls: the rule's own functions, the functions of the catalogue, the words that judge.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use judge::rule::Source;
use quantity::Unit;
use rhai::{Expr, FnCallExpr, ImmutableString, Position};
use trade::catalogue::{self, Function, ParameterKind, Returns};

use super::types::{Made, Origins, Type};
use super::units::{Measure, difference};
use super::{Analyser, quoted};
use crate::diagnostic::{At, did_you_mean};
use crate::header::DECLARATIONS;
use crate::judgement::{ALL_OF_MAX, CHAINED, JUDGEMENTS};

/// Words that make a judgement, with the number of limits each takes.
const MAKERS: [(&str, usize); 3] = [("within", 2), ("at_least", 1), ("at_most", 1)];

/// Functions whose result is in the unit of their numbers.
const KEEPS: [&str; 7] = ["abs", "min", "max", "middle", "floor", "ceil", "round"];

/// Functions that compare their numbers, in whatever unit they are: millivolts across poles serve as well as ohms.
const LIKE: [&str; 1] = ["pole_ratio"];

/// The unit that a parameter takes; `None` if it is none of the table, or a plain number.
fn unit_of(unit: &str, what: &str) -> Option<Unit> {
    let unit = Unit::parse(unit).ok().filter(|unit| *unit != Unit::ONE)?;
    // The catalogue gives a rise in °F, as the trade says it.
    if what.contains("difference") { difference(unit).or(Some(unit)) } else { Some(unit) }
}

impl Analyser<'_, '_> {
    pub(super) fn call(&mut self, call: &FnCallExpr, at: Position) -> Type {
        let name = call.name.as_str();
        if call.op_token.is_some() {
            return self.operator(call, at);
        }
        if call.capture_parent_scope {
            return self.error(at, "a call with ! is not for rules");
        }
        let own = self.functions.iter().position(|f| f.name == name && f.parameters.len() == call.args.len());
        if let Some(index) = own {
            return self.own_call(index, call, at);
        }
        let arguments: Vec<Type> = call
            .args
            .iter()
            .map(|argument| match argument {
                Expr::Array(items, position) => self.list(items, *position),
                other => self.expression(other),
            })
            .collect();
        if let Some((_, limits)) = MAKERS.iter().find(|(maker, _)| *maker == name) {
            return self.make(call, &arguments, *limits, at);
        }
        match name {
            "all_of" => self.all_of(arguments, at),
            "no_verdict" => {
                self.expect_texts(name, &arguments, at);
                Type::Answer(Vec::new())
            }
            _ => self.table_call(name, &arguments, at),
        }
    }

    /// A list as an argument.
    fn list(&mut self, items: &[Expr], at: Position) -> Type {
        let mut origins = Origins::default();
        for item in items {
            match self.expression(item) {
                Type::Number(from, _) => origins = origins.and(from),
                Type::Any => return Type::Any,
                other => return self.error(at, format!("a list holds numbers, not {}", other.words())),
            }
        }
        Type::List(origins)
    }

    /// A call of one of the rule's own functions.
    fn own_call(&mut self, index: usize, call: &FnCallExpr, at: Position) -> Type {
        let Some(function) = self.functions.get(index) else { return Type::Any };
        let parameters = function.parameters.clone();
        if function.name == "judge" {
            return self.error(at, "judge is called by the engine only");
        }
        let mut arguments = Vec::new();
        for (argument, parameter) in call.args.iter().zip(parameters) {
            let value = match argument {
                Expr::Variable(variable, _, position) => self.variable(&variable.1, *position),
                other => self.expression(other),
            };
            if let Type::Record(record) = value
                && record.name() != parameter
            {
                let text = format!("{} keeps its name: call the parameter {}", record.name(), record.name());
                self.error(argument.start_position(), text);
            }
            arguments.push(value);
        }
        self.analyse(index, arguments, at)
    }

    /// `within`, `at_least`, `at_most`.
    fn make(&mut self, call: &FnCallExpr, arguments: &[Type], limits: usize, at: Position) -> Type {
        let (name, value, bounds) = match arguments {
            [name, value, bounds @ ..] if bounds.len() == limits => (name, value, bounds),
            _ => {
                let wanted = JUDGEMENTS.iter().find(|w| w.signature.starts_with(call.name.as_str()));
                let signature = wanted.map_or("", |w| w.signature);
                return self.error(at, format!("write {signature}; {} values were given", arguments.len()));
            }
        };
        let mut origins = Origins::default();
        for number in core::iter::once(value).chain(bounds) {
            if !matches!(number, Type::Number(..) | Type::Any) {
                let text = format!("{} compares numbers, not {}", call.name, number.words());
                return self.error(at, text);
            }
        }
        let mut measure = if let Type::Number(_, measure) = value { *measure } else { Measure::Open };
        for bound in bounds {
            if let Type::Number(from, its) = bound {
                origins = origins.and(*from);
                match measure.like(*its, call.name.as_str()) {
                    Ok(both) => measure = both,
                    Err(text) => return self.error(at, text),
                }
            }
        }
        if !matches!(name, Type::Text(_) | Type::Any) {
            return self.error(at, format!("{} begins with a name, a text in quotes", call.name));
        }
        if let Type::Text(Some(text)) = name
            && text.trim().is_empty()
        {
            return self.error(at, "a judgement needs a name");
        }
        let named = match name {
            Type::Text(Some(name)) => self.unit_of(name),
            _ => None,
        };
        let known = self.origins.entry(At::from(at)).or_default();
        *known = known.and(origins);
        let source = !origins.is_empty();
        Type::Judgement(alloc::vec![Made { at, unit: named.is_some(), named, measure, source }])
    }

    /// The unit of the reading or nameplate item of this name, which is that of the judgement.
    fn unit_of(&self, name: &ImmutableString) -> Option<Unit> {
        let point = self.header.points.iter().find(|p| p.name == name.as_str()).map(|p| p.display.unit);
        point.or_else(|| self.header.nameplate.iter().find(|p| p.name == name.as_str()).map(|p| p.unit))
    }

    /// `.low("...")` and the like.
    pub(super) fn chained(&mut self, first: Type, call: &FnCallExpr, at: Position) -> Type {
        let name = call.name.as_str();
        let arguments: Vec<Type> = call.args.iter().map(|argument| self.expression(argument)).collect();
        let mut made = match first {
            Type::Judgement(made) if CHAINED.contains(&name) => made,
            Type::Any => return Type::Any,
            Type::Judgement(_) => {
                let hint = did_you_mean(name, CHAINED);
                return self.error(at, format!("a judgement has no .{name}(...){hint}"));
            }
            Type::Answer(_) if CHAINED.contains(&name) => {
                let text = format!(".{name}(...) stands on each judgement, inside all_of");
                return self.error(at, text);
            }
            other => {
                let text = format!(
                    ".{name}(...) does not work on {}; functions are called as {name}(x)",
                    other.words()
                );
                return self.error(at, text);
            }
        };
        let Some(text) = self.expect_texts(name, &arguments, at) else { return Type::Judgement(made) };
        match (name, &text) {
            ("unit", Some(text)) => {
                let unit = match Unit::parse(text) {
                    Ok(unit) => unit,
                    Err(error) => return self.error(at, format!("{error}")),
                };
                let wrong = made.iter().find_map(|made| made.measure.fits(unit, "this judgement").err());
                if let Some(text) = wrong {
                    return self.error(at, text);
                }
            }
            ("source", Some(text)) => {
                if let Err(error) = Source::parse(text) {
                    let text_at = call.args.first().map_or(at, Expr::start_position);
                    return self.error(text_at, error.to_string());
                }
            }
            ("unit" | "source", None) => {
                return self
                    .error(at, format!(".{name}(...) takes a text that is known before the rule runs"));
            }
            _ => {}
        }
        for made in &mut made {
            if name == "unit" {
                made.unit = true;
                made.named = None;
            }
            made.source |= name == "source";
        }
        Type::Judgement(made)
    }

    /// Exactly one text; returns it if it is known.
    fn expect_texts(
        &mut self,
        name: &str,
        arguments: &[Type],
        at: Position,
    ) -> Option<Option<ImmutableString>> {
        match arguments {
            [Type::Text(Some(text))] if text.trim().is_empty() => {
                self.error(at, format!("{name}(...) needs words"));
                None
            }
            [Type::Text(text)] => Some(text.clone()),
            [Type::Any] => None,
            _ => {
                self.error(at, format!("{name}(\"...\") takes one text in quotes"));
                None
            }
        }
    }

    fn all_of(&mut self, arguments: Vec<Type>, at: Position) -> Type {
        if !(2..=ALL_OF_MAX).contains(&arguments.len()) {
            return self.error(at, format!("all_of takes 2 to {ALL_OF_MAX} judgements"));
        }
        let mut all = Vec::new();
        for argument in arguments {
            match argument {
                Type::Judgement(made) => all.extend(made),
                Type::Any => {}
                other => {
                    return self.error(at, format!("all_of takes judgements, not {}", other.words()));
                }
            }
        }
        Type::Answer(all)
    }

    /// A function of the catalogue.
    fn table_call(&mut self, name: &str, arguments: &[Type], at: Position) -> Type {
        let named = || catalogue::find(name);
        if named().next().is_none() {
            return self.unknown(name, at);
        }
        let signatures = || named().map(Function::signature).collect::<Vec<String>>().join(" or ");
        let Some(function) = named().find(|function| function.parameters.len() == arguments.len()) else {
            let text = format!("write {}; {} values were given", signatures(), arguments.len());
            return self.error(at, text);
        };
        let mut origins = Origins::default();
        for (parameter, argument) in function.parameters.iter().zip(arguments) {
            match (parameter.kind, argument) {
                (_, Type::Any) => return Type::Any,
                (
                    ParameterKind::Number(wanted) | ParameterKind::NumberOrOpen(wanted),
                    Type::Number(from, its),
                ) => {
                    origins = origins.and(*from);
                    if let Some(unit) = unit_of(wanted.unit, wanted.what)
                        && !LIKE.contains(&function.name)
                        && !(unit == Unit::PERCENT && its.is_percent())
                        && let Err(text) = its.fits(unit, &format!("{} of {}", parameter.name, function.name))
                    {
                        return self.error(at, text);
                    }
                }
                (ParameterKind::List(_), Type::List(from)) => origins = origins.and(*from),
                (ParameterKind::List(_), other) => {
                    let text = format!(
                        "{}: {} is a list, [a, b, c], not {}",
                        signatures(),
                        parameter.name,
                        other.words()
                    );
                    return self.error(at, text);
                }
                (ParameterKind::Word(list), Type::Text(Some(text))) if list.contains(&text.as_str()) => {}
                (ParameterKind::Word(list), Type::Word(words, from))
                    if words.iter().all(|word| list.contains(&word.as_str())) =>
                {
                    origins = origins.and(*from);
                }
                (ParameterKind::Word(list), other) => {
                    let given = match other {
                        Type::Text(Some(text)) => {
                            format!("{}{}", quoted(text), did_you_mean(text, list.iter().copied()))
                        }
                        other => other.words().into(),
                    };
                    let list = list.join(", ");
                    let text = format!("{}: {} is one of {list}, not {given}", signatures(), parameter.name);
                    return self.error(at, text);
                }
                (_, other) => {
                    let text = format!("{} takes numbers, not {}", signatures(), other.words());
                    return self.error(at, text);
                }
            }
        }
        match function.returns {
            Returns::Number(unit) => Type::Number(origins, self.result(function, unit, arguments, at)),
            Returns::Word(words) => Type::Word(words.iter().map(|word| (*word).into()).collect(), origins),
        }
    }

    /// What a function of the catalogue gives. Those that give back one of their numbers take like ones.
    fn result(&mut self, function: &Function, unit: &str, arguments: &[Type], at: Position) -> Measure {
        let keeps = KEEPS.contains(&function.name);
        if !keeps && !LIKE.contains(&function.name) {
            return Measure::given(unit);
        }
        let mut both = Measure::Bare;
        for argument in arguments {
            let Type::Number(_, measure) = argument else { continue };
            match both.like(*measure, function.name) {
                Ok(like) => both = like,
                Err(text) => {
                    self.error(at, text);
                    return Measure::Open;
                }
            }
        }
        if keeps { both } else { Measure::given(unit) }
    }

    fn unknown(&mut self, name: &str, at: Position) -> Type {
        if DECLARATIONS.iter().any(|d| d.name == name) || name == "same_as" {
            return self.error(at, format!("{name}(...) is a declaration; it stands at the top of the file"));
        }
        if CHAINED.contains(&name) {
            return self.error(at, format!("{name} follows a judgement: within(...).{name}(\"...\")"));
        }
        let own: Vec<ImmutableString> = self.functions.iter().map(|f| f.name.clone()).collect();
        if own.iter().any(|f| f == name) {
            return self.error(at, format!("{name} is called with another number of values than it takes"));
        }
        let words = MAKERS.iter().map(|(maker, _)| *maker).chain(["all_of", "no_verdict"]);
        let known = catalogue::functions()
            .map(|f| f.name)
            .chain(words)
            .chain(own.iter().map(ImmutableString::as_str));
        let hint = did_you_mean(name, known);
        self.error(at, format!("no function is named {name}{hint}"))
    }

    /// A rule's functions must not use the names of the language.
    pub(super) fn own_names(&mut self) {
        let taken: Vec<(Position, ImmutableString)> =
            self.functions.iter().map(|f| (f.start, f.name.clone())).collect();
        for (at, name) in &taken {
            let language = catalogue::functions()
                .map(|f| f.name)
                .chain(MAKERS.iter().map(|(maker, _)| *maker))
                .chain(CHAINED)
                .chain(DECLARATIONS.iter().map(|d| d.name))
                .chain(["all_of", "no_verdict", "same_as"]);
            if language.into_iter().any(|word| word == name.as_str()) {
                self.error(
                    *at,
                    format!("{name} is a word of the rule language; name this function otherwise"),
                );
            }
            if taken.iter().filter(|(_, other)| other == name).count() > 1 {
                self.error(*at, format!("two functions are named {name}"));
            }
        }
    }
}
