//! The values at which the word would change: those last told, and a way to ask for those of this moment. Asking runs the rule, so
//! it is done where the answer may decide, and now and then for what is shown of the wait. Knows no rule.

use alloc::vec::Vec;

/// Gives the thresholds as they are now.
pub type Ask<'a> = &'a mut dyn FnMut() -> Vec<f64>;

/// Readings after which the thresholds are asked for anew, though nothing rests on them.
const SHOWN_FOR: u32 = 8;

/// The thresholds last told.
#[derive(Clone, Debug, Default)]
pub(super) struct Thresholds {
    known: Vec<f64>,
    /// Readings since they were asked for.
    age: u32,
    asked: bool,
}

impl Thresholds {
    pub(super) fn known(&self) -> &[f64] {
        &self.known
    }

    pub(super) fn set(&mut self, thresholds: &[f64]) {
        self.known.clear();
        self.known.extend(thresholds.iter().copied().filter(|t| t.is_finite()));
    }

    /// For one reading.
    pub(super) fn asking<'t, 'a>(&'t mut self, ask: Option<Ask<'a>>) -> Asking<'t, 'a> {
        self.age = self.age.saturating_add(1);
        let is_due = ask.is_some() && (!self.asked || self.age > SHOWN_FOR);
        let mut asking = Asking { told: self, ask };
        if is_due {
            let _ = asking.now();
        }
        asking
    }
}

/// The thresholds while one reading is taken: asked for once at most.
pub(super) struct Asking<'t, 'a> {
    told: &'t mut Thresholds,
    ask: Option<Ask<'a>>,
}

impl Asking<'_, '_> {
    /// Those of this moment.
    pub(super) fn now(&mut self) -> &[f64] {
        if let Some(ask) = self.ask.take() {
            let fresh = ask();
            self.told.set(&fresh);
            (self.told.age, self.told.asked) = (0, true);
        }
        &self.told.known
    }

    /// Those last told.
    pub(super) fn known(&self) -> &[f64] {
        &self.told.known
    }
}
