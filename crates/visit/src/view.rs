//! What a person should see now: the whole state in plain fields, ready to be drawn. Plain data; each machine makes its own part.

use alloc::string::String;
use alloc::vec::Vec;

use quantity::Flags;

use judge::rule::UnitState;

use crate::restoration::Owed;
use crate::verdict::{PlateUsed, PointReading, Verdict};

/// The whole picture.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The armed or just finished check.
    pub check: Option<CheckView>,
    /// The newest reading.
    pub live: Option<LiveView>,
    /// The verdict of this check, and whether it still describes what the leads show.
    pub verdict: Option<(Verdict, bool)>,
    /// The verdict was contradicted, and the leads are still on what contradicts it.
    pub amendment_is_live: bool,
    /// How often the word that the leads show has changed since the verdict.
    pub amendment_changes: u32,
    /// The visit is paused.
    pub paused: bool,
    /// What is known of the power of the unit under work.
    pub unit_state: Option<UnitState>,
    /// The unit that shows life although it counted as isolated, and the sign.
    pub contradicted: Option<(String, String)>,
    /// Somebody wanted to go on behind the end of the route.
    pub route_ended: bool,
    /// It must be put back before the armed check goes on, which asks for power.
    pub owed_first: bool,
    /// What must be put back at the unit under work.
    pub owed: Vec<Owed>,
}

/// Where a check stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// Hold points are open.
    HoldPoints,
    /// Readings are awaited.
    Measuring,
    /// A question must be answered.
    Asking,
    /// It has its verdict.
    Done,
}

/// The armed check.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckView {
    /// Running number.
    pub number: u32,
    /// The unit's tag.
    pub unit_tag: String,
    /// The component.
    pub component: String,
    /// Rule id.
    pub rule: String,
    /// Rule title.
    pub title: String,
    /// What it asks of the part.
    pub about: String,
    /// Where it stands.
    pub phase: Phase,
    /// Cautions of the rule.
    pub cautions: Vec<String>,
    /// Hold points in order.
    pub hold_points: Vec<HoldPointView>,
    /// Points in order.
    pub points: Vec<PointView>,
    /// Nameplate values in force; empty when some are missing.
    pub plate: Vec<PlateUsed>,
    /// The one next thing to do.
    pub prompt: String,
    /// The question that waits for an answer.
    pub question: Option<QuestionView>,
    /// The proof of the hold point that is asked for, where it is read on pairs.
    pub proof: Option<ProofView>,
    /// What the leads have shown that should be dead, to be said large; empty without.
    pub alarm: String,
    /// Value, limits and guard band of the judgement that decides.
    pub ruler: Option<RulerView>,
}

/// The question that waits for an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuestionView {
    /// Its number, which the answer names.
    pub number: u32,
    /// Its text.
    pub text: String,
    /// A yes shows a hold point: it is not given in passing.
    pub shows_hold_point: bool,
}

/// A proof that is read pair by pair.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProofView {
    /// The hold point.
    pub hold_point: String,
    /// A live source must be named first.
    pub wants_source: bool,
    /// The pair that is to be named next; `None` while one is read, or none is needed.
    pub next_pair: Option<String>,
    /// Nobody described the supply: a person may name further pairs.
    pub named_freely: bool,
    /// The pairs that were read, then those that are known to be to read.
    pub pairs: Vec<PairView>,
}

/// A pair of a proof.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PairView {
    /// Its name.
    pub pair: String,
    /// What was read; empty before.
    pub shown: String,
}

/// Whether a hold point stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HoldPointState {
    /// It stands.
    Shown,
    /// It is the first open one.
    Asked,
    /// It is open behind another.
    Waiting,
}

/// By what a hold point was shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShownBy {
    /// A person confirmed it.
    Person,
    /// A device showed it.
    Meter,
}

/// How far a point has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointStage {
    /// Others come first.
    Waiting,
    /// It is the one to clip on now.
    Asked,
    /// Readings come in.
    Settling,
    /// It has its value.
    Settled,
}

/// What the newest reading says, and whether it still holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LiveState {
    /// A value, as it is now.
    Live,
    /// The display is held, or shows a relative or stored value.
    Held,
    /// Too old, or its link is lost.
    Stale,
    /// Beyond the range.
    Overload,
    /// The display is blank.
    NoValue,
}

/// A hold point.
#[derive(Clone, Debug, PartialEq)]
pub struct HoldPointView {
    /// Its name.
    pub name: String,
    /// Whether it stands.
    pub state: HoldPointState,
    /// By what, once it stands.
    pub how: Option<ShownBy>,
    /// What the meter showed or is waiting for.
    pub detail: String,
    /// What to do.
    pub ask: String,
    /// The caution that belongs to it.
    pub caution: String,
    /// The stream can show it.
    pub by_stream: bool,
    /// Seconds until it lapses.
    pub lapses_in_s: Option<f64>,
}

/// A point.
#[derive(Clone, Debug, PartialEq)]
pub struct PointView {
    /// Name in the rule.
    pub name: String,
    /// Label.
    pub label: String,
    /// Unit of the rule, with ac or dc.
    pub unit: String,
    /// How far it has come.
    pub state: PointStage,
    /// The settled value as displayed; empty while it is not at rest.
    pub shown: String,
    /// What the point has its word from while its value is not at rest: ends, and no value.
    pub early: Option<PointReading>,
    /// Typed in by hand.
    pub typed: bool,
}

/// The newest reading.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveView {
    /// The device.
    pub device: String,
    /// As displayed.
    pub shown: String,
    /// What it says, and whether it still holds.
    pub state: LiveState,
    /// The display's annunciators.
    pub flags: Flags,
    /// What the settling waits for; empty when nothing settles.
    pub settling: String,
    /// Age in milliseconds.
    pub age_ms: i64,
}

/// Value, limits and guard band.
#[derive(Clone, Debug, PartialEq)]
pub struct RulerView {
    /// What is judged.
    pub name: String,
    /// Unit.
    pub unit: &'static str,
    /// Low limit.
    pub low: Option<f64>,
    /// High limit.
    pub high: Option<f64>,
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Its expanded uncertainty U = k u.
    pub expanded_uncertainty: f64,
    /// k in U = k u.
    pub coverage_factor: f64,
    /// Guard band, zero under simple acceptance.
    pub guard: f64,
}
