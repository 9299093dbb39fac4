//! The settler that goes on after a point has its value. It serves two ends with one settler: whether the leads still show the
//! value, and what its figure becomes. Either ends by itself. Settles and judges nothing of its own.

use quantity::{Reading, Unit};

use super::settling::SettlingPoint;
use judge::settle::Settling;

/// A settler that goes on, and for what.
#[derive(Clone, Debug)]
pub(crate) struct After {
    settling: SettlingPoint,
    /// The leads still show the value.
    shown: bool,
    /// The contact goes on until its figure is complete, and beyond.
    followed: bool,
    /// What the reading that was taken last met, until somebody asks for it.
    step: Option<Step>,
}

/// What a reading met.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Step {
    /// The state before it.
    pub(crate) before: Settling,
    /// Readings had paused before it.
    pub(crate) after_a_pause: bool,
}

impl After {
    pub(crate) fn new(settling: SettlingPoint) -> Self {
        Self { settling, shown: true, followed: true, step: None }
    }

    /// The settler, while the leads still show the value.
    pub(crate) fn watch(&self) -> Option<&SettlingPoint> {
        Some(&self.settling).filter(|_| self.shown)
    }

    /// The settler, while the contact goes on.
    pub(crate) fn follow(&self) -> Option<&SettlingPoint> {
        Some(&self.settling).filter(|_| self.followed)
    }

    pub(crate) fn ends_watch(&mut self) {
        self.shown = false;
    }

    pub(crate) fn ends_follow(&mut self) {
        self.followed = false;
    }

    /// Whether it serves neither end any more.
    pub(crate) fn is_over(&self) -> bool {
        !(self.shown || self.followed)
    }

    /// Takes a reading, and the state after it.
    pub(crate) fn push(&mut self, reading: &Reading, rule_unit: Unit) -> Settling {
        let after_a_pause = !self.settling.is_fresh(reading.at);
        self.step = Some(Step { before: self.settling.state, after_a_pause });
        let _ = self.settling.push(reading, rule_unit, None);
        self.settling.state
    }

    /// What this reading met, if it was taken already; asked for once.
    pub(crate) fn taken(&mut self) -> Option<Step> {
        self.step.take()
    }

    /// Goes on with another settler of the same contact, which does not show the value any more.
    pub(crate) fn begin_anew(&mut self, settling: SettlingPoint) {
        self.settling = settling;
        (self.shown, self.step) = (false, None);
    }
}
