//! The route: the checks of a visit in their order, and how far it has come. Does not arm them; the round does.

use alloc::vec::Vec;

use crate::plan::Plan;

/// The checks in order.
#[derive(Clone, Debug, Default)]
pub struct Route {
    plans: Vec<Plan>,
    /// The place of the check that comes next.
    next: usize,
}

impl Route {
    /// A route that nobody has begun.
    #[must_use]
    pub fn new(plans: Vec<Plan>) -> Self {
        Self { plans, next: 0 }
    }

    /// Goes on to the next check; `None` at the end.
    pub(crate) fn go_on(&mut self) -> Option<Plan> {
        let plan = self.plans.get(self.next).cloned()?;
        self.next = self.next.saturating_add(1);
        Some(plan)
    }
}

impl From<Vec<Plan>> for Route {
    fn from(plans: Vec<Plan>) -> Self {
        Self::new(plans)
    }
}
