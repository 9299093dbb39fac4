//! The route: the checks of a round in their order, what became of each, and the ways to go on it. Says which check comes; does not
//! arm it.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use crate::model::Slot;
use crate::plan::Plan;

/// Names that a refusal lists at most.
const LISTED_MAX: usize = 12;

/// The checks in order.
#[derive(Clone, Debug, Default)]
pub struct Route {
    stops: Vec<Stop>,
    /// The place of the armed check; `None` before the first one, and while a check is armed that is not on the route.
    at: Option<usize>,
}

#[derive(Clone, Debug)]
struct Stop {
    plan: Plan,
    judged: bool,
}

/// How far a route has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// Its checks.
    pub checks: usize,
    /// Those that have a verdict.
    pub judged: usize,
}

impl Route {
    /// A route that nobody has begun.
    #[must_use]
    pub fn new(plans: Vec<Plan>) -> Self {
        Self { stops: plans.into_iter().map(|plan| Stop { plan, judged: false }).collect(), at: None }
    }

    /// How far it has come.
    #[must_use]
    pub fn progress(&self) -> Progress {
        let judged = self.stops.iter().filter(|stop| stop.judged).count();
        Progress { checks: self.stops.len(), judged }
    }

    /// Where this check stands, if the route is there now.
    pub(crate) fn place_of(&self, plan: &Plan) -> Option<usize> {
        self.at.filter(|at| self.stops.get(*at).is_some_and(|stop| stop.plan == *plan))
    }

    /// The next check; `None` at the end.
    pub(crate) fn next(&mut self) -> Option<Plan> {
        self.go(self.at.map_or(0, |at| at.saturating_add(1)))
    }

    /// The check that [`Route::next`] would give.
    pub(crate) fn ahead(&self) -> Option<&Plan> {
        self.stops.get(self.at.map_or(0, |at| at.saturating_add(1))).map(|stop| &stop.plan)
    }

    /// The slot of a component on the route.
    pub(crate) fn slot(&self, unit_tag: &str, component: &str) -> Option<&Slot> {
        let plans = self.stops.iter().map(|stop| &stop.plan);
        plans
            .filter(|plan| plan.unit_tag == unit_tag && plan.component == component)
            .map(|plan| &plan.slot)
            .next()
    }

    /// The check before.
    ///
    /// # Errors
    /// Why there is none.
    pub(crate) fn back(&mut self) -> Result<Plan, String> {
        let before = self.at.and_then(|at| at.checked_sub(1));
        before
            .and_then(|at| self.go(at))
            .ok_or_else(|| "there is no check before this one on the route".to_string())
    }

    /// The first check of this unit that has no verdict; the first of all, where each has one.
    ///
    /// # Errors
    /// That the route does not know the unit, with those that it knows.
    pub(crate) fn unit(&mut self, tag: &str) -> Result<Plan, String> {
        let here = |stop: &Stop| stop.plan.unit_tag.eq_ignore_ascii_case(tag);
        let open = self.stops.iter().position(|stop| here(stop) && !stop.judged);
        let found = open.or_else(|| self.stops.iter().position(here));
        found.and_then(|at| self.go(at)).ok_or_else(|| {
            format!(
                "no unit {tag:?} on this route; it has {}",
                listed(self.stops.iter().map(|s| s.plan.unit_tag.clone()))
            )
        })
    }

    /// A check of `unit_tag` by its component, its rule, or both as `COMPONENT / RULE`. Of several the first without a verdict.
    ///
    /// # Errors
    /// That the unit has no such check, with those that it has.
    pub(crate) fn check(&mut self, unit_tag: Option<&str>, name: &str) -> Result<Plan, String> {
        let here = |stop: &&Stop| unit_tag.is_none_or(|tag| stop.plan.unit_tag.eq_ignore_ascii_case(tag));
        let is_it = |stop: &Stop| {
            let Plan { component, rule, .. } = &stop.plan;
            let both = format!("{component} / {rule}");
            [component, rule, &both].into_iter().any(|known| known.to_lowercase() == name.to_lowercase())
        };
        let open = self.stops.iter().position(|stop| here(&stop) && is_it(stop) && !stop.judged);
        let found = open.or_else(|| self.stops.iter().position(|stop| here(&stop) && is_it(stop)));
        found.and_then(|at| self.go(at)).ok_or_else(|| {
            let known = self.stops.iter().filter(here);
            let known = listed(known.map(|s| format!("{} / {}", s.plan.component, s.plan.rule)));
            match unit_tag {
                Some(tag) => format!("{tag} has no check {name:?} on this route; it has {known}"),
                None => format!("no check {name:?} on this route; it has {known}"),
            }
        })
    }

    /// A check is armed, on the route or not.
    pub(crate) fn armed(&mut self, plan: &Plan) {
        let same = |stop: &Stop| stop.plan == *plan;
        let already = self.at.is_some_and(|at| self.stops.get(at).is_some_and(same));
        if !already && let Some(at) = self.stops.iter().position(same) {
            self.at = Some(at);
        }
    }

    /// The armed check has a verdict.
    pub(crate) fn judged(&mut self, plan: &Plan) {
        if let Some(stop) = self.at.and_then(|at| self.stops.get_mut(at)).filter(|stop| stop.plan == *plan) {
            stop.judged = true;
        }
    }

    /// A visit at this unit goes on: these of its checks have a verdict, each by component and rule. Of stops that are alike the
    /// first has it. With `begins` the next check is the unit's first without a verdict, else the first such behind it.
    pub(crate) fn recalled(&mut self, unit_tag: &str, judged: &[(String, String)], begins: bool) {
        for (component, rule) in judged {
            let is_it = |stop: &&mut Stop| {
                stop.plan.unit_tag == unit_tag && stop.plan.component == *component && stop.plan.rule == *rule
            };
            if let Some(stop) = self.stops.iter_mut().find(is_it) {
                stop.judged = true;
            }
        }
        let here = |stop: &Stop| stop.plan.unit_tag == unit_tag;
        let (Some(first), Some(last)) = (self.stops.iter().position(here), self.stops.iter().rposition(here))
        else {
            return;
        };
        let open_from = |from: usize, which: &dyn Fn(&Stop) -> bool| {
            let rest = self.stops.iter().enumerate().skip(from);
            rest.map(|(at, stop)| (at, !stop.judged && which(stop))).find(|(_, open)| *open).map(|(at, _)| at)
        };
        let at = open_from(first, &here)
            .or_else(|| open_from(last, &|_| true))
            .or_else(|| open_from(0, &|_| true));
        if begins {
            self.at = at.unwrap_or(first).checked_sub(1);
        }
    }

    fn go(&mut self, at: usize) -> Option<Plan> {
        let plan = self.stops.get(at)?.plan.clone();
        self.at = Some(at);
        Some(plan)
    }
}

impl From<Vec<Plan>> for Route {
    fn from(plans: Vec<Plan>) -> Self {
        Self::new(plans)
    }
}

/// Each name once, as far as they can be listed.
fn listed(names: impl Iterator<Item = String>) -> String {
    let mut once: Vec<String> = Vec::new();
    for name in names {
        if !once.contains(&name) {
            once.push(name);
        }
    }
    if once.is_empty() {
        return "none".to_string();
    }
    let more = once.len().saturating_sub(LISTED_MAX);
    once.truncate(LISTED_MAX);
    let text = once.join(", ");
    if more == 0 { text } else { format!("{text} and {more} more") }
}

#[cfg(test)]
mod tests;
