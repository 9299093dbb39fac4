//! A rule as the engine sees it: a header (what it needs) and one pure function from numbers to an answer. Does not
//! know in which language a rule is written, nor the uncertainty of its inputs.

use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt;

use quantity::{Coupling, DisplayUnit, Duration, Unit};

mod source;

pub use source::{Source, SourceClass, SourceError, source_with_class};

/// A nameplate value a rule wants.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateItem {
    /// Name in the rule: `plate.NAME`.
    pub name: String,
    /// The unit in which the rule gets it; [`Unit::ONE`] for a choice.
    pub unit: Unit,
    /// The words it may be, when it is a choice; the rule gets the place of the word in this list. Empty for a number.
    pub choices: Vec<String>,
    /// What holds when it was not entered.
    pub default: PlateDefault,
    /// Entries outside this range (in `unit`) are asked about before they are judged; `None` for a choice.
    pub plausible: Option<(f64, f64)>,
    /// Line of its declaration, 1-based.
    pub line: usize,
}

/// What holds when a nameplate value was not entered.
#[derive(Clone, Debug, PartialEq)]
pub enum PlateDefault {
    /// It must be entered; without it there is no verdict.
    Required,
    /// This value, from this source.
    Value(f64, Source),
    /// The value of another nameplate item declared before it.
    SameAs(String, Source),
}

/// A reading a rule wants: a named input of the check.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Name in the rule: `m.NAME`.
    pub name: String,
    /// What the mechanic reads: "C to HERM". The name with underscores as blanks when the rule gives none.
    pub label: String,
    /// The unit in which the rule gets it; its kind is what the meter must show.
    pub unit: Unit,
    /// ac or dc, when it matters.
    pub coupling: Option<Coupling>,
    /// Values outside this range (in `unit`) are asked about before they are judged.
    pub plausible: Option<(f64, f64)>,
    /// What an open circuit counts as (in `unit`), where the meter's overload with both leads on is a finding; `None`
    /// where it never is.
    pub open_counts_as: Option<f64>,
    /// A drift in which it may be judged all the same; `None`: it must come to rest.
    pub drift: Option<AcceptedDrift>,
    /// Line of its declaration, 1-based.
    pub line: usize,
}

impl Point {
    /// The unit with ac or dc.
    #[must_use]
    pub fn display_unit(&self) -> DisplayUnit {
        DisplayUnit { unit: self.unit, coupling: self.coupling }
    }
}

/// A drift that a rule names and accepts: a pull-down, a discharge.
#[derive(Clone, Debug, PartialEq)]
pub struct AcceptedDrift {
    /// What the trade calls it.
    pub name: String,
    /// Up to this much a minute, up or down, in the point's unit; above 0.
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
    /// The word at this place of its list; `None` for a number.
    #[must_use]
    pub fn word(&self, place: f64) -> Option<&str> {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a place in the list
        self.choices.get(place.max(0.0) as usize).map(String::as_str)
    }

    /// What may be entered: the unit of a number, "R-22 or R-410A" of a choice.
    #[must_use]
    pub fn wants(&self) -> String {
        if self.choices.is_empty() { self.unit.to_string() } else { self.choices.join(" or ") }
    }
}

/// Readings that describe one moment only together: a pressure and the temperature beside it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// The points, by their places in [`Header::points`]; at least two.
    pub points: Vec<usize>,
    /// How far apart in time they may lie.
    pub within: Duration,
    /// Line of its declaration, 1-based.
    pub line: usize,
}

/// What a rule declares.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Header {
    /// Title as shown.
    pub title: String,
    /// One sentence: what it asks of the part.
    pub about: String,
    /// Nameplate values, in the order of declaration.
    pub nameplate: Vec<PlateItem>,
    /// Readings, in the order in which they are taken.
    pub points: Vec<Point>,
    /// Which readings must be of one moment.
    pub moments: Vec<Moment>,
    /// Named limits.
    pub limits: Vec<NamedLimit>,
    /// Hold points, in the order in which they are shown.
    pub hold_points: Vec<String>,
    /// Hold points that a pass of this rule shows for others ("airflow proved"), and a fail takes away.
    pub shows: Vec<String>,
    /// Cautions of this rule beyond those of its hold points.
    pub cautions: Vec<String>,
}

/// One of several things that limits were made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SourcePart {
    /// The nameplate item's or limit's name, as shown.
    pub name: Arc<str>,
    /// The nameplate item's place in the header; `None` for a declared limit.
    pub plate: Option<usize>,
    /// Where it comes from when nothing was entered.
    pub source: Source,
}

/// A rule's comparison of one value with its limits, before uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// What is judged, unique within the rule.
    pub name: Arc<str>,
    /// The value.
    pub value: f64,
    /// Unit of value and limits.
    pub unit: Unit,
    /// Least allowed value, if there is one.
    pub low: Option<f64>,
    /// Greatest allowed value, if there is one.
    pub high: Option<f64>,
    /// Said when the value is inside.
    pub advice_ok: Option<Arc<str>>,
    /// Said when the value is low.
    pub advice_low: Option<Arc<str>>,
    /// Said when the value is high.
    pub advice_high: Option<Arc<str>>,
    /// Where the limits come from.
    pub source: Source,
    /// What `source` was put together from; empty when the rule words its source itself. With it the engine says for
    /// each nameplate value whether it was entered or is a default.
    pub source_parts: Arc<[SourcePart]>,
}

/// What `judge` answers.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// One or more judgements; never empty (the engine takes an empty list for an error).
    Judgements(Vec<Judgement>),
    /// The rule itself says that these readings allow no verdict, and why ("these look like HERM and FAN: move a lead").
    NoVerdict(Arc<str>),
}

/// An answer with the way it was reached.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// The answer.
    pub answer: Answer,
    /// A number that differs when the rule took another path (its comparisons came out otherwise).
    pub path: u64,
}

/// Why a rule gave no answer. The text names file and line and shows the source line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RuleError {
    /// What happened, one sentence.
    pub message: String,
    /// The file, as it was loaded.
    pub file: String,
    /// 1-based line; 0 when no line is to blame.
    pub line: usize,
    /// 1-based column; 0 when unknown.
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
    /// The file it was read from, as messages name it; empty where there is none.
    fn file(&self) -> &str {
        ""
    }
    /// What it declares.
    fn header(&self) -> &Header;
    /// Judges. `values` are finite and stand in the order: points, then nameplate, in the units the header names.
    ///
    /// # Errors
    /// [`RuleError`] whenever no explicit judgement came out: a missing field, a comparison of unlike things, a
    /// non-finite number, a spent budget.
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError>;
}

/// The rules in force: loaded, checked and replaced as one.
#[derive(Clone, Default)]
pub struct RuleSet {
    rules: Vec<Arc<dyn Rule>>,
    hash: Arc<str>,
}

impl RuleSet {
    /// A set with the hash over all its files. Later rules with an id already present are the caller's error and are
    /// not found by [`RuleSet::find`].
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
