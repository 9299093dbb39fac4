//! Statements: what a function may contain, and that no result is discarded.

use alloc::format;
use alloc::vec::Vec;

use rhai::{ASTFlags, BinaryExpr, Expr, OpAssignment, Position, Stmt};

use super::expressions::written;
use super::types::{Record, Type};
use super::{Analyser, Frame, Name};
use crate::limits::CALL_LEVELS_MAX;

impl Analyser<'_, '_> {
    /// The type that function `index` returns for arguments of these types.
    pub(super) fn analyse(&mut self, index: usize, arguments: Vec<Type>, at: Position) -> Type {
        if let Some((.., result)) = self.done.iter().find(|(i, types, _)| *i == index && *types == arguments)
        {
            return result.clone();
        }
        let Some(function) = self.functions.get_mut(index) else { return Type::Any };
        function.called = true;
        let function = function.clone();
        if self.stack.iter().any(|frame| frame.function == index) {
            return self.error(at, format!("{} calls itself; a rule's functions may not", function.name));
        }
        if self.stack.len() >= CALL_LEVELS_MAX {
            return self.error(at, format!("functions call functions more than {CALL_LEVELS_MAX} deep"));
        }
        if self.budget == 0 {
            return self
                .error(at, "the rule is too complicated: its functions call each other in too many ways");
        }
        self.budget -= 1;
        let names = function
            .parameters
            .iter()
            .zip(&arguments)
            .map(|(name, value)| Name {
                name: name.clone(),
                value: value.clone(),
                at: function.start,
                fixed: true,
                used: true,
            })
            .collect();
        self.stack.push(Frame { function: index, names, returns: Type::Never });
        let last = self.block(&function.body);
        let returns = self.stack.pop().map_or(Type::Any, |frame| frame.returns);
        let result = last.or(returns);
        self.done.push((index, arguments, result.clone()));
        result
    }

    /// A block: every statement but the last must yield nothing; the last yields the block's value.
    pub(super) fn block(&mut self, statements: &[Stmt]) -> Type {
        let outer = self.stack.last().map_or(0, |frame| frame.names.len());
        let mut value = Type::Nothing;
        for (index, statement) in statements.iter().enumerate() {
            if value == Type::Never {
                self.error(statement.position(), "this is never reached: a return stands before it");
            }
            value = self.statement(statement);
            let is_last = index + 1 == statements.len();
            if !is_last && !matches!(value, Type::Nothing | Type::Never | Type::Any) {
                let text = format!(
                    "this gives {} that is not used; give it back with return, or keep it with let",
                    value.words()
                );
                self.error(statement.position(), text);
            }
        }
        let left: Vec<Name> = match self.stack.last_mut() {
            Some(frame) => frame.names.drain(outer..).collect(),
            None => Vec::new(),
        };
        for name in left.into_iter().filter(|name| !name.used) {
            self.error(name.at, format!("{} is set and never used", name.name));
        }
        value
    }

    fn statement(&mut self, statement: &Stmt) -> Type {
        match statement {
            Stmt::Noop(_) => Type::Nothing,
            Stmt::If(flow, _) => {
                self.expect_bool(&flow.expr, "if");
                let body = self.block(flow.body.statements());
                let branch = self.block(flow.branch.statements());
                body.or(branch)
            }
            Stmt::Var(variable, flags, position) => {
                let (name, value, _) = &**variable;
                let value = self.expression(value);
                self.define(name.name.clone(), value, flags.contains(ASTFlags::CONSTANT), *position)
            }
            Stmt::Assignment(assignment) => self.assignment(&assignment.0, &assignment.1),
            Stmt::FnCall(call, position) => self.call(call, *position),
            Stmt::Block(block) => self.block(block.statements()),
            Stmt::Expr(expression) => self.expression(expression),
            Stmt::Return(value, flags, position) => {
                if flags.contains(ASTFlags::BREAK) {
                    return self.error(*position, "throw is not for rules; say no_verdict(\"why\")");
                }
                let value = value.as_ref().map_or(Type::Nothing, |value| self.expression(value));
                if let Some(frame) = self.stack.last_mut() {
                    frame.returns = core::mem::replace(&mut frame.returns, Type::Any).or(value);
                }
                Type::Never
            }
            Stmt::While(_, position)
            | Stmt::Do(_, _, position)
            | Stmt::For(_, position)
            | Stmt::BreakLoop(_, _, position) => self
                .error(*position, "loops are off in rules: write the steps out, or put them in a function"),
            Stmt::Switch(_, position) => {
                self.error(*position, "switch is not for rules; write if ... else if ...")
            }
            Stmt::TryCatch(_, position) => {
                self.error(*position, "an error in a rule is never caught: it gives no verdict")
            }
            other => self.error(other.position(), "this is not part of the rule language"),
        }
    }

    fn define(&mut self, name: rhai::ImmutableString, value: Type, fixed: bool, at: Position) -> Type {
        match value {
            Type::Nothing | Type::Never | Type::Mixed => {
                return self.error(at, format!("{name} would be {}", value.words()));
            }
            Type::Record(record) => {
                let text = format!(
                    "{} stays {}; keep single values: let x = {}.name",
                    record.name(),
                    record.name(),
                    record.name()
                );
                return self.error(at, text);
            }
            _ => {}
        }
        let reserved = [Record::Readings, Record::Nameplate, Record::Limits].map(Record::name);
        if reserved.contains(&name.as_str()) {
            return self.error(at, format!("{name} has its meaning in every rule; take another name"));
        }
        if let Some(frame) = self.stack.last_mut() {
            frame.names.push(Name { name, value, at, fixed, used: false });
        }
        Type::Nothing
    }

    fn assignment(&mut self, operator: &OpAssignment, sides: &BinaryExpr) -> Type {
        let value = self.expression(&sides.rhs);
        let at = operator.position();
        let Expr::Variable(variable, ..) = &sides.lhs else {
            return self.error(
                at,
                "only a name set with let can be changed; readings and nameplate stay as they are",
            );
        };
        let own = variable.1.as_str();
        let found = self.stack.last_mut().and_then(|f| f.names.iter_mut().rev().find(|n| n.name == own));
        let Some(name) = found else { return self.error(at, format!("{own} is not set with let")) };
        if name.fixed {
            return self.error(at, format!("{own} cannot be changed; set a new name with let"));
        }
        let before = name.value.clone();
        let after = before.clone().or(value.clone());
        if matches!(after, Type::Mixed | Type::Record(_)) {
            let text = format!("{own} is {}; it cannot become {}", before.words(), value.words());
            return self.error(at, text);
        }
        name.value = after;
        let numbers =
            matches!((&before, &value), (Type::Number(..) | Type::Any, Type::Number(..) | Type::Any));
        if operator.is_op_assignment() && !numbers {
            let text = format!("this works on two numbers, not on {} and {}", before.words(), value.words());
            return self.error(at, text);
        }
        if let (Some((_, _, _, _, _, sign)), Type::Number(a, x), Type::Number(b, y)) =
            (operator.get_op_assignment_info(), &before, &value)
        {
            let (a, x, b, y) = (*a, *x, *b, *y);
            let measure = self.combined(sign, [x, y], [None, written(&sides.rhs)], at);
            self.rename(own, Type::Number(a.and(b), measure));
        }
        Type::Nothing
    }

    /// What a name stands for from here on.
    fn rename(&mut self, own: &str, value: Type) {
        let names = self.stack.last_mut().map(|frame| frame.names.iter_mut());
        if let Some(name) = names.and_then(|names| names.rev().find(|name| name.name == own)) {
            name.value = value;
        }
    }
}
