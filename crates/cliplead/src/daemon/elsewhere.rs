//! When it is looked up which visits other machines have open. Asks nobody itself; `visits` does.

use std::time::Duration;

use crate::clock::Moment;

/// How often it is looked up.
const LOOK_EVERY: Duration = Duration::from_secs(30);

/// When it was last asked for, and whether the answer is still awaited.
#[derive(Default)]
pub(super) struct Elsewhere {
    asked: Option<Moment>,
    on_the_way: bool,
}

impl Elsewhere {
    /// Whether to ask now; one question at a time.
    pub(super) fn is_due(&self, now: Moment) -> bool {
        !self.on_the_way && self.asked.is_none_or(|asked| now.since(asked) >= LOOK_EVERY)
    }

    /// It was asked for, if somebody could take the question.
    pub(super) fn asked(&mut self, now: Moment, sent: bool) {
        self.asked = Some(now);
        self.on_the_way = sent;
    }

    /// The answer is there.
    pub(super) fn is_looked_up(&mut self) {
        self.on_the_way = false;
    }

    /// Something has changed there.
    pub(super) fn has_changed(&mut self) {
        self.asked = None;
    }
}
