//! Expressions: constants, names, fields, operators, conditions.

use alloc::rc::Rc;
use alloc::vec::Vec;

use rhai::{Expr, FnCallExpr, ImmutableString, Position};
use rulecode::program::{Arithmetic, Block, Comparison, Exit, Instruction, Number, Slot};

use super::value::Value;
use super::{Compiler, Step};
use crate::analysis::Record;
use crate::judgement::CHAINED;

impl Compiler<'_> {
    pub(super) fn expression(&mut self, expression: &Expr) -> Step<Value> {
        let at = expression.start_position();
        match expression {
            Expr::BoolConstant(yes, _) => Ok(Value::Flag(self.builder.always(*yes))),
            Expr::FloatConstant(number, _) => Ok(Value::Number(self.builder.constant(**number))),
            Expr::StringConstant(text, _) => Ok(Value::Text(self.text(text), Some(text.clone()))),
            Expr::Variable(variable, _, position) => self.variable(&variable.1, *position),
            Expr::Dot(chain, _, _) => self.chain(&chain.lhs, &chain.rhs),
            Expr::FnCall(call, position) if call.op_token.is_some() => self.operator(call, *position),
            Expr::FnCall(call, position) => self.call(call, *position),
            Expr::And(..) | Expr::Or(..) => {
                let (yes, no) = (self.block(at)?, self.block(at)?);
                self.condition(expression, yes, no)?;
                let flags = [true, false].map(|yes| Value::Flag(self.builder.always(yes)));
                let ways: Vec<(Block, Value)> = [yes, no].into_iter().zip(flags).collect();
                self.join(&ways, at)
            }
            Expr::Stmt(block) => self.statements(block.statements()),
            _ => self.refuse(at, "this is not part of the rule language"),
        }
    }

    pub(super) fn variable(&mut self, own: &ImmutableString, at: Position) -> Step<Value> {
        let names = self.frames.last().map_or(&[][..], |frame| frame.names.as_slice());
        let Some((_, value)) = names.iter().rev().find(|(name, _)| name == own).cloned() else {
            return self.refuse(at, alloc::format!("nothing is named {own} here"));
        };
        if self.changed.contains(own) { self.own_copy(&value, at) } else { Ok(value) }
    }

    /// Fields, and the words that hang on a judgement.
    fn chain(&mut self, root: &Expr, rest: &Expr) -> Step<Value> {
        let mut links = Vec::new();
        let mut rest = rest;
        while let Expr::Dot(next, ..) = rest {
            links.push(&next.lhs);
            rest = &next.rhs;
        }
        links.push(rest);
        if let (Expr::Variable(variable, _, position), [Expr::Property(property, at)]) =
            (root, links.as_slice())
            && let Value::Record(record) = self.variable(&variable.1, *position)?
        {
            return self.field(record, &property.2, *at);
        }
        let mut set = Vec::new();
        for link in links {
            let Expr::MethodCall(call, position) = link else {
                return self.refuse(link.start_position(), "this is not part of the rule language");
            };
            let place = CHAINED.iter().position(|word| *word == call.name.as_str());
            let values: Vec<Value> =
                call.args.iter().map(|argument| self.expression(argument)).collect::<Step<_>>()?;
            let (Some(place), [Value::Text(mark, _)]) = (place, values.as_slice()) else {
                return self.refuse(*position, alloc::format!(".{}(...) takes one text", call.name));
            };
            set.push((place, *mark));
        }
        let Value::Judgement(mut slot) = self.expression(root)? else {
            return self.refuse(root.start_position(), "this is no judgement");
        };
        for (place, mark) in set {
            if let Some(text) = slot.texts.get_mut(place) {
                *text = mark;
            }
        }
        Ok(Value::Judgement(slot))
    }

    fn field(&mut self, record: Record, name: &ImmutableString, at: Position) -> Step<Value> {
        let header = self.header;
        let found = match record {
            Record::Readings => header
                .points
                .iter()
                .position(|point| point.name == name.as_str())
                .map(|index| Value::Number(self.builder.input(index))),
            Record::Nameplate => {
                let found = header.nameplate.iter().enumerate().find(|(_, item)| item.name == name.as_str());
                found.map(|(index, item)| {
                    let input = self.builder.input(header.points.len() + index);
                    if item.choices.is_empty() {
                        return Value::Number(input);
                    }
                    Value::Word(input, item.choices.iter().map(|word| word.as_str().into()).collect())
                })
            }
            Record::Limits => header
                .limits
                .iter()
                .find(|limit| limit.name == name.as_str())
                .map(|limit| Value::Number(self.builder.constant(limit.value))),
        };
        match found {
            Some(value) => Ok(value),
            None => self.refuse(at, alloc::format!("{}.{name} is not declared", record.name())),
        }
    }

    /// Arguments in rhai's order: a name that stands first is read last.
    pub(super) fn arguments(&mut self, arguments: &[Expr]) -> Step<Vec<Value>> {
        let mut values = Vec::with_capacity(arguments.len());
        let late = match arguments.split_first() {
            Some((Expr::Variable(variable, _, position), _)) => Some((&variable.1, *position)),
            _ => None,
        };
        for argument in arguments.iter().skip(usize::from(late.is_some())) {
            let value = match argument {
                Expr::Array(items, position) => {
                    let numbers: Vec<Number> = items
                        .iter()
                        .map(|item| {
                            let value = self.expression(item)?;
                            self.as_number(&value, *position)
                        })
                        .collect::<Step<_>>()?;
                    Value::List(numbers)
                }
                other => self.expression(other)?,
            };
            values.push(value);
        }
        if let Some((name, position)) = late {
            let first = self.variable(name, position)?;
            values.insert(0, first);
        }
        Ok(values)
    }

    pub(super) fn as_number(&self, value: &Value, at: Position) -> Step<Number> {
        match value {
            Value::Number(number) => Ok(*number),
            _ => self.refuse(at, "a number is wanted here"),
        }
    }

    pub(super) fn operator(&mut self, call: &FnCallExpr, at: Position) -> Step<Value> {
        let sign = call.name.as_str();
        let values = self.arguments(&call.args)?;
        let arithmetic =
            Arithmetic::NAMED.iter().find(|(known, _)| *known == sign).map(|(_, operator)| *operator);
        let comparison =
            Comparison::NAMED.iter().find(|(known, _)| *known == sign).map(|(_, operator)| *operator);
        let differ = sign == "!=";
        match (values.as_slice(), arithmetic, comparison) {
            ([Value::Number(a)], _, _) if sign == "-" => {
                let to = self.builder.number();
                self.emit(at, Instruction::Negate { a: *a, to })?;
                Ok(Value::Number(to))
            }
            ([Value::Number(a)], _, _) if sign == "+" => Ok(Value::Number(*a)),
            ([Value::Flag(a)], _, _) if sign == "!" => {
                let to = self.builder.flag();
                self.emit(at, Instruction::Not { a: *a, to })?;
                Ok(Value::Flag(to))
            }
            ([Value::Number(a), Value::Number(b)], Some(operator), _) => {
                let to = self.builder.number();
                self.emit(at, Instruction::Arithmetic { operator, a: *a, b: *b, to, assigns: false })?;
                Ok(Value::Number(to))
            }
            ([Value::Number(a), Value::Number(b)], _, Some(operator)) => {
                let to = self.builder.flag();
                self.emit(at, Instruction::Compare { operator, a: *a, b: *b, to })?;
                Ok(Value::Flag(to))
            }
            ([Value::Flag(a), Value::Flag(b)], _, _) if differ || sign == "==" => {
                let to = self.builder.flag();
                self.emit(at, Instruction::SameFlag { a: *a, b: *b, differ, to })?;
                Ok(Value::Flag(to))
            }
            ([a, b], _, _) if differ || sign == "==" => {
                let list = [a, b].into_iter().find_map(|value| match value {
                    Value::Word(_, list) => Some(Rc::clone(list)),
                    _ => None,
                });
                let (Some(a), Some(b)) =
                    (self.place_in(a, list.as_deref()), self.place_in(b, list.as_deref()))
                else {
                    return self.refuse(at, alloc::format!("{sign} cannot work on these two"));
                };
                let to = self.builder.flag();
                self.emit(at, Instruction::SameWord { a, b, differ, to })?;
                Ok(Value::Flag(to))
            }
            _ => self.refuse(at, alloc::format!("{sign} cannot work on these")),
        }
    }

    /// The register with the place of a word, or of a known text, in a list.
    fn place_in(&mut self, value: &Value, list: Option<&[ImmutableString]>) -> Option<Number> {
        match value {
            Value::Word(place, _) => Some(*place),
            Value::Text(_, Some(text)) => {
                let place = list?.iter().position(|word| word == text)?;
                Some(self.builder.constant(place as f64))
            }
            _ => None,
        }
    }

    /// Goes on in one of two blocks.
    pub(super) fn condition(&mut self, expression: &Expr, yes: Block, no: Block) -> Step<()> {
        let at = expression.start_position();
        match expression {
            Expr::And(sides, _) | Expr::Or(sides, _) => {
                let is_and = matches!(expression, Expr::And(..));
                let Some((last, before)) = sides.split_last() else {
                    return self.refuse(at, "a condition is missing");
                };
                for side in before {
                    let next = self.block(at)?;
                    let (if_yes, if_no) = if is_and { (next, no) } else { (yes, next) };
                    self.condition(side, if_yes, if_no)?;
                    self.now = Some(next);
                }
                self.condition(last, yes, no)
            }
            Expr::FnCall(call, _) if call.op_token.is_some() && call.name == "!" => {
                match call.args.as_slice() {
                    [inner] => self.condition(inner, no, yes),
                    _ => self.refuse(at, "a condition is missing"),
                }
            }
            _ => {
                let Value::Flag(on) = self.expression(expression)? else {
                    return self.refuse(at, "yes or no is wanted here");
                };
                self.leave(Exit::Branch { on, yes, no });
                Ok(())
            }
        }
    }

    /// A judgement that was just made.
    pub(super) fn slot(&mut self, values: &[Value], name: &str, at: Position) -> Step<Slot> {
        let made = crate::diagnostic::At::from(at);
        let sources = self.sources;
        let made = self.builder.made(super::at(at), || rulecode::program::Made {
            at: super::at(at),
            source: sources.get(&made).cloned(),
        });
        let texts = [self.builder.no_text(); 5];
        match (name, values) {
            (
                "within",
                [Value::Text(name, _), Value::Number(value), Value::Number(low), Value::Number(high)],
            ) => Ok(Slot { name: *name, value: *value, low: Some(*low), high: Some(*high), texts, made }),
            ("at_least", [Value::Text(name, _), Value::Number(value), Value::Number(low)]) => {
                Ok(Slot { name: *name, value: *value, low: Some(*low), high: None, texts, made })
            }
            ("at_most", [Value::Text(name, _), Value::Number(value), Value::Number(high)]) => {
                Ok(Slot { name: *name, value: *value, low: None, high: Some(*high), texts, made })
            }
            _ => self.refuse(at, alloc::format!("{name} takes a name and numbers")),
        }
    }
}
