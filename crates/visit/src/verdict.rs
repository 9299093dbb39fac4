//! A verdict: the word, why, and everything it rests on (invariant I5 of DEVELOPERS.md): rule and hash, limits and sources, readings with
//! uncertainty, device, hold points and how they were shown, the decision rule. Does not print or store itself.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;

use quantity::{Decimal, DisplayUnit, Instant, Quantity, Unit};

use crate::hold::HoldPoint;
use crate::second_look::SecondLook;
use judge::evaluate::Judged;
use judge::limits::{DecisionRule, Word};
use judge::rule::{RuleError, Source};

/// Why there is no verdict.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// Hold points are not shown; names what is missing, in order.
    HoldPointsOpen(Vec<String>),
    /// Readings are missing; the points' labels.
    ReadingsMissing(Vec<String>),
    /// Nameplate values are missing; their names with units.
    PlateMissing(Vec<String>),
    /// The reading did not come to rest; what it did instead.
    Unsettled {
        /// The point's label.
        point: String,
        /// What was seen.
        why: String,
    },
    /// A value must be confirmed first.
    Asks(String),
    /// The rule says that these readings allow no verdict.
    RuleSays(String),
    /// The meter's uncertainty is too large for the tolerance; the judgements' names.
    MeterTooCoarse(Vec<String>),
    /// The rule failed.
    RuleFailed(RuleError),
    /// The rule asked for does not exist.
    NoSuchRule(String),
    /// A value has the wrong unit or is impossible; a sentence.
    BadInput(String),
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let list = |f: &mut fmt::Formatter<'_>, names: &[String]| f.write_str(&names.join(", "));
        match self {
            Self::HoldPointsOpen(names) => {
                f.write_str("not yet shown: ")?;
                list(f, names)
            }
            Self::ReadingsMissing(points) => {
                f.write_str("no reading for: ")?;
                list(f, points)
            }
            Self::PlateMissing(names) => {
                f.write_str("nameplate value missing: ")?;
                list(f, names)
            }
            Self::Unsettled { point, why } => write!(f, "{point} did not settle: {why}"),
            Self::Asks(question) => f.write_str(question),
            Self::RuleSays(because) => f.write_str(because),
            Self::MeterTooCoarse(names) => {
                f.write_str("the meter is too coarse for this tolerance (")?;
                list(f, names)?;
                f.write_str("): no reading could be a clear pass; use a finer range or a better meter, the part is not to blame")
            }
            Self::RuleFailed(error) => write!(f, "the rule failed: {error}"),
            Self::NoSuchRule(id) => write!(f, "no rule {id:?} in the rule set"),
            Self::BadInput(what) => f.write_str(what),
        }
    }
}

/// A reading a verdict rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct PointReading {
    /// The point's name in the rule.
    pub point: String,
    /// The point's label.
    pub label: String,
    /// The device it came from; "typed" for a value typed in.
    pub device: String,
    /// Value and standard uncertainty in the displayed unit; instrument and repeatability together.
    pub quantity: Quantity,
    /// The last digits as displayed; for an open circuit what it counts as.
    pub shown: Decimal,
    /// The meter showed overload with both leads on: an open circuit.
    pub open: bool,
    /// Unit as displayed, with ac or dc.
    pub display: DisplayUnit,
    /// The meter's accuracy is in the uncertainty; else only the rounding of the digits and the scatter are.
    pub accuracy_known: bool,
    /// How many readings the settled value rests on, counted by conversions of the display; 1 for a typed value.
    pub count: u32,
    /// The value had come to rest: it is a figure. Else only the interval between `at_least` and `at_most` is known, and the
    /// figure may follow ([`crate::round::Output::Completed`]).
    pub settled: bool,
    /// Lower end of the interval that holds the settled value at the stated risk, in the displayed unit; `None` where
    /// nothing settles: typed, open.
    pub at_least: Option<f64>,
    /// Its upper end.
    pub at_most: Option<f64>,
    /// It was read while it drifted, which the rule accepts by name; `None` for a value at rest.
    pub drift: Option<Drift>,
    /// When it was settled.
    pub at: Instant,
}

/// A drift that a rule accepts, as it was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// Its name in the rule.
    pub name: String,
    /// How fast, in the displayed unit.
    pub per_minute: f64,
}

/// A nameplate value a verdict rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateUsed {
    /// Its name in the rule.
    pub name: String,
    /// The value in the rule's unit.
    pub value: f64,
    /// The rule's unit.
    pub unit: Unit,
    /// The word, where it is a choice; `value` is its place in the rule's list then.
    pub word: Option<String>,
    /// Where it came from: entered from the nameplate, or a default with its source.
    pub source: Source,
    /// Somebody entered it; else it is a default.
    pub entered: bool,
}

/// The end of a check.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Running number of the verdict in this round, from 1; a check that is taken again has a verdict for each time.
    pub number: u64,
    /// Running number of the check in this round.
    pub check: u32,
    /// The unit's tag.
    pub unit_tag: String,
    /// The component.
    pub component: String,
    /// Rule id.
    pub rule: String,
    /// Rule title.
    pub title: String,
    /// SHA-256 of the rule's text, hex; empty when there is no such rule.
    pub rule_hash: String,
    /// The word.
    pub word: Word,
    /// A danger was found: the check ended at once, whatever was open, and its advice comes first.
    pub danger: bool,
    /// Why there is no verdict; `None` otherwise.
    pub reason: Option<Reason>,
    /// All judgements; empty without a verdict, except when the meter is too coarse.
    pub judgements: Vec<Judged>,
    /// Readings it rests on.
    pub readings: Vec<PointReading>,
    /// They were read after work was done; else as found.
    pub as_left: bool,
    /// Readings that were read before in the same visit, each beside the first. One that was not at rest follows with its figure.
    pub second_looks: Vec<SecondLook>,
    /// Nameplate values it rests on.
    pub plate: Vec<PlateUsed>,
    /// Hold points and how each was shown.
    pub hold_points: Vec<HoldPoint>,
    /// The decision rule in force.
    pub decision: DecisionRule,
    /// Remarks: a path that changes within the uncertainty, low battery, and the like.
    pub notes: Vec<String>,
    /// When, in monotone time.
    pub at: Instant,
}

impl Verdict {
    /// The advice of the worst judgement that has any, or of the first; for showing on one line.
    #[must_use]
    pub fn advice(&self) -> Option<String> {
        let worst = self.judgements.iter().map(|j| j.word).max()?;
        self.judgements.iter().filter(|j| j.word == worst).find_map(Judged::advice)
    }
}
