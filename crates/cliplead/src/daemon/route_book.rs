//! The route as the page may list it: kept from what was shown, so that no word, no visit and nothing owed stands in it before it is
//! stored or marked UNSAVED. Follows; decides nothing.

use judge::limits::Word;
use judge::rule::RuleSet;
use record::{ListedCheck, ListedUnit, RouteList, VerdictJson};
use visit::round::{Output, Owed, Plan, Recall, Service};

use super::released::{ReleasedFollowUp, ReleasedVerdict, Saved};
use super::remember::{Given, Remembered};

/// The list, and what was last published of it.
#[derive(Default)]
pub(super) struct RouteBook {
    list: RouteList,
    /// For each check of the route, in its order: its unit and its place there, and the number of the check last armed there.
    stops: Vec<Stop>,
    rev: u64,
    published: Option<RouteList>,
}

struct Stop {
    unit: usize,
    check: usize,
    armed: Option<u32>,
}

impl RouteBook {
    pub(super) fn new(route: &[Plan], rules: &RuleSet) -> Self {
        let mut book = Self::default();
        for plan in route {
            let unit = book.unit(&plan.unit_tag);
            let Some(of) = book.list.units.get_mut(unit) else { continue };
            book.stops.push(Stop { unit, check: of.checks.len(), armed: None });
            of.checks.push(ListedCheck {
                component: plan.component.clone(),
                rule: plan.rule.clone(),
                ..ListedCheck::default()
            });
        }
        book.rules(rules);
        book
    }

    /// Which unit has this tag; a new one where none has.
    fn unit(&mut self, tag: &str) -> usize {
        let units = &mut self.list.units;
        units.iter().position(|unit| unit.tag == tag).unwrap_or_else(|| {
            units.push(ListedUnit { tag: tag.to_owned(), ..ListedUnit::default() });
            units.len() - 1
        })
    }

    fn with_unit(&mut self, tag: &str, change: impl FnOnce(&mut ListedUnit)) {
        let at = self.unit(tag);
        if let Some(unit) = self.list.units.get_mut(at) {
            change(unit);
        }
    }

    /// The titles are those of the rules in force.
    pub(super) fn rules(&mut self, rules: &RuleSet) {
        for check in self.list.units.iter_mut().flat_map(|unit| &mut unit.checks) {
            let title = rules.find(&check.rule).map_or("", |rule| rule.header().title.as_str());
            check.title = if title.is_empty() { check.rule.clone() } else { title.to_owned() };
        }
    }

    /// A check was armed, at this place of the route.
    pub(super) fn armed(&mut self, place: Option<usize>, check: u32) {
        if let Some(stop) = place.and_then(|place| self.stops.get_mut(place)) {
            stop.armed = Some(check);
        }
    }

    /// The check of this number; where another was armed in its place meanwhile, the first of its name.
    fn check(&mut self, number: u32, of: (&str, &str, &str)) -> Option<&mut ListedCheck> {
        let (tag, component, rule) = of;
        if let Some(stop) = self.stops.iter().find(|stop| stop.armed == Some(number)) {
            let unit = self.list.units.get_mut(stop.unit)?;
            return unit.checks.get_mut(stop.check);
        }
        let unit = self.list.units.iter_mut().find(|unit| unit.tag == tag)?;
        unit.checks.iter_mut().find(|check| check.component == component && check.rule == rule)
    }

    /// A verdict was shown.
    pub(super) fn verdict(&mut self, kept: &ReleasedVerdict) {
        let json = &kept.json;
        if let Some(check) = self.check(json.check, name(json)) {
            check.word = Some(kept.verdict.word);
            check.amended = None;
            check.danger = kept.verdict.danger;
            check.unsaved = kept.saved == Saved::No;
            check.skipped = None;
        }
    }

    /// A verdict that was shown as UNSAVED is stored now.
    pub(super) fn saved_late(&mut self, kept: &ReleasedVerdict) {
        if let Some(check) = self.check(kept.json.check, name(&kept.json)) {
            check.unsaved = false;
        }
    }

    /// An amendment was shown.
    pub(super) fn follow_up(&mut self, kept: &ReleasedFollowUp) {
        let json = &kept.json;
        let Some(now) = json.now.as_deref().and_then(Word::parse) else { return };
        if let Some(check) = self.check(json.check, (&json.unit, &json.component, &json.rule)) {
            check.amended = (check.word != Some(now)).then_some(now);
        }
    }

    /// Something was told of a visit.
    pub(super) fn told(&mut self, output: &Output) {
        match output {
            Output::Opened { unit_tag, .. } | Output::Recalled { unit_tag, .. } => {
                self.with_unit(unit_tag, |unit| unit.visit_open = true);
            }
            Output::Closed { unit_tag, .. } => self.with_unit(unit_tag, |unit| {
                unit.visit_open = false;
                unit.lacks = None;
            }),
            Output::Service { unit_tag, service, .. } => {
                self.with_unit(unit_tag, |unit| unit.lacks = service.lacks());
            }
            Output::Skipped { check, unit_tag, component, rule, why: Some(why), .. } => {
                if let Some(check) = self.check(*check, (unit_tag, component, rule)) {
                    check.skipped = Some(why.clone());
                }
            }
            _ => {}
        }
    }

    /// A visit goes on: the words that its checks were given, and how far the unit is back in service.
    pub(super) fn recalled(&mut self, given: Given, recall: &Recall) {
        self.with_unit(&recall.unit_tag, |unit| {
            unit.elsewhere.clear();
            if recall.service != Service::Untouched {
                unit.lacks = recall.service.lacks();
            }
            for (component, rule, word) in given {
                let mut alike =
                    unit.checks.iter_mut().filter(|of| of.component == component && of.rule == rule);
                if let Some(check) = alike.find(|check| check.word.is_none()) {
                    check.word = Some(word);
                }
            }
        });
    }

    /// All visits that other machines have open.
    pub(super) fn elsewhere(&mut self, all: &[Remembered]) {
        self.list.units.iter_mut().for_each(|unit| unit.elsewhere.clear());
        for (tag, words) in all.iter().filter_map(Remembered::elsewhere) {
            self.with_unit(tag, |unit| unit.elsewhere.push(words));
        }
    }

    /// Why the last thing asked for was not done; `None` when something else is asked for.
    pub(super) fn refused(&mut self, why: Option<String>) {
        self.list.refused = why;
    }

    /// What must be put back, on every unit.
    pub(super) fn owed(&mut self, owed: Vec<Owed>) {
        self.list.units.iter_mut().for_each(|unit| unit.owed.clear());
        for owed in owed {
            let tag = owed.unit_tag.clone();
            self.with_unit(&tag, |unit| unit.owed.push(owed));
        }
    }

    /// The list as a text, where it has changed since it was last asked for.
    pub(super) fn changed(&mut self) -> Option<String> {
        // Units that are not on the route stand behind the others.
        let stays = |unit: &ListedUnit| {
            !unit.checks.is_empty() || unit.visit_open || !unit.owed.is_empty() || !unit.elsewhere.is_empty()
        };
        self.list.units.retain(stays);
        if self.published.as_ref() == Some(&self.list) {
            return None;
        }
        self.rev += 1;
        self.published = Some(self.list.clone());
        Some(record::route_json(self.rev, &self.list))
    }

    /// The route in short.
    pub(super) fn summary(&self, unit_under_work: Option<&str>) -> record::RouteSummary {
        self.list.summary(self.rev, unit_under_work)
    }
}

fn name(json: &VerdictJson) -> (&str, &str, &str) {
    (&json.unit, &json.component, &json.rule)
}
