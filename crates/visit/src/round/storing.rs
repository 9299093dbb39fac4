//! What a verdict shows to other checks, and when: at once, or only after the caller has said that the verdict is stored.
//! A fail closes gates at once and is told when it is stored. Does not store anything.

use alloc::collections::VecDeque;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::Instant;

use super::Round;
use super::event::{LapseReason, Output};
use super::gate::{Place, STANDING_MAX};
use crate::hold::{Evidence, How};
use crate::verdict::Verdict;
use judge::limits::Word;

/// A verdict that shows hold points, or takes them away, and is not stored yet.
#[derive(Clone, Debug)]
pub(super) struct Unstored {
    number: u64,
    unit_tag: String,
    component: String,
    title: String,
    word: Word,
    at: Instant,
    names: Vec<String>,
    /// Which of the names stood until this verdict took them away.
    taken: Vec<String>,
}

impl Round {
    /// A pass shows hold points for other checks of this unit, a fail takes them away; anything else changes nothing.
    pub(super) fn show_for_others(&mut self, verdict: &Verdict) {
        let names = self.check.as_ref().and_then(|check| check.header()).map(|header| header.shows.clone());
        let Some(names) = names.filter(|names| !names.is_empty()) else { return };
        let mut given = Unstored {
            number: verdict.number,
            unit_tag: verdict.unit_tag.clone(),
            component: verdict.component.clone(),
            title: verdict.title.clone(),
            word: verdict.word,
            at: self.now,
            names,
            taken: Vec::new(),
        };
        match given.word {
            Word::NoVerdict => return,
            Word::Pass | Word::ConditionalPass => {}
            Word::Fail | Word::ConditionalFail => {
                for earlier in self.unstored.iter_mut().filter(|earlier| earlier.unit_tag == given.unit_tag) {
                    // An earlier pass that waits for its storing shows nothing any more.
                    earlier.names.retain(|name| !given.names.contains(name));
                }
                let place = Place { unit_tag: &given.unit_tag, component: &given.component };
                let gate = &mut self.gate;
                given.taken =
                    given.names.iter().filter(|name| gate.withdraw(name, place).is_some()).cloned().collect();
            }
        }
        if !self.settings.verdicts_are_stored {
            return self.give(given);
        }
        if self.unstored.len() >= STANDING_MAX {
            self.unstored.pop_front(); // what it would have shown is asked for again
        }
        self.unstored.push_back(given);
    }

    /// The caller has stored this verdict.
    pub(super) fn stored(&mut self, number: u64) {
        let Some(at) = self.unstored.iter().position(|given| given.number == number) else { return };
        let Some(given) = self.unstored.remove(at) else { return };
        self.give(given);
        self.refresh_gate();
    }

    fn give(&mut self, given: Unstored) {
        let place = Place { unit_tag: &given.unit_tag, component: &given.component };
        for name in given.taken {
            self.say(Output::Lapsed { name, why: LapseReason::Failed });
        }
        if !matches!(given.word, Word::Pass | Word::ConditionalPass) {
            return;
        }
        for name in given.names {
            let how = How::Stream(format!("{}: {}", given.title, given.word));
            let evidence = Evidence { at: given.at, how };
            self.gate.show(&name, place, evidence.clone(), false);
            self.say(Output::HoldPoint { name, evidence });
        }
    }

    /// What unstored verdicts would show goes with everything else that counted as shown.
    pub(super) fn forget_unstored(&mut self) {
        self.unstored = VecDeque::new();
    }
}
