//! Where ways meet: one value out of the values of several blocks, and copies that a later change does not touch.

use alloc::rc::Rc;
use alloc::vec::Vec;

use rhai::Position;
use rulecode::program::{Block, Exit, Flag, Instruction, Mark, Number, Slot};

use super::value::{Tree, Value};
use super::{Compiler, Step};

/// A kind of register: how to make one, and how to copy into it.
trait Register: Copy + PartialEq {
    fn new(compiler: &mut Compiler<'_>) -> Self;
    fn copy(self, to: Self) -> Instruction;
}

impl Register for Number {
    fn new(compiler: &mut Compiler<'_>) -> Self {
        compiler.builder.number()
    }
    fn copy(self, to: Self) -> Instruction {
        Instruction::CopyNumber { from: self, to }
    }
}

impl Register for Flag {
    fn new(compiler: &mut Compiler<'_>) -> Self {
        compiler.builder.flag()
    }
    fn copy(self, to: Self) -> Instruction {
        Instruction::CopyFlag { from: self, to }
    }
}

impl Register for Mark {
    fn new(compiler: &mut Compiler<'_>) -> Self {
        compiler.builder.mark()
    }
    fn copy(self, to: Self) -> Instruction {
        Instruction::CopyMark { from: self, to }
    }
}

impl Compiler<'_> {
    /// Goes on where these ways meet; the value there.
    pub(super) fn join(&mut self, ways: &[(Block, Value)], position: Position) -> Step<Value> {
        match ways {
            [] => {
                self.now = None;
                return Ok(Value::Nothing);
            }
            [(block, value)] => {
                self.now = Some(*block);
                return Ok(value.clone());
            }
            _ => {}
        }
        let value = self.merged(ways, position)?;
        let meet = self.block(position)?;
        for (block, _) in ways {
            self.now = Some(*block);
            self.leave(Exit::Go(meet));
        }
        self.now = Some(meet);
        Ok(value)
    }

    fn merged(&mut self, ways: &[(Block, Value)], position: Position) -> Step<Value> {
        if let Some(numbers) =
            all(ways, |value| if let Value::Number(number) = value { Some(*number) } else { None })
        {
            return Ok(Value::Number(self.one_of(&numbers, position)?));
        }
        if let Some(flags) = all(ways, |value| if let Value::Flag(flag) = value { Some(*flag) } else { None })
        {
            return Ok(Value::Flag(self.one_of(&flags, position)?));
        }
        if let Some(texts) =
            all(ways, |value| if let Value::Text(mark, _) = value { Some(*mark) } else { None })
        {
            let mut known = ways
                .iter()
                .map(|(_, value)| if let Value::Text(_, known) = value { known.clone() } else { None });
            let first =
                known.next().flatten().filter(|first| known.all(|other| other.as_ref() == Some(first)));
            return Ok(Value::Text(self.one_of(&texts, position)?, first));
        }
        if let Some(places) =
            all(ways, |value| if let Value::Word(place, _) = value { Some(*place) } else { None })
            && let Some((_, Value::Word(_, list))) = ways.first()
        {
            return Ok(Value::Word(self.one_of(&places, position)?, Rc::clone(list)));
        }
        if let Some(slots) =
            all(ways, |value| if let Value::Judgement(slot) = value { Some(*slot) } else { None })
        {
            return Ok(Value::Judgement(self.one_slot(&slots, position)?));
        }
        if let Some(answers) = all(ways, Value::answer) {
            return self.one_answer(&answers, position);
        }
        if let Some(records) =
            all(ways, |value| if let Value::Record(record) = value { Some(*record) } else { None })
            && let [(_, first), ..] = records.as_slice()
        {
            return Ok(Value::Record(*first));
        }
        Ok(Value::Nothing)
    }

    fn emit_in(&mut self, block: Block, instruction: Instruction, position: Position) -> Step<()> {
        let before = self.now.replace(block);
        let emitted = self.emit(position, instruction);
        self.now = before;
        emitted
    }

    /// One register with the value of each way.
    fn one_of<R: Register>(&mut self, ways: &[(Block, R)], position: Position) -> Step<R> {
        if let [(_, first), rest @ ..] = ways
            && rest.iter().all(|(_, other)| other == first)
        {
            return Ok(*first);
        }
        let to = R::new(self);
        for (block, from) in ways {
            self.emit_in(*block, from.copy(to), position)?;
        }
        Ok(to)
    }

    fn one_limit(&mut self, ways: &[(Block, Option<Number>)], position: Position) -> Step<Option<Number>> {
        if ways.iter().all(|(_, limit)| limit.is_none()) {
            return Ok(None);
        }
        let none = self.builder.constant(f64::NAN);
        let ways: Vec<(Block, Number)> =
            ways.iter().map(|(block, limit)| (*block, limit.unwrap_or(none))).collect();
        self.one_of(&ways, position).map(Some)
    }

    fn one_slot(&mut self, ways: &[(Block, Slot)], position: Position) -> Step<Slot> {
        fn part<T>(ways: &[(Block, Slot)], get: impl Fn(&Slot) -> T) -> Vec<(Block, T)> {
            ways.iter().map(|(block, slot)| (*block, get(slot))).collect()
        }
        let name = self.one_of(&part(ways, |slot| slot.name), position)?;
        let value = self.one_of(&part(ways, |slot| slot.value), position)?;
        let low = self.one_limit(&part(ways, |slot| slot.low), position)?;
        let high = self.one_limit(&part(ways, |slot| slot.high), position)?;
        let made = self.one_of(&part(ways, |slot| slot.made), position)?;
        let mut texts = [self.builder.no_text(); 5];
        for (index, text) in texts.iter_mut().enumerate() {
            let none = *text;
            *text =
                self.one_of(&part(ways, |slot| slot.texts.get(index).copied().unwrap_or(none)), position)?;
        }
        Ok(Slot { name, value, low, high, texts, made })
    }

    fn one_answer(&mut self, ways: &[(Block, Rc<Tree>)], position: Position) -> Step<Value> {
        let Some(((_, first), rest)) = ways.split_first() else { return Ok(Value::Nothing) };
        let mut tree = Rc::clone(first);
        for (block, other) in rest {
            // Registers of yes/no stand at no where nothing sets them.
            let flag = self.builder.flag();
            let yes = self.builder.always(true);
            self.emit_in(*block, Instruction::CopyFlag { from: yes, to: flag }, position)?;
            tree = Rc::new(Tree::Either(flag, Rc::clone(other), tree));
        }
        Ok(Value::Answer(tree))
    }

    /// The value in registers of its own, which a later change of the original does not touch.
    pub(super) fn own_copy(&mut self, value: &Value, position: Position) -> Step<Value> {
        Ok(match value {
            Value::Number(number) => Value::Number(self.fresh(*number, position)?),
            Value::Flag(flag) => Value::Flag(self.fresh(*flag, position)?),
            Value::Text(mark, known) => Value::Text(self.fresh(*mark, position)?, known.clone()),
            Value::Word(place, list) => Value::Word(self.fresh(*place, position)?, Rc::clone(list)),
            Value::Judgement(slot) => {
                let none = self.builder.constant(f64::NAN);
                let mut copy = *slot;
                copy.name = self.fresh(slot.name, position)?;
                copy.value = self.fresh(slot.value, position)?;
                copy.low = Some(self.fresh(slot.low.unwrap_or(none), position)?);
                copy.high = Some(self.fresh(slot.high.unwrap_or(none), position)?);
                copy.made = self.fresh(slot.made, position)?;
                for text in &mut copy.texts {
                    *text = self.fresh(*text, position)?;
                }
                Value::Judgement(copy)
            }
            other => other.clone(),
        })
    }

    fn fresh<R: Register>(&mut self, from: R, position: Position) -> Step<R> {
        let to = R::new(self);
        self.emit(position, from.copy(to))?;
        Ok(to)
    }

    /// Copies a value into the registers of a name; what the name is then.
    pub(super) fn change(&mut self, name: &Value, value: &Value, position: Position) -> Step<Value> {
        match (name, value) {
            (Value::Number(to), Value::Number(from)) => self.emit(position, from.copy(*to))?,
            (Value::Word(to, _), Value::Word(from, _)) => self.emit(position, from.copy(*to))?,
            (Value::Flag(to), Value::Flag(from)) => self.emit(position, from.copy(*to))?,
            (Value::Text(to, before), Value::Text(from, after)) => {
                self.emit(position, from.copy(*to))?;
                return Ok(Value::Text(*to, before.clone().filter(|_| before == after)));
            }
            (Value::Judgement(to), Value::Judgement(from)) => {
                let none = self.builder.constant(f64::NAN);
                self.emit(position, from.name.copy(to.name))?;
                self.emit(position, from.value.copy(to.value))?;
                for (limit, to) in [(from.low, to.low), (from.high, to.high)] {
                    if let Some(to) = to {
                        self.emit(position, limit.unwrap_or(none).copy(to))?;
                    }
                }
                self.emit(position, from.made.copy(to.made))?;
                for (from, to) in from.texts.iter().zip(to.texts) {
                    self.emit(position, from.copy(to))?;
                }
            }
            (name, value) => {
                let (Some(before), Some(after)) = (name.answer(), value.answer()) else {
                    return self
                        .refuse(position, "this cannot be kept under a name; write it where it is used");
                };
                let flag = self.builder.flag();
                let yes = self.builder.always(true);
                self.emit(position, Instruction::CopyFlag { from: yes, to: flag })?;
                return Ok(Value::Answer(Rc::new(Tree::Either(flag, after, before))));
            }
        }
        Ok(name.clone())
    }
}

/// What `get` finds in each way; `None` if it finds nothing in one.
fn all<T>(ways: &[(Block, Value)], get: impl Fn(&Value) -> Option<T>) -> Option<Vec<(Block, T)>> {
    ways.iter().map(|(block, value)| get(value).map(|found| (*block, found))).collect()
}
