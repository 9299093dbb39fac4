//! What goes into the round and what comes out. Plain data, no behaviour.

use alloc::boxed::Box;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::{Instant, Reading};

use crate::act::{Act, By};
use crate::hold::Evidence;
use crate::plan::Plan;
use crate::restoration::Owed;
use crate::second_look::SecondLook;
use crate::stay::{Recall, Service};
use crate::verdict::{PointReading, Verdict};
use judge::evaluate::Judged;
use judge::limits::Word;
use judge::rule::RuleSet;

/// What can happen to a round.
#[derive(Clone, Debug)]
pub enum Event {
    /// Start a check; one that is still open is finished first.
    Arm(Box<Plan>),
    /// A person does something.
    Act {
        /// What.
        act: Act,
        /// Who, as far as it is known.
        by: By,
    },
    /// A device sent a reading.
    Reading {
        /// The device's name.
        device: String,
        /// What it said.
        reading: Reading,
    },
    /// Bytes were lost, or the link went: what was settling on this device starts anew.
    Gap {
        /// The device's name.
        device: String,
    },
    /// A device joined under a name that was taken: another meter may go by it, with other leads.
    Rejoined {
        /// The device's name.
        device: String,
    },
    /// New rules, replaced as one. The armed check goes on under the rule it was armed with.
    Rules(RuleSet),
    /// The caller has stored a verdict; what it shows to other checks counts from now on.
    Stored {
        /// Its number in the round.
        verdict: u64,
    },
    /// A visit is open from before, here or at another machine: what is owed and what was judged is remembered, and every hold point
    /// is open.
    Recall(Box<Recall>),
    /// Nobody watched until now: the machine slept, or the program was held up. Every hold point is open again.
    Unwatched,
    /// Time has passed.
    Tick,
}

impl From<Act> for Event {
    /// An act of which nobody said whose it is.
    fn from(act: Act) -> Self {
        Self::Act { act, by: By::Unsaid }
    }
}

/// The number that no question has, for an answer that was begun while nothing was asked: it is always refused.
pub const NO_QUESTION: u32 = 0;

/// Amendments of one verdict that are told as they come. Our own choice: who has not measured again by then has a bad contact.
pub const AMENDMENTS_MAX: u32 = 8;

/// What a round says. Each comes with its time.
#[derive(Clone, Debug, PartialEq)]
pub enum Output {
    /// A visit has begun: something is done at a unit for the first time in it.
    Opened {
        /// The unit's tag.
        unit_tag: String,
        /// Who did it.
        by: By,
    },
    /// A unit whose visit is open comes under work again.
    Returned {
        /// The unit's tag.
        unit_tag: String,
        /// Who went there.
        by: By,
    },
    /// A visit that was open before goes on; every hold point must be shown again.
    Recalled {
        /// The unit's tag.
        unit_tag: String,
        /// What must be put back there.
        owed: Vec<Owed>,
        /// How many of its checks have a verdict.
        judged: usize,
        /// How many findings there are.
        findings: u32,
    },
    /// Somebody wants the visit that another machine has open at this unit. Whoever keeps visits answers with
    /// [`Event::Recall`].
    TakeOver {
        /// The unit's tag, as it was typed.
        unit_tag: String,
        /// Who wants it.
        by: By,
    },
    /// How far the unit is back in service.
    Service {
        /// The unit's tag.
        unit_tag: String,
        /// What is known now.
        service: Service,
        /// Who said so.
        by: By,
    },
    /// A check was armed.
    Armed {
        /// Its running number.
        check: u32,
        /// The unit's tag.
        unit_tag: String,
        /// The component.
        component: String,
        /// Rule id.
        rule: String,
        /// Cautions to show now.
        cautions: Vec<String>,
    },
    /// A hold point was shown.
    HoldPoint {
        /// Its name.
        name: String,
        /// When and how.
        evidence: Evidence,
    },
    /// A hold point no longer stands.
    Lapsed {
        /// Its name.
        name: String,
        /// Why.
        why: LapseReason,
    },
    /// The unit shows life although it counted as isolated: what was shown of its isolation has fallen. Somebody must say that it has
    /// power on purpose, or isolate it anew.
    Contradicted {
        /// The unit's tag.
        unit_tag: String,
        /// The sign of life: a reading, or what somebody said.
        sign: String,
    },
    /// A step in the proof of a hold point: something was named or read, or a pair is live.
    Proving {
        /// The hold point.
        hold_point: String,
        /// In words, with what comes next.
        says: String,
    },
    /// A point has its settled reading.
    Settled(PointReading),
    /// What was pending was thrown away.
    Reset {
        /// Why.
        why: ResetReason,
    },
    /// A question that must be answered before a verdict.
    Asked {
        /// Its number in this round, from 1; no two questions have the same.
        number: u32,
        /// The question.
        question: String,
    },
    /// A check was left without a verdict.
    Skipped {
        /// Its running number.
        check: u32,
        /// The unit's tag.
        unit_tag: String,
        /// The component.
        component: String,
        /// Rule id.
        rule: String,
        /// The reason that was given; `None` for one that was passed by before anything was done for it.
        why: Option<String>,
        /// Who left it.
        by: By,
    },
    /// The route has no further check.
    RouteEnds {
        /// Its checks.
        checks: usize,
        /// Those that have a verdict.
        judged: usize,
    },
    /// The work is interrupted.
    Paused {
        /// The unit under work.
        unit_tag: Option<String>,
        /// Who interrupted it.
        by: By,
    },
    /// It goes on.
    Resumed {
        /// The unit under work.
        unit_tag: Option<String>,
        /// Who resumed it.
        by: By,
    },
    /// What eyes saw.
    Finding {
        /// The unit's tag.
        unit_tag: String,
        /// The component of the armed check; empty without one.
        component: String,
        /// In words.
        text: String,
        /// It was left so; otherwise found so.
        as_left: bool,
        /// Who saw it.
        by: By,
    },
    /// Something was taken off, opened or forced, and must be put back before the visit closes.
    Owed {
        /// What.
        owed: Owed,
        /// Who took it off.
        by: By,
    },
    /// It is back.
    Restored {
        /// What.
        owed: Owed,
        /// Who says so.
        by: By,
    },
    /// The visit at a unit has ended.
    Closed {
        /// The unit's tag.
        unit_tag: String,
        /// Why it ended although something is not in order.
        why: Option<String>,
        /// What is still owed.
        owed: Vec<Owed>,
        /// How far the unit is back in service.
        service: Service,
        /// Who closed it.
        by: By,
    },
    /// Something asked for was not done.
    Refused {
        /// What and why, one sentence.
        why: String,
    },
    /// The end of a check.
    Verdict(Box<Verdict>),
    /// A value that a verdict rests on has come to rest: its figure. The verdict stays as it was given.
    Completed {
        /// The verdict's number in this round.
        verdict: u64,
        /// The figure, with the uncertainty it has now.
        reading: Box<PointReading>,
        /// It was read before in the same visit.
        second_look: Option<Box<SecondLook>>,
        /// Once every reading of the verdict has come to rest: what is judged, worked out anew from the figures. Empty before.
        judgements: Vec<Judged>,
    },
    /// What the leads show contradicts a verdict, or does so no longer. It stays as it was given; this stands beside it.
    Amended {
        /// The verdict's number in this round.
        verdict: u64,
        /// The word that it would be now; the verdict's own when the leads agree with it again.
        word: Word,
        /// The reading that says so.
        reading: Box<PointReading>,
        /// Without lifted leads the reading has jumped to another level.
        moved: bool,
        /// How often the word has changed since the verdict, this time included. [`AMENDMENTS_MAX`] changes are told, and the
        /// next as the last; those after it are counted in [`crate::view::View::amendment_changes`] alone.
        changes: u32,
        /// What would be judged now, where every reading is at rest; else empty.
        judgements: Vec<Judged>,
    },
}

/// Why a hold point no longer stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LapseReason {
    /// Its time is over.
    Time,
    /// The unit has power again.
    Energised,
    /// Volts were seen at the leads while the unit counted as dead.
    VoltsSeen,
    /// The mechanic took it back.
    Withdrawn,
    /// One that must stand before it fell.
    Earlier,
    /// The check that shows it did not pass.
    Failed,
    /// Nobody watched for a while.
    Unwatched,
    /// The visit was paused.
    Paused,
    /// The visit at its unit has ended.
    Closed,
    /// The unit shows life: a value or a confirmation says that it has power.
    Life,
    /// The unit was isolated, so it does not run.
    Isolated,
    /// What was taken off for it is back.
    PutBack,
    /// A danger was found that ends it.
    Danger,
    /// Another meter may go by the name of the one whose leads it is about.
    Rejoined,
}

impl LapseReason {
    /// In words.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Time => "its time is over",
            Self::Energised => "the unit has power again",
            Self::VoltsSeen => "volts seen at the leads",
            Self::Withdrawn => "taken back",
            Self::Earlier => "a hold point before it fell",
            Self::Failed => "the check that shows it did not pass",
            Self::Unwatched => "the machine slept or was held up, so nobody watched the unit",
            Self::Paused => "the visit was paused",
            Self::Closed => "the visit at the unit is closed",
            Self::Life => "the unit shows life",
            Self::Isolated => "the unit was isolated",
            Self::PutBack => "it is put back",
            Self::Danger => "a danger was found",
            Self::Rejoined => "another meter may go by this name now",
        }
    }
}

/// Why a pending reading was thrown away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResetReason {
    /// The leads came off.
    Lifted,
    /// The meter was turned to another function.
    FunctionChanged,
    /// The link was lost, or bytes of it.
    LinkLost,
    /// A hold point fell.
    GateClosed,
    /// The digits stood still in a way no live meter does.
    Frozen,
    /// Readings that must be of one moment lie too far apart.
    Apart,
    /// Nobody watched for a while.
    Unwatched,
    /// The visit was paused.
    Paused,
}

impl ResetReason {
    /// In words.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Lifted => "leads lifted",
            Self::FunctionChanged => "the meter was turned to another function",
            Self::LinkLost => "the link was lost",
            Self::GateClosed => "a hold point fell",
            Self::Frozen => "the display stands still: hold, or a frozen link",
            Self::Apart => {
                "readings that must be of one moment lie too far apart: the older one is taken again"
            }
            Self::Unwatched => "the machine slept or was held up",
            Self::Paused => "the visit was paused",
        }
    }
}

/// An output with its time.
#[derive(Clone, Debug, PartialEq)]
pub struct Stamped {
    /// When it happened; for a deadline the deadline itself, not the moment it was noticed.
    pub at: Instant,
    /// What happened.
    pub output: Output,
}
