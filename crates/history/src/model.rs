//! The plain structs that go in and come out. Units accompany the numbers as text; names of times carry their unit.
//! Validates nothing beyond its types; `write` does.

/// The possible words of a verdict (ILAC-G8:09/2019 and `no verdict`).
pub const WORDS: [&str; 5] = ["pass", "conditional pass", "conditional fail", "fail", "no verdict"];

/// A SHA-256 as 64 hexadecimal digits.
pub type Sha256Hex = String;

/// The row number of a round in this file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RoundId(pub i64);

/// The row number of a verdict in this file; later commits have greater numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct VerdictId(pub i64);

/// The row number of a recording in this file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RecordingId(pub i64);

/// A round to begin.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewRound {
    /// The caller's id, unique among all rounds of all machines: a UUIDv7 (RFC 9562), as text.
    pub uid: String,
    /// The site's name; created if new.
    pub site: String,
    /// Wall clock at the start, ms since 1970-01-01 UTC.
    pub started_wall_ms: i64,
    /// Hash of the rule set in force at the start.
    pub rules_hash: String,
    /// The shop's decision rule at the start.
    pub decision_rule: String,
    /// The program that ran the round.
    pub program_version: String,
}

/// A stored round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Round {
    /// Its row.
    pub id: RoundId,
    /// The data given at its start.
    pub new: NewRound,
    /// Wall clock at the end, ms since 1970-01-01 UTC; `None` while it runs, or if the program ended during it.
    pub ended_wall_ms: Option<i64>,
    /// How many verdicts it has.
    pub verdicts: u64,
}

/// One verdict with everything it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// The caller's id, unique among all verdicts of all machines: a UUIDv7 (RFC 9562), as text. Older files have
    /// `<round uid>/<check>/<at_us>` here.
    pub uid: String,
    /// The verdict's place in its round; no two verdicts of a round share one, and gaps are allowed. At most
    /// `i64::MAX`.
    pub seq: u64,
    /// The id of the visit it was given in; `None` outside a visit. Rows of files before version 4 have none.
    pub visit: Option<String>,
    /// Running number of the check in its round.
    pub check: u32,
    /// The unit's tag ("RTU-07").
    pub unit_tag: String,
    /// The component under test.
    pub component: String,
    /// The rule's id.
    pub rule: String,
    /// The rule's title.
    pub title: String,
    /// Content hash of the rule.
    pub rule_hash: String,
    /// One of [`WORDS`].
    pub word: String,
    /// Why there is no verdict; `None` for the other words.
    pub reason: Option<String>,
    /// What to do.
    pub advice: Option<String>,
    /// The decision rule in force.
    pub decision_rule: String,
    /// When it was given, microseconds of the round's monotonic clock.
    pub at_us: u64,
    /// The same by the wall clock, ms since 1970-01-01 UTC. It may jump; [`VerdictId`] gives the order.
    pub wall_ms: i64,
    /// The readings it rests on.
    pub readings: Vec<VerdictReading>,
    /// Each judgement with its limits and their source.
    pub judgements: Vec<Judgement>,
    /// The ratings it was judged against.
    pub plate: Vec<PlateValue>,
    /// The hold points and how each was shown.
    pub hold_points: Vec<HoldPoint>,
    /// The whole verdict object as it was shown, JSON text.
    pub json: String,
}

/// A settled reading that a verdict rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct VerdictReading {
    /// The point of the check that it is bound to.
    pub point: String,
    /// The point's label.
    pub label: String,
    /// The device it came from.
    pub device: String,
    /// The settled value in `unit`, finite; `None` if it was not at rest. Rows of files before version 3 always have
    /// a value.
    pub value: Option<f64>,
    /// The unit.
    pub unit: String,
    /// Standard uncertainty (k = 1) in `unit`, finite; `None` if there is no value.
    pub standard_uncertainty: Option<f64>,
    /// The digits as displayed, if there was a display.
    pub shown: Option<String>,
    /// How many readings it was settled from.
    pub count: u32,
    /// The value had come to rest: it is a figure. False in rows of files before version 3, which did not record it,
    /// except for typed values.
    pub settled: bool,
    /// Lower end of the interval that contains the settled value, in `unit`; `None` if nothing settles.
    pub at_least: Option<f64>,
    /// Its upper end.
    pub at_most: Option<f64>,
    /// When it settled, microseconds of the round's monotonic clock.
    pub at_us: u64,
}

/// The two kinds of [`FollowUp`].
pub const KINDS: [&str; 2] = ["completed", "amended"];

/// What follows a verdict and leaves it unchanged: the figure of a value that was not at rest when the verdict was
/// given, or an amendment if the leads contradict the verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct FollowUp {
    /// The caller's id, unique across all machines: a UUIDv7 (RFC 9562), as text.
    pub uid: String,
    /// The id of the verdict it refers to.
    pub verdict_uid: String,
    /// Its sequence number in the round, unique. At most `i64::MAX`.
    pub seq: u64,
    /// One of [`KINDS`].
    pub kind: String,
    /// The word that the leads show now, one of [`WORDS`]; `None` for a figure.
    pub word: Option<String>,
    /// The figure, or the contradicting reading.
    pub reading: VerdictReading,
    /// When it was given, microseconds of the round's monotonic clock.
    pub at_us: u64,
    /// The same by the wall clock, ms since 1970-01-01 UTC.
    pub wall_ms: i64,
    /// The whole object as it was shown, JSON text.
    pub json: String,
}

/// The kinds of [`VisitEvent`].
pub const VISIT_KINDS: [&str; 12] = [
    "opened",
    "finding",
    "owed",
    "restored",
    "skipped",
    "locked out",
    "power back",
    "ran",
    "paused",
    "resumed",
    "taken over",
    "closed",
];

/// Something that happened in a visit. It belongs to the visit that `machine` has open at the unit, except for the two
/// kinds that name theirs.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct VisitEvent {
    /// The caller's id, unique across all machines: a UUIDv7 (RFC 9562), as text.
    pub uid: String,
    /// Of `opened` the id of the visit that begins; of `taken over` that of the visit that changes hands; else `None`.
    pub visit: Option<String>,
    /// The unit's tag.
    pub unit_tag: String,
    /// The machine that tells it, and holds the visit from then on.
    pub machine: String,
    /// One of [`VISIT_KINDS`].
    pub kind: String,
    /// Who did it ("page", "device NAME"), where it is known.
    pub by: Option<String>,
    /// The component; empty where it is of the whole unit.
    pub component: String,
    /// Running number of the check in its round.
    pub check: Option<u32>,
    /// The rule of the check.
    pub rule: Option<String>,
    /// The hold point for which something was taken off.
    pub hold_point: Option<String>,
    /// What was found, what puts it back, or why.
    pub text: Option<String>,
    /// Of a finding: it was left so; otherwise found so.
    pub as_left: Option<bool>,
    /// When, microseconds of the round's monotonic clock.
    pub at_us: u64,
    /// The same by the wall clock, ms since 1970-01-01 UTC. It may jump; the sequence number gives the order.
    pub wall_ms: i64,
}

/// An event as read back, with its digest verified.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredVisitEvent {
    /// Its place in its visit, from 1 without gaps.
    pub seq: u64,
    /// The id of the round in which it happened.
    pub round_uid: String,
    /// What was committed.
    pub event: VisitEvent,
}

/// A visit: one stay at one unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// Its id, unique across all machines.
    pub uid: String,
    /// The site.
    pub site: String,
    /// The unit's tag.
    pub unit_tag: String,
    /// Wall clock at its begin, ms since 1970-01-01 UTC.
    pub opened_wall_ms: i64,
    /// The machine that holds it.
    pub machine: String,
    /// Wall clock at its end; `None` while it is open.
    pub closed_wall_ms: Option<i64>,
}

/// A check of a visit that has verdicts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VisitCheck {
    /// The component.
    pub component: String,
    /// The rule's id.
    pub rule: String,
    /// The last word.
    pub word: String,
    /// Whether any of its verdicts has a word other than `no verdict`.
    pub judged: bool,
    /// Whether the last word other than `no verdict` is a fail or a conditional fail.
    pub failed: bool,
}

/// One judgement of a verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// Its name in the rule.
    pub name: String,
    /// One of [`WORDS`].
    pub word: String,
    /// The judged value in `unit`; `None` if it rests on a value that was not at rest.
    pub value: Option<f64>,
    /// The unit.
    pub unit: String,
    /// The lower limit, if any.
    pub low: Option<f64>,
    /// The upper limit, if any.
    pub high: Option<f64>,
    /// Standard uncertainty (k = 1) in `unit`.
    pub standard_uncertainty: Option<f64>,
    /// Probability of conformance, 0 to 1 (JCGM 106).
    pub probability_of_conformance: Option<f64>,
    /// The guard band's width in `unit`.
    pub guard: Option<f64>,
    /// True if the meter is too coarse for the tolerance.
    pub meter_too_coarse: bool,
    /// What to do.
    pub advice: Option<String>,
    /// Where the limits come from.
    pub source: String,
    /// The class of that source (published standard, nameplate, common practice, from memory).
    pub source_class: String,
}

/// One rating a verdict was judged against.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateValue {
    /// Its name in the rule.
    pub name: String,
    /// The rating in `unit`.
    pub value: f64,
    /// The unit.
    pub unit: String,
    /// Where it was read, or where the default comes from.
    pub source: String,
}

/// One hold point of a verdict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HoldPoint {
    /// Its name.
    pub name: String,
    /// Whether it was shown.
    pub shown: bool,
    /// How ("confirmed", "by the meter").
    pub how: Option<String>,
    /// When, microseconds of the round's monotonic clock.
    pub at_us: Option<u64>,
}

/// A verdict as read back, with its digest verified.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredVerdict {
    /// Its row.
    pub id: VerdictId,
    /// The data given at the start of its round.
    pub round: NewRound,
    /// What was committed.
    pub verdict: Verdict,
}

/// A verdict in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VerdictSummary {
    /// Its row.
    pub id: VerdictId,
    /// Its id, unique across all machines.
    pub uid: String,
    /// Its place in its round.
    pub seq: u64,
    /// The site.
    pub site: String,
    /// Running number of the check in its round.
    pub check: u32,
    /// The unit's tag.
    pub unit_tag: String,
    /// The component.
    pub component: String,
    /// The rule's title.
    pub title: String,
    /// One of [`WORDS`].
    pub word: String,
    /// The word that the leads showed afterwards, if they contradicted the verdict; the last one, if there are
    /// several: the verdict's own if they came back to it.
    pub amended: Option<String>,
    /// Why there is no verdict.
    pub reason: Option<String>,
    /// What to do.
    pub advice: Option<String>,
    /// Microseconds of the round's monotonic clock.
    pub at_us: u64,
    /// Wall clock, ms since 1970-01-01 UTC.
    pub wall_ms: i64,
}

/// One figure of a component's point across rounds: a value that was at rest at the verdict, or came to rest after
/// it.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendPoint {
    /// The verdict it belongs to.
    pub id: VerdictId,
    /// The settled value in `unit`.
    pub value: f64,
    /// The unit; it may differ from one round to the next.
    pub unit: String,
    /// Standard uncertainty (k = 1) in `unit`.
    pub standard_uncertainty: f64,
    /// The device it came from.
    pub device: String,
    /// The verdict's word.
    pub word: String,
    /// The word that the leads showed afterwards, if they contradicted the verdict; the last one, if there are
    /// several. Also `None` if they came back to the verdict's own.
    pub amended: Option<String>,
    /// Wall clock of the verdict, ms since 1970-01-01 UTC.
    pub wall_ms: i64,
}

/// One reading as a device sent it, judged or not.
#[derive(Clone, Debug, PartialEq)]
pub struct RawReading {
    /// Which device.
    pub device: String,
    /// When its last byte arrived, microseconds of the round's monotonic clock.
    pub at_us: u64,
    /// The value in `unit`; `None` if the meter showed no number.
    pub value: Option<f64>,
    /// The unit.
    pub unit: String,
    /// Standard uncertainty (k = 1) in `unit`.
    pub standard_uncertainty: Option<f64>,
    /// The digits as displayed.
    pub shown: Option<String>,
    /// What it was ("value", "overload", "no value") and the flags.
    pub state: String,
}

/// One of several to commit together ([`crate::History::commit_all`]).
#[derive(Clone, Copy, Debug)]
pub enum Entry<'a> {
    /// A verdict.
    Verdict(&'a Verdict),
    /// What follows a verdict.
    FollowUp(&'a FollowUp),
    /// An event of a visit.
    VisitEvent(&'a VisitEvent),
}

/// A recording to list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewRecording {
    /// The round it was recorded in, if any.
    pub round: Option<RoundId>,
    /// Where the file is.
    pub path: String,
    /// Its content hash.
    pub sha256: Sha256Hex,
    /// Its size in bytes.
    pub size_bytes: u64,
    /// Wall clock at its start, ms since 1970-01-01 UTC.
    pub started_wall_ms: i64,
}

/// A listed recording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recording {
    /// Its row.
    pub id: RecordingId,
    /// The data given.
    pub new: NewRecording,
}

/// A verdict that is on the disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Committed {
    /// Its row.
    pub id: VerdictId,
    /// Its id across all machines, as the caller gave it.
    pub uid: String,
}
