//! A rule as the engine sees it: a header (what it needs) and one pure function from numbers to an answer. Does not
//! know in which language a rule is written, nor the uncertainty of its inputs.

use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt;

use quantity::{DisplayUnit, Duration, Unit};

pub mod columns;
mod danger;
mod source;

use columns::ColumnAnswers;
pub use danger::{Beyond, Danger};
pub use source::{Source, SourceClass, SourceError, source_with_class};

/// A nameplate value that a rule needs.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateItem {
    /// Name in the rule: `plate.NAME`.
    pub name: String,
    /// The unit in which the rule receives it; [`Unit::ONE`] for a choice.
    pub unit: Unit,
    /// The possible words, if it is a choice; the rule receives the index of the word in this list. Empty for a
    /// number.
    pub choices: Vec<String>,
    /// What applies if it was not entered.
    pub default: PlateDefault,
    /// Entries outside this range (in `unit`) raise a question before they are judged; `None` for a choice.
    pub plausible: Option<(f64, f64)>,
    /// Line of its declaration, 1-based.
    pub line: usize,
}

/// What applies if a nameplate value was not entered.
#[derive(Clone, Debug, PartialEq)]
pub enum PlateDefault {
    /// It must be entered; without it there is no verdict.
    Required,
    /// This value, from this source.
    Value(f64, Source),
    /// The value of another nameplate item declared before it.
    SameAs(String, Source),
}

/// A reading that a rule needs: a named input of the check.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Name in the rule: `m.NAME`.
    pub name: String,
    /// What the mechanic reads: "C to HERM". If the rule gives none, the name with underscores as blanks.
    pub label: String,
    /// The unit in which the rule receives it; its kind is what the meter must show. With AC or DC, if it matters.
    pub display: DisplayUnit,
    /// Values outside this range (in that unit) raise a question before they are judged.
    pub plausible: Option<(f64, f64)>,
    /// The value that an open circuit counts as (in that unit), if the meter's overload with both leads on is a
    /// finding; `None` if it never is.
    pub open_counts_as: Option<f64>,
    /// A drift at which it may be judged anyway; `None`: it must come to rest.
    pub drift: Option<AcceptedDrift>,
    /// Line of its declaration, 1-based.
    pub line: usize,
}

/// A drift that a rule names and accepts: a pull-down, a discharge.
#[derive(Clone, Debug, PartialEq)]
pub struct AcceptedDrift {
    /// The trade's name for it.
    pub name: String,
    /// The greatest rate per minute, up or down, in the point's unit; above 0.
    pub per_minute: f64,
    /// Why it may be accepted.
    pub source: Source,
}

/// A named limit of the rule with its source.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedLimit {
    /// Name in the rule: `limit.NAME`.
    pub name: String,
    /// The value, in `unit`.
    pub value: f64,
    /// Its unit.
    pub unit: Unit,
    /// Where it comes from.
    pub source: Source,
    /// Line of its declaration, 1-based.
    pub line: usize,
}

impl PlateItem {
    /// The word at this index of its list; `None` for a number.
    #[must_use]
    pub fn word(&self, place: f64) -> Option<&str> {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a place in the list
        self.choices.get(place.max(0.0) as usize).map(String::as_str)
    }

    /// What may be entered: the unit of a number, "R-22 or R-410A" for a choice.
    #[must_use]
    pub fn wants(&self) -> String {
        if self.choices.is_empty() { self.unit.to_string() } else { self.choices.join(" or ") }
    }
}

/// Readings that describe one moment only together: a pressure and the temperature that goes with it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// The points, as indices into [`Header::points`]; at least two.
    pub points: Vec<usize>,
    /// How far apart in time they may lie.
    pub within: Duration,
    /// Line of its declaration, 1-based.
    pub line: usize,
}

/// Which power a unit must be known to have, or not to have, before a rule may judge.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum UnitState {
    /// It does not matter.
    #[default]
    Any,
    /// Locked out.
    Isolated,
    /// Switched on.
    Energised,
    /// Switched on, and what is judged runs.
    Running,
}

impl UnitState {
    /// All of them, by their words.
    pub const NAMED: [(Self, &'static str); 4] = [
        (Self::Any, "any"),
        (Self::Isolated, "isolated"),
        (Self::Energised, "energised"),
        (Self::Running, "running"),
    ];

    /// Its word in rules.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::NAMED.iter().find(|(state, _)| *state == self).map_or("any", |(_, word)| word)
    }
}

/// A hold point that a pass shows for other checks, and a fail withdraws.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shows {
    /// Its name.
    pub name: String,
    /// A conditional pass shows it too.
    pub by_conditional_pass: bool,
}

/// What a rule declares.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Header {
    /// Title as shown.
    pub title: String,
    /// One sentence: what it requires of the part.
    pub about: String,
    /// Nameplate values, in the order of declaration.
    pub nameplate: Vec<PlateItem>,
    /// Readings, in the order in which they are taken.
    pub points: Vec<Point>,
    /// Which readings must belong to one moment.
    pub moments: Vec<Moment>,
    /// Named limits.
    pub limits: Vec<NamedLimit>,
    /// Which state of the unit it needs.
    pub unit_state: UnitState,
    /// Hold points, in the order in which they are shown; those that lead to `unit_state` among them.
    pub hold_points: Vec<String>,
    /// The terminals between which the part may hold a charge; empty: two, without names.
    pub terminals: Vec<String>,
    /// Hold points that a pass of this rule shows for others ("airflow proved"), and a fail withdraws.
    pub shows: Vec<Shows>,
    /// What must be put back once readings were taken for it: "ports capped and leak-checked".
    pub puts_back: Vec<String>,
    /// Cautions of this rule beyond those of its hold points.
    pub cautions: Vec<String>,
    /// Readings beyond which nothing is waited for.
    pub dangers: Vec<Danger>,
}

/// One of the items that limits were computed from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SourcePart {
    /// The nameplate item's or limit's name, as shown.
    pub name: Arc<str>,
    /// The index of the nameplate item in the header; `None` for a declared limit.
    pub plate: Option<usize>,
    /// Where it comes from if nothing was entered.
    pub source: Source,
}

/// A rule's comparison of one value with its limits, before uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// What is judged; unique within the rule.
    pub name: Arc<str>,
    /// The value.
    pub value: f64,
    /// Unit of value and limits.
    pub unit: Unit,
    /// Least allowed value, if any.
    pub low: Option<f64>,
    /// Greatest allowed value, if any.
    pub high: Option<f64>,
    /// Advice if the value is inside.
    pub advice_ok: Option<Arc<str>>,
    /// Advice if the value is low.
    pub advice_low: Option<Arc<str>>,
    /// Advice if the value is high.
    pub advice_high: Option<Arc<str>>,
    /// Where the limits come from.
    pub source: Source,
    /// The parts of `source`; empty if the rule words its source itself. They let the engine say of each nameplate
    /// value whether it was entered or is a default.
    pub source_parts: Arc<[SourcePart]>,
}

impl Judgement {
    /// Whether the value and both limits are finite.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        [Some(self.value), self.low, self.high].into_iter().flatten().all(f64::is_finite)
    }
}

/// The answer of `judge`.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// One or more judgements; never empty (the engine treats an empty list as an error).
    Judgements(Vec<Judgement>),
    /// The rule itself declares that these readings allow no verdict, and why ("these look like HERM and FAN: move a
    /// lead").
    NoVerdict(Arc<str>),
}

/// An answer with the path that led to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// The answer.
    pub answer: Answer,
    /// A number that changes if the rule takes another path (if its comparisons have other outcomes).
    pub path: u64,
}

/// Why a rule gave no answer. The text names the file and line and shows the source line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RuleError {
    /// What happened, one sentence.
    pub message: String,
    /// The file, as it was loaded.
    pub file: String,
    /// 1-based line; 0 if no line is at fault.
    pub line: usize,
    /// 1-based column; 0 if unknown.
    pub column: usize,
    /// The source line.
    pub source_line: String,
}

impl fmt::Display for RuleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            return write!(f, "{}: {}", self.file, self.message);
        }
        write!(f, "{}:{}", self.file, self.line)?;
        if self.column > 0 {
            write!(f, ":{}", self.column)?;
        }
        write!(f, ": {}", self.message)?;
        if self.source_line.is_empty() { Ok(()) } else { write!(f, "\n    {}", self.source_line.trim_end()) }
    }
}

impl core::error::Error for RuleError {}

/// A rule: declarations and one pure function.
pub trait Rule: Send + Sync {
    /// Identifier: the file's stem, `run-capacitor`.
    fn id(&self) -> &str;
    /// SHA-256 of the rule's text, lower-case hex.
    fn hash(&self) -> &str;
    /// The file it was read from, as messages name it; empty if there is none.
    fn file(&self) -> &str {
        ""
    }
    /// What it declares.
    fn header(&self) -> &Header;
    /// Judges. `values` are finite and in the order points, then nameplate, in the units that the header names.
    ///
    /// # Errors
    /// [`RuleError`] whenever there is no explicit judgement: a missing field, a comparison of unlike things, a
    /// non-finite number, an exhausted budget.
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError>;
    /// Judges many times at once: a column for each input, a lane for each evaluation, as many lanes as every column
    /// has. Answers, numbers and paths of each lane are bit for bit those of [`Rule::judge`]; why a lane failed is not
    /// said.
    fn judge_columns(&self, columns: &[&[f64]], out: &mut ColumnAnswers) {
        columns::lane_by_lane(self, columns, out);
    }
}

/// The rules in force: loaded, validated and replaced as one.
#[derive(Clone, Default)]
pub struct RuleSet {
    rules: Vec<Arc<dyn Rule>>,
    hash: Arc<str>,
}

impl RuleSet {
    /// A set with the hash over all its files. A later rule with an id that is already present is the caller's error;
    /// [`RuleSet::find`] does not return it.
    #[must_use]
    pub fn new(rules: Vec<Arc<dyn Rule>>, hash: &str) -> Self {
        Self { rules, hash: hash.into() }
    }

    /// The rule with this id.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<&Arc<dyn Rule>> {
        self.rules.iter().find(|rule| rule.id() == id)
    }

    /// All rules, in load order.
    pub fn iter(&self) -> impl Iterator<Item = &Arc<dyn Rule>> {
        self.rules.iter()
    }

    /// SHA-256 over the whole set, lower-case hex.
    #[must_use]
    pub fn hash(&self) -> &str {
        &self.hash
    }
}

impl fmt::Debug for RuleSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.rules.iter().map(|rule| rule.id())).finish()
    }
}

#[cfg(test)]
mod tests;
