//! Statements: blocks, names, branches, returns; and the answer at the end.

use alloc::rc::Rc;
use alloc::vec::Vec;

use rhai::{BinaryExpr, Expr, OpAssignment, Position, Stmt};
use rulecode::program::{Arithmetic, Exit, Instruction};

use super::value::{Tree, Value};
use super::{Compiler, Frame, Step};
use crate::analysis::Record;

impl Compiler<'_> {
    /// `judge`, whose result is the rule's answer.
    pub(super) fn judge(&mut self, takes_limits: bool) -> Step<()> {
        let Some(judge) = self.functions.iter().find(|function| function.name == "judge") else {
            return self.refuse(Position::NONE, "a rule has a function judge");
        };
        let records = [Record::Readings, Record::Nameplate, Record::Limits];
        let count = if takes_limits { 3 } else { 2 };
        let names =
            records.iter().take(count).map(|record| (record.name().into(), Value::Record(*record))).collect();
        self.frames.push(Frame { names, is_tail: true, returns: Vec::new() });
        self.answer_of(&judge.body, judge.end)?;
        self.frames.pop();
        Ok(())
    }

    /// A block whose value is the rule's answer.
    pub(super) fn answer_of(&mut self, statements: &[Stmt], end: Position) -> Step<()> {
        let outer = self.names_known();
        if let Some((last, before)) = statements.split_last() {
            for statement in before {
                self.statement(statement)?;
            }
            match last {
                Stmt::If(flow, position) => {
                    let (yes, no) = (self.block(*position)?, self.block(*position)?);
                    self.condition(&flow.expr, yes, no)?;
                    self.now = Some(yes);
                    self.answer_of(flow.body.statements(), flow.body.end_position())?;
                    self.now = Some(no);
                    self.answer_of(flow.branch.statements(), flow.branch.end_position())?;
                }
                Stmt::Block(block) => self.answer_of(block.statements(), block.end_position())?,
                Stmt::Expr(expression) => self.answer(expression)?,
                Stmt::FnCall(call, position) => {
                    if !self.own_tail_call(call, *position)? {
                        let value = self.call(call, *position)?;
                        self.give(&value, *position)?;
                    }
                }
                other => {
                    let value = self.statement(other)?;
                    self.give(&value, other.position())?;
                }
            }
        } else {
            self.give(&Value::Nothing, end)?;
        }
        self.forget_names(outer);
        Ok(())
    }

    /// An expression whose value is the rule's answer.
    fn answer(&mut self, expression: &Expr) -> Step<()> {
        match expression {
            Expr::Stmt(block) => return self.answer_of(block.statements(), block.end_position()),
            Expr::FnCall(call, position) if self.own_tail_call(call, *position)? => return Ok(()),
            _ => {}
        }
        let value = self.expression(expression)?;
        self.give(&value, expression.start_position())
    }

    /// Ends the program with this answer.
    pub(super) fn give(&mut self, value: &Value, position: Position) -> Step<()> {
        if self.now.is_none() {
            return Ok(());
        }
        match value.answer() {
            Some(tree) => self.give_tree(&tree, position),
            None => self.refuse(
                position,
                "judge gives no judgement here: within, at_least, at_most, all_of or no_verdict",
            ),
        }
    }

    fn give_tree(&mut self, tree: &Rc<Tree>, position: Position) -> Step<()> {
        match &**tree {
            Tree::Leaf(answer) => {
                let answer = self.builder.answer(answer.clone());
                self.leave(Exit::Answer(answer));
            }
            Tree::Either(on, first, second) => {
                let (yes, no) = (self.block(position)?, self.block(position)?);
                self.leave(Exit::Branch { on: *on, yes, no });
                self.now = Some(yes);
                self.give_tree(first, position)?;
                self.now = Some(no);
                self.give_tree(second, position)?;
            }
        }
        Ok(())
    }

    pub(super) fn names_known(&self) -> usize {
        self.frames.last().map_or(0, |frame| frame.names.len())
    }

    fn forget_names(&mut self, outer: usize) {
        if let Some(frame) = self.frames.last_mut() {
            frame.names.truncate(outer);
        }
    }

    /// A block inside a function; its value.
    pub(super) fn statements(&mut self, statements: &[Stmt]) -> Step<Value> {
        let outer = self.names_known();
        let mut value = Value::Nothing;
        for statement in statements {
            value = self.statement(statement)?;
        }
        self.forget_names(outer);
        Ok(value)
    }

    fn statement(&mut self, statement: &Stmt) -> Step<Value> {
        match statement {
            Stmt::Noop(_) => Ok(Value::Nothing),
            Stmt::If(flow, position) => {
                let (yes, no) = (self.block(*position)?, self.block(*position)?);
                self.condition(&flow.expr, yes, no)?;
                let mut ways = Vec::new();
                for (block, statements) in [(yes, flow.body.statements()), (no, flow.branch.statements())] {
                    self.now = Some(block);
                    let value = self.statements(statements)?;
                    ways.extend(self.now.map(|end| (end, value)));
                }
                self.join(&ways, *position)
            }
            Stmt::Var(variable, _, position) => {
                let (name, value, _) = &**variable;
                let mut value = self.expression(value)?;
                if self.changed.contains(&name.name) {
                    value = self.own_copy(&value, *position)?;
                }
                if let Some(frame) = self.frames.last_mut() {
                    frame.names.push((name.name.clone(), value));
                }
                Ok(Value::Nothing)
            }
            Stmt::Assignment(assignment) => self.assignment(&assignment.0, &assignment.1),
            Stmt::FnCall(call, position) => self.call(call, *position),
            Stmt::Block(block) => self.statements(block.statements()),
            Stmt::Expr(expression) => self.expression(expression),
            Stmt::Return(value, _, position) => {
                let Some(value) = value else { return self.refuse(*position, "return gives nothing back") };
                if self.frames.last().is_some_and(|frame| frame.is_tail) {
                    self.answer(value)?;
                } else {
                    let value = self.expression(value)?;
                    if let (Some(block), Some(frame)) = (self.now, self.frames.last_mut()) {
                        frame.returns.push((block, value));
                    }
                }
                self.now = None;
                Ok(Value::Nothing)
            }
            other => self.refuse(other.position(), "this is not part of the rule language"),
        }
    }

    fn assignment(&mut self, operator: &OpAssignment, sides: &BinaryExpr) -> Step<Value> {
        let position = operator.position();
        let value = self.expression(&sides.rhs)?;
        let Expr::Variable(variable, ..) = &sides.lhs else {
            return self.refuse(position, "only a name set with let can be changed");
        };
        let own = &variable.1;
        let frame = self.frames.last().map_or(&[][..], |frame| frame.names.as_slice());
        let Some(index) = frame.iter().rposition(|(name, _)| name == own) else {
            return self.refuse(position, alloc::format!("{own} is not set with let"));
        };
        let Some((_, before)) = frame.get(index).cloned() else { return Ok(Value::Nothing) };
        let after = match operator.get_op_assignment_info() {
            None => self.change(&before, &value, position)?,
            Some((_, _, _, _, _, sign)) => {
                let known = Arithmetic::NAMED.iter().find(|(known, _)| *known == sign);
                let (Some((_, operator)), Value::Number(to), Value::Number(b)) = (known, &before, &value)
                else {
                    return self.refuse(position, alloc::format!("{sign}= works on two numbers"));
                };
                let instruction =
                    Instruction::Arithmetic { operator: *operator, a: *to, b: *b, to: *to, assigns: true };
                self.emit(position, instruction)?;
                before
            }
        };
        if let Some((_, slot)) = self.frames.last_mut().and_then(|frame| frame.names.get_mut(index)) {
            *slot = after;
        }
        Ok(Value::Nothing)
    }
}
