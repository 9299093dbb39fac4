//! What an armed check is about: its number, its plan and its rule. Plain data that does not change while the check is armed,
//! and the names in it.

use alloc::string::String;
use alloc::sync::Arc;

use crate::model::Slot;
use crate::plan::{Binding, Plan};
use judge::rule::{Header, Point, Rule};

/// Where something was shown or measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Place<'a> {
    pub(crate) unit_tag: &'a str,
    pub(crate) component: &'a str,
    pub(crate) slot: &'a Slot,
}

/// The slot of a component of which nobody said where it stands.
static NOWHERE: Slot = Slot { circuit: None, serves: None };

impl<'a> Place<'a> {
    /// A component of which nobody said where it stands.
    pub(crate) const fn new(unit_tag: &'a str, component: &'a str) -> Self {
        Self { unit_tag, component, slot: &NOWHERE }
    }

    /// Whether a component there is this one, or serves it.
    pub(crate) fn is_served_by(&self, component: &str, slot: &Slot) -> bool {
        component == self.component || slot.serves(component, self.component)
    }
}

/// What an armed check is about.
pub(crate) struct Job {
    pub(crate) number: u32,
    pub(crate) plan: Plan,
    /// `None` when the plan names a rule that does not exist.
    pub(crate) rule: Option<Arc<dyn Rule>>,
}

impl Job {
    pub(crate) fn header(&self) -> Option<&Header> {
        self.rule.as_ref().map(|rule| rule.header())
    }

    pub(crate) fn place(&self) -> Place<'_> {
        let Plan { unit_tag, component, slot, .. } = &self.plan;
        Place { unit_tag, component, slot }
    }

    pub(crate) fn title(&self) -> &str {
        self.header().map_or(&self.plan.rule, |header| &header.title)
    }

    pub(crate) fn hold_points(&self) -> &[String] {
        self.header().map_or(&[], |header| header.hold_points.as_slice())
    }

    /// The terminals of the part, where its rule names them.
    pub(crate) fn terminals(&self) -> &[String] {
        self.header().map_or(&[], |header| header.terminals.as_slice())
    }

    /// The hold point of this check with this name, in capitals or not.
    pub(crate) fn hold_point(&self, name: &str) -> Option<&str> {
        let listed = || self.hold_points().iter().map(String::as_str);
        named(listed, name)
    }

    pub(crate) fn points(&self) -> &[Point] {
        self.header().map_or(&[], |header| header.points.as_slice())
    }

    /// The point of the rule with this name, in capitals or not, and its place in the rule.
    pub(crate) fn point(&self, name: &str) -> Option<(usize, &Point)> {
        let points = self.points();
        let found = named(|| points.iter().map(|point| point.name.as_str()), name)?;
        points.iter().enumerate().find(|(_, point)| point.name == found)
    }

    /// The channel that a point of this name is bound to.
    pub(crate) fn binding(&self, point: &str) -> Option<&Binding> {
        self.plan.bindings.iter().find(|binding| binding.point == point)
    }
}

/// The name among these that was typed: as it is written, else without regard to capitals.
fn named<'a, I: Iterator<Item = &'a str>>(known: impl Fn() -> I, typed: &str) -> Option<&'a str> {
    let same_letters = |name: &&str| name.to_lowercase() == typed.to_lowercase();
    known().find(|name| *name == typed).or_else(|| known().find(same_letters))
}
