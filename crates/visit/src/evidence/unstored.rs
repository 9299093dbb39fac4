//! What verdicts show to other checks, kept until the caller has said that the verdict is stored. Plain data, bounded.

use alloc::collections::VecDeque;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::Instant;

use super::standing::STANDING_MAX;
use crate::hold::{self, Scope};
use crate::job::Place;
use crate::model::Slot;
use crate::verdict::Verdict;
use judge::limits::Word;

/// A verdict that shows hold points, or takes them away.
#[derive(Clone, Debug)]
pub(super) struct Pending {
    number: u64,
    unit_tag: String,
    component: String,
    slot: Slot,
    pub(super) check: u32,
    pub(super) title: String,
    pub(super) word: Word,
    pub(super) danger: bool,
    pub(super) at: Instant,
    pub(super) names: Vec<String>,
    /// The device of all its readings; `None` for several, or none.
    pub(super) device: Option<String>,
    /// Which of the names stood until this verdict took them away.
    pub(super) taken: Vec<String>,
}

impl Pending {
    /// What this verdict shows by these names.
    pub(super) fn new(verdict: &Verdict, slot: &Slot, names: Vec<String>) -> Self {
        Self {
            number: verdict.number,
            unit_tag: verdict.unit_tag.clone(),
            component: verdict.component.clone(),
            slot: slot.clone(),
            check: verdict.check,
            title: verdict.title.clone(),
            word: verdict.word,
            danger: verdict.danger,
            at: verdict.at,
            names,
            device: device_of(verdict),
            taken: Vec::new(),
        }
    }

    /// Where.
    pub(super) fn place(&self) -> Place<'_> {
        Place { unit_tag: &self.unit_tag, component: &self.component, slot: &self.slot }
    }

    /// Whether it shows its names; else it takes them away.
    pub(super) fn passes(&self) -> bool {
        matches!(self.word, Word::Pass | Word::ConditionalPass)
    }
}

/// The device of all readings of a verdict.
fn device_of(verdict: &Verdict) -> Option<String> {
    let first = verdict.readings.first()?;
    verdict.readings.iter().all(|reading| reading.device == first.device).then(|| first.device.clone())
}

/// Those that wait, in the order of their verdicts.
#[derive(Clone, Debug, Default)]
pub(super) struct Unstored(VecDeque<Pending>);

impl Unstored {
    /// Keeps one; beyond the bound the oldest goes, and what it would have shown is asked for again.
    pub(super) fn keep(&mut self, given: Pending) {
        if self.0.len() >= STANDING_MAX {
            self.0.pop_front();
        }
        self.0.push_back(given);
    }

    /// An earlier pass that waits for its storing shows these names no more: on the whole unit, or where a name is about a component,
    /// on this one, or where it is about leads, on every unit.
    pub(super) fn take_back(&mut self, by: &Pending) {
        for earlier in &mut self.0 {
            let there = earlier.unit_tag != by.unit_tag;
            let here = !there && earlier.component == by.component;
            let stays = |name: &String| match hold::of(name).scope {
                Scope::Leads => earlier.device != by.device,
                Scope::Served => !here,
                _ => there,
            };
            earlier.names.retain(|name| stays(name) || !by.names.contains(name));
        }
    }

    /// The verdict of this number is stored.
    pub(super) fn stored(&mut self, number: u64) -> Option<Pending> {
        let at = self.0.iter().position(|given| given.number == number)?;
        self.0.remove(at)
    }

    /// The visit at this unit has ended: what waits there shows nothing any more.
    pub(super) fn leave(&mut self, unit_tag: &str) {
        self.0.retain(|given| given.unit_tag != unit_tag);
    }

    /// Nothing waits any more.
    pub(super) fn forget(&mut self) {
        self.0.clear();
    }
}
