//! Calls: the rule's own functions, written out; the catalogue; the words that judge.

use alloc::rc::Rc;
use alloc::vec::Vec;

use rhai::{FnCallExpr, ImmutableString, Position};
use rulecode::program::{AnswerOf, Instruction, Number, Slot};
use trade::catalogue::{self, Function, ParameterKind, Returns};

use super::value::{Tree, Value};
use super::{Compiler, Frame, Step};
use crate::limits::CALL_LEVELS_MAX;

impl Compiler<'_> {
    fn own(&self, call: &FnCallExpr) -> Option<usize> {
        self.functions.iter().position(|f| f.name == call.name && f.parameters.len() == call.args.len())
    }

    /// Writes out a call of an own function whose result is the rule's answer; false if it is no such call.
    pub(super) fn own_tail_call(&mut self, call: &FnCallExpr, at: Position) -> Step<bool> {
        let Some(index) = self.own(call) else { return Ok(false) };
        let arguments = self.arguments(&call.args)?;
        self.written_out(index, arguments, at, true)?;
        Ok(true)
    }

    /// The result of an own function.
    fn written_out(
        &mut self,
        index: usize,
        arguments: Vec<Value>,
        at: Position,
        is_tail: bool,
    ) -> Step<Value> {
        let functions = self.functions;
        let Some(function) = functions.get(index) else { return Ok(Value::Nothing) };
        if self.frames.len() >= CALL_LEVELS_MAX {
            return self
                .refuse(at, alloc::format!("functions call functions more than {CALL_LEVELS_MAX} deep"));
        }
        let names = function.parameters.iter().cloned().zip(arguments).collect();
        self.frames.push(Frame { names, is_tail, returns: Vec::new() });
        let place = core::mem::replace(&mut self.place, at);
        let value = if is_tail {
            self.answer_of(&function.body, function.end)?;
            self.now = None;
            self.frames.pop();
            Value::Nothing
        } else {
            let last = self.statements(&function.body)?;
            let mut ways = self.frames.pop().map(|frame| frame.returns).unwrap_or_default();
            ways.extend(self.now.map(|end| (end, last)));
            self.join(&ways, at)?
        };
        self.place = place;
        Ok(value)
    }

    pub(super) fn call(&mut self, call: &FnCallExpr, at: Position) -> Step<Value> {
        if call.op_token.is_some() {
            return self.operator(call, at);
        }
        let values = self.arguments(&call.args)?;
        if let Some(index) = self.own(call) {
            return self.written_out(index, values, at, false);
        }
        match call.name.as_str() {
            name @ ("within" | "at_least" | "at_most") => {
                let slot = self.slot(&values, name, at)?;
                let Slot { name, value, low, high, .. } = slot;
                self.emit(at, Instruction::Judge { name, value, low, high })?;
                Ok(Value::Judgement(slot))
            }
            "all_of" => {
                let slots = values.iter().map(|value| match value {
                    Value::Judgement(slot) => Ok(*slot),
                    _ => self.refuse(at, "all_of takes judgements"),
                });
                let slots: Vec<Slot> = slots.collect::<Step<_>>()?;
                Ok(Value::Answer(Rc::new(Tree::Leaf(AnswerOf::Judgements(slots)))))
            }
            "no_verdict" => match values.as_slice() {
                [Value::Text(why, _)] => Ok(Value::Answer(Rc::new(Tree::Leaf(AnswerOf::NoVerdict(*why))))),
                _ => self.refuse(at, "no_verdict takes one text"),
            },
            name => {
                let found = catalogue::find(name).find(|function| function.parameters.len() == values.len());
                match found {
                    Some(function) => self.catalogue(function, &values, at),
                    None => self.refuse(at, alloc::format!("no function is named {name}")),
                }
            }
        }
    }

    fn catalogue(&mut self, function: &'static Function, values: &[Value], at: Position) -> Step<Value> {
        let to = self.builder.number();
        let index = self.builder.function(function);
        let count = u16::try_from(values.len()).unwrap_or(u16::MAX);
        let mut lists: Vec<Vec<Number>> = Vec::with_capacity(values.len());
        for (parameter, value) in function.parameters.iter().zip(values) {
            lists.push(match (parameter.kind, value) {
                (ParameterKind::List(_), Value::List(numbers)) => numbers.clone(),
                (ParameterKind::Word(list), value) => alloc::vec![self.word(value, list, at)?],
                (_, value) => alloc::vec![self.as_number(value, at)?],
            });
        }
        let call = if function.takes_lists() {
            let first = self.builder.lists(&lists);
            Instruction::CallLists { function: index, first, count, to }
        } else {
            let first = self.builder.operands(&lists.concat());
            Instruction::Call { function: index, first, count, to }
        };
        self.emit(at, call)?;
        Ok(match function.returns {
            Returns::Number(_) => Value::Number(to),
            Returns::Word(words) => Value::Word(to, words.iter().map(|word| (*word).into()).collect()),
        })
    }

    /// The register with the place of a word in the list of a parameter.
    fn word(&mut self, value: &Value, list: &[&str], at: Position) -> Step<Number> {
        let place_of = |word: &ImmutableString| list.iter().position(|known| *known == word.as_str());
        match value {
            Value::Text(_, Some(text)) => {
                let place = place_of(text).map_or(f64::NAN, |place| place as f64);
                Ok(self.builder.constant(place))
            }
            Value::Word(from, words) => {
                let table: Vec<f64> =
                    words.iter().map(|word| place_of(word).map_or(f64::NAN, |p| p as f64)).collect();
                let as_it_is =
                    table.iter().enumerate().all(|(place, to)| to.to_bits() == (place as f64).to_bits());
                if as_it_is {
                    return Ok(*from);
                }
                let to = self.builder.number();
                let table = self.builder.table(table);
                self.emit(at, Instruction::Place { table, from: *from, to })?;
                Ok(to)
            }
            _ => self.refuse(at, "a word of a list is wanted here"),
        }
    }
}
