//! What goes into the core and what it says to whoever follows along. Plain data; what becomes of it, `core` says.

use judge::rule::RuleSet;
use link::LinkEvent;
use tokio::sync::oneshot;
use visit::act::{Act, By};
use visit::round;

use super::released::{ReleasedFollowUp, ReleasedVerdict};
use crate::clock::Moment;

/// What reaches the core.
pub(crate) enum Input {
    /// A device's link says something.
    Link { device: usize, at: Moment, event: LinkEvent },
    /// Typed lines; `taken` is dropped when all of them are taken.
    Typed { device: usize, at: Moment, data: Vec<u8>, taken: oneshot::Sender<()> },
    /// A device cannot ever be opened as it is configured.
    CannotOpen { device: usize, why: String },
    /// A person wants something.
    #[cfg_attr(
        not(any(feature = "dashboard", feature = "demo")),
        allow(dead_code, reason = "without page and demo, people speak through typed lines alone")
    )]
    Ask(Ask),
    /// The rules folder has changed: a good set, or why not.
    Rules(Result<RuleSet, String>),
    /// Arm this plan.
    #[cfg_attr(not(feature = "demo"), allow(dead_code))]
    Arm(Box<round::Plan>),
    /// The end.
    Stop,
}

/// What a person asks for.
pub(crate) struct Ask {
    pub(crate) act: Act,
    /// Who asks.
    pub(crate) by: By,
    /// The check the person had in view; an act on another one is refused.
    pub(crate) check: Option<u64>,
    pub(crate) reply: Option<oneshot::Sender<Result<(), String>>>,
}

/// What the core says, for whoever follows along.
#[derive(Clone)]
#[cfg_attr(not(feature = "demo"), allow(dead_code, reason = "only the demo follows along"))]
pub(crate) enum Notice {
    /// Something the round said, other than a verdict and what follows one.
    Round(round::Output),
    /// A verdict, shown; stored before, unless it says otherwise.
    Verdict(Box<ReleasedVerdict>),
    /// A figure or an amendment, shown; stored before, unless it says otherwise.
    #[cfg_attr(not(test), allow(dead_code))] // the demo follows verdicts alone
    FollowUp(Box<ReleasedFollowUp>),
}
