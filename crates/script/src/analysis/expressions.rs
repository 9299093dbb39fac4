//! Expressions: constants, names, fields, operators. Calls of functions are in `calls`.

use alloc::format;
use alloc::vec::Vec;

use rhai::{ASTFlags, Expr, FnCallExpr, Position};

use super::types::{Origins, Record, Type};
use super::units::Measure;
use super::{Analyser, quoted};
use crate::diagnostic::did_you_mean;
use crate::operators::{ARITHMETIC, COMPARISONS, EQUAL_NUMBERS, EQUALITY};

impl Analyser<'_, '_> {
    pub(super) fn expression(&mut self, expression: &Expr) -> Type {
        let at = expression.start_position();
        match expression {
            Expr::BoolConstant(..) => Type::Bool,
            Expr::FloatConstant(number, _) if number.is_finite() => Type::Number(Origins::default(), Measure::Bare),
            Expr::FloatConstant(..) => self.error(at, "this number is too large"),
            Expr::StringConstant(text, _) => Type::Text(Some(text.clone())),
            Expr::Variable(variable, _, position) => match self.variable(&variable.1, *position) {
                Type::Record(record) => {
                    let name = record.name();
                    self.error(at, format!("{name} alone is no value; write {name}.name_of_it"))
                }
                other => other,
            },
            Expr::Dot(chain, flags, _) => {
                if flags.contains(ASTFlags::NEGATED) {
                    return self.error(at, "?. is not for rules: a missing value is never passed over");
                }
                let first = match &chain.lhs {
                    Expr::Variable(variable, _, position) => self.variable(&variable.1, *position),
                    other => self.expression(other),
                };
                self.chain(first, &chain.rhs)
            }
            Expr::FnCall(call, position) if call.op_token.is_some() => self.operator(call, *position),
            Expr::FnCall(call, position) => self.call(call, *position),
            Expr::And(sides, _) => self.logic(sides, "&&"),
            Expr::Or(sides, _) => self.logic(sides, "||"),
            Expr::Stmt(block) => self.block(block.statements()),
            Expr::InterpolatedString(..) => {
                self.error(at, "texts stand as they are; values are shown beside them")
            }
            Expr::CharConstant(..) => self.error(at, "texts stand in double quotes"),
            Expr::Array(..) | Expr::Index(..) => {
                self.error(at, "lists are not part of judge, except where a formula takes one: peer_score(m.amps, [...], 0.01)")
            }
            Expr::Map(..) => self.error(at, "groups of values are not made in rules; use single values"),
            Expr::Coalesce(..) => self.error(at, "?? is not for rules: a missing value is never passed over"),
            Expr::Unit(_) => self.error(at, "() is no value; a rule gives a judgement"),
            Expr::IntegerConstant(..) => self.error(at, "ranges are not part of the rule language"),
            _ => self.error(at, "this is not part of the rule language"),
        }
    }

    pub(super) fn variable(&mut self, own: &str, at: Position) -> Type {
        let frame = self.stack.last_mut();
        let Some(frame) = frame else { return Type::Any };
        if let Some(name) = frame.names.iter_mut().rev().find(|name| name.name == own) {
            name.used = true;
            return name.value.clone();
        }
        let hint = did_you_mean(own, frame.names.iter().map(|name| name.name.as_str()));
        self.error(at, format!("nothing is named {own} here{hint}"))
    }

    /// What follows the first dot, and the dots after it.
    fn chain(&mut self, first: Type, rest: &Expr) -> Type {
        let (link, more) = match rest {
            Expr::Dot(next, flags, position) => {
                if flags.contains(ASTFlags::NEGATED) {
                    return self
                        .error(*position, "?. is not for rules: a missing value is never passed over");
                }
                (&next.lhs, Some(&next.rhs))
            }
            other => (other, None),
        };
        let value = match link {
            Expr::Property(property, position) => self.field(&first, &property.2, *position),
            Expr::MethodCall(call, position) => self.chained(first, call, *position),
            other => self.error(other.start_position(), "this is not part of the rule language"),
        };
        match more {
            Some(more) => self.chain(value, more),
            None => value,
        }
    }

    fn field(&mut self, of: &Type, name: &str, at: Position) -> Type {
        let Type::Record(record) = of else {
            if *of == Type::Any {
                return Type::Any;
            }
            return self.error(at, format!("{} has no field {name}", of.words()));
        };
        let header = self.header;
        let (found, origins, declare) = match record {
            Record::Readings => (header.points.iter().position(|p| p.name == name), None, "reads"),
            Record::Nameplate => {
                let found = header.nameplate.iter().position(|p| p.name == name);
                (found, found.map(Origins::plate), "nameplate")
            }
            Record::Limits => {
                let found = header.limits.iter().position(|l| l.name == name);
                (found, found.map(Origins::limit), "limit")
            }
        };
        let Some(index) = found else {
            let hint = did_you_mean(name, self.names_in(*record));
            let text = format!("{}.{name} is not declared with {declare}(...){hint}", record.name());
            return self.error(at, text);
        };
        if *record == Record::Readings {
            self.used_points |= 1 << (index % 32);
        }
        let origins = origins.unwrap_or_default();
        self.used = self.used.and(origins);
        let choices = match record {
            Record::Nameplate => {
                self.header.nameplate.get(index).map_or(&[][..], |item| item.choices.as_slice())
            }
            Record::Readings | Record::Limits => &[],
        };
        if !choices.is_empty() {
            return Type::Word(choices.iter().map(|word| word.as_str().into()).collect(), origins);
        }
        let measure = match record {
            Record::Readings => header
                .points
                .get(index)
                .map(|point| Measure::declared(point.display.unit, point.display.coupling)),
            Record::Nameplate => header.nameplate.get(index).map(|item| Measure::declared(item.unit, None)),
            Record::Limits => header.limits.get(index).map(|limit| Measure::declared(limit.unit, None)),
        };
        Type::Number(origins, measure.unwrap_or(Measure::Open))
    }

    fn names_in(&self, record: Record) -> Vec<&str> {
        match record {
            Record::Readings => self.header.points.iter().map(|p| p.name.as_str()).collect(),
            Record::Nameplate => self.header.nameplate.iter().map(|p| p.name.as_str()).collect(),
            Record::Limits => self.header.limits.iter().map(|l| l.name.as_str()).collect(),
        }
    }

    fn logic(&mut self, sides: &[Expr], operator: &str) -> Type {
        for side in sides {
            self.expect_bool(side, operator);
        }
        Type::Bool
    }

    pub(super) fn expect_bool(&mut self, expression: &Expr, place: &str) {
        match self.expression(expression) {
            Type::Bool | Type::Any => {}
            other => {
                let at = expression.start_position();
                self.error(at, format!("{place} takes yes/no (a comparison), not {}", other.words()));
            }
        }
    }

    pub(super) fn operator(&mut self, call: &FnCallExpr, at: Position) -> Type {
        let name = call.name.as_str();
        let types: Vec<Type> = call.args.iter().map(|side| self.expression(side)).collect();
        match (name, types.as_slice()) {
            (_, types) if types.contains(&Type::Any) => Type::Any,
            (name, [Type::Number(a, x), Type::Number(b, y)]) if ARITHMETIC.contains(&name) => {
                let literals = [call.args.first().and_then(written), call.args.get(1).and_then(written)];
                Type::Number(a.and(*b), self.combined(name, [*x, *y], literals, at))
            }
            (name, [Type::Number(_, x), Type::Number(_, y)]) if COMPARISONS.contains(&name) => {
                if let Err(text) = x.like(*y, name) {
                    self.error(at, text);
                }
                Type::Bool
            }
            (name, [Type::Number(..), Type::Number(..)]) if EQUALITY.contains(&name) => {
                self.error(at, EQUAL_NUMBERS)
            }
            (name, [Type::Bool, Type::Bool]) if EQUALITY.contains(&name) => Type::Bool,
            (
                name,
                [Type::Word(words, _), Type::Text(Some(text))]
                | [Type::Text(Some(text)), Type::Word(words, _)],
            ) if EQUALITY.contains(&name) => {
                if words.contains(text) {
                    return Type::Bool;
                }
                let hint = did_you_mean(text, words.iter().map(rhai::ImmutableString::as_str));
                let list: Vec<&str> = words.iter().map(rhai::ImmutableString::as_str).collect();
                self.error(at, format!("{} is never one of {}{hint}", quoted(text), list.join(", ")))
            }
            (name, [Type::Word(a, _), Type::Word(b, _)]) if EQUALITY.contains(&name) && a == b => Type::Bool,
            ("-", [Type::Number(origins, measure)]) => Type::Number(*origins, measure.negated()),
            ("+", [Type::Number(origins, measure)]) => Type::Number(*origins, *measure),
            ("!", [Type::Bool]) => Type::Bool,
            (name, [a, b]) => {
                self.error(at, format!("{name} cannot work on {} and {}", a.words(), b.words()))
            }
            (name, _) => {
                let of = types.first().map_or("nothing", Type::words);
                self.error(at, format!("{} cannot work on {of}", quoted(name)))
            }
        }
    }

    /// What two numbers with an operator between them measure; an error is reported here.
    pub(super) fn combined(
        &mut self,
        sign: &str,
        [a, b]: [Measure; 2],
        [left, right]: [Option<f64>; 2],
        at: Position,
    ) -> Measure {
        let result = match sign {
            "+" => a.plus(b),
            "-" => a.minus(b),
            "*" => Ok(a.times(b, left.or(right))),
            "/" => Ok(a.over(b, right)),
            "%" => a.like(b, "%"),
            _ if [a, b] == [Measure::Bare; 2] => Ok(Measure::Bare),
            _ => Ok(Measure::Open),
        };
        result.unwrap_or_else(|text| {
            self.error(at, text);
            Measure::Open
        })
    }
}

/// The number, if it is written as one.
pub(super) fn written(expression: &Expr) -> Option<f64> {
    match expression {
        Expr::FloatConstant(number, _) => Some(**number),
        _ => None,
    }
}
