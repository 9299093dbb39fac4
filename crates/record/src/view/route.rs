//! The route as the page lists it: its units with what became of their checks, what is owed there and who has a visit open. A text of
//! its own beside the view, because it is long and changes seldom. Counts what it is given; decides nothing.

use alloc::borrow::ToOwned;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use judge::limits::Word;
use serde::Serialize;
use serde_json::{Map, Value, json};
use visit::round::Owed;

use crate::plain;

/// Units that are listed at most; further ones are counted.
pub const LISTED_UNITS_MAX: usize = 256;
/// Checks that are listed at most, of all units together; further ones are counted.
pub const LISTED_CHECKS_MAX: usize = 2048;
/// Characters of a text in the list at most.
const TEXT_CHARS_MAX: usize = 200;

/// What is known of the route's units and checks, as far as it may be shown.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RouteList {
    /// Its units, in the order of the route; behind them those that only have a visit.
    pub units: Vec<ListedUnit>,
    /// Why the last thing asked for was not done, where that was known only later.
    pub refused: Option<String>,
}

/// A unit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ListedUnit {
    /// Its tag.
    pub tag: String,
    /// Its checks, in the order of the route.
    pub checks: Vec<ListedCheck>,
    /// What must be put back there.
    pub owed: Vec<Owed>,
    /// This machine has a visit open there.
    pub visit_open: bool,
    /// What is not in order about its service.
    pub lacks: Option<&'static str>,
    /// The visits of other machines there, each in a sentence.
    pub elsewhere: Vec<String>,
}

/// A check of the route.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ListedCheck {
    /// The component.
    pub component: String,
    /// Rule id.
    pub rule: String,
    /// Rule title.
    pub title: String,
    /// The last word it was given.
    pub word: Option<Word>,
    /// What the leads showed afterwards, where that contradicts the word.
    pub amended: Option<Word>,
    /// A danger was found.
    pub danger: bool,
    /// The word was shown although it is not stored.
    pub unsaved: bool,
    /// Why it was left without a verdict.
    pub skipped: Option<String>,
}

/// The route in short, for the view.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct RouteSummary {
    /// The number of the list; it grows with each change.
    pub rev: u64,
    /// How many checks there are.
    pub checks: usize,
    /// How many of them have a verdict.
    pub judged: usize,
    /// The unit under work.
    pub unit: Option<UnitSummary>,
}

/// The unit under work in short, for the view.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct UnitSummary {
    /// Its tag.
    pub tag: String,
    /// This machine has a visit open there.
    pub visit_open: bool,
    /// What is not in order about its service.
    pub lacks: Option<&'static str>,
    /// The visits of other machines there, each in a sentence.
    pub elsewhere: Vec<String>,
    /// One of those visits can be taken over.
    pub can_take_over: bool,
}

impl ListedCheck {
    /// Whether it counts as judged: a check without a verdict is still to be done.
    fn is_judged(&self) -> bool {
        self.word.is_some_and(|word| word != Word::NoVerdict)
    }

    /// The worse of its word and what the leads showed afterwards.
    fn worst(&self) -> Option<Word> {
        self.word.max(self.amended)
    }
}

impl ListedUnit {
    fn judged(&self) -> usize {
        self.checks.iter().filter(|check| check.is_judged()).count()
    }

    fn worst(&self) -> Option<Word> {
        self.checks.iter().filter_map(ListedCheck::worst).max()
    }

    /// Whether a visit that another machine has open can be taken over: not beside one of this machine.
    fn can_take_over(&self) -> bool {
        !self.visit_open && !self.elsewhere.is_empty()
    }
}

impl RouteList {
    /// The route in short, with the unit under work.
    #[must_use]
    pub fn summary(&self, rev: u64, unit_under_work: Option<&str>) -> RouteSummary {
        let of = unit_under_work.map(|tag| {
            let unit = self.units.iter().find(|unit| unit.tag == tag);
            let empty = ListedUnit { tag: tag.to_owned(), ..ListedUnit::default() };
            let unit = unit.unwrap_or(&empty);
            UnitSummary {
                tag: text(tag),
                visit_open: unit.visit_open,
                lacks: unit.lacks,
                elsewhere: texts(&unit.elsewhere),
                can_take_over: unit.can_take_over(),
            }
        });
        RouteSummary {
            rev,
            checks: self.units.iter().map(|unit| unit.checks.len()).sum(),
            judged: self.units.iter().map(ListedUnit::judged).sum(),
            unit: of,
        }
    }
}

/// The list as one JSON text of bounded length.
#[must_use]
pub fn route_json(rev: u64, list: &RouteList) -> String {
    let mut room = LISTED_CHECKS_MAX;
    let mut units = Vec::new();
    for unit in list.units.iter().take(LISTED_UNITS_MAX) {
        let checks: Vec<Value> = unit.checks.iter().take(room).map(check).collect();
        room = room.saturating_sub(checks.len());
        units.push(json!({
            "tag": text(&unit.tag), "count": unit.checks.len(), "judged": unit.judged(), "worst": unit.worst().map(Word::text),
            "danger": unit.checks.iter().any(|check| check.danger), "owed": unit.owed.iter().map(|owed| text(&owed.in_words())).collect::<Vec<_>>(),
            "visit_open": unit.visit_open, "lacks": unit.lacks, "elsewhere": texts(&unit.elsewhere), "can_take_over": unit.can_take_over(),
            "checks": checks,
        }));
    }
    let all: usize = list.units.iter().map(|unit| unit.checks.len()).sum();
    json!({
        "rev": rev,
        "units": units,
        "units_left_off": list.units.len().saturating_sub(LISTED_UNITS_MAX),
        "checks_left_off": all.saturating_sub(LISTED_CHECKS_MAX.saturating_sub(room)),
        "refused": list.refused.as_deref().map(text),
    })
    .to_string()
}

/// What does not hold is left out: most checks of a long route have no word yet.
fn check(check: &ListedCheck) -> Value {
    let flag = |set: bool| set.then_some(Value::Bool(true));
    let word = |word: Option<Word>| word.map(|word| Value::from(word.text()));
    let fields = [
        ("component", Some(text(&check.component).into())),
        ("rule", Some(text(&check.rule).into())),
        ("title", Some(text(&check.title).into())),
        ("word", word(check.word)),
        ("amended", word(check.amended)),
        ("danger", flag(check.danger)),
        ("unsaved", flag(check.unsaved)),
        ("skipped", check.skipped.as_deref().map(|why| text(why).into())),
    ];
    fields.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value?))).collect::<Map<_, _>>().into()
}

fn texts(of: &[String]) -> Vec<String> {
    of.iter().map(|of| text(of)).collect()
}

/// Plain, and cut where it is too long.
fn text(of: &str) -> String {
    let plain = plain(of);
    match plain.char_indices().nth(TEXT_CHARS_MAX) {
        Some((at, _)) => [plain.get(..at).unwrap_or_default(), "..."].concat(),
        None => plain.into_owned(),
    }
}

#[cfg(test)]
mod tests;
