//! A second look as plain data: a figure, the one read before it, and what the two say of each other.

use alloc::string::String;

use quantity::{DisplayUnit, Instant};

/// A figure as it was looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// The number of its verdict in the round.
    pub verdict: u64,
    /// The device it was read with; "typed" for a typed value.
    pub device: String,
    /// The value, in the displayed unit.
    pub value: f64,
    /// Its standard uncertainty, meter and scatter together.
    pub standard_uncertainty: f64,
    /// As displayed.
    pub display: DisplayUnit,
    /// The circuit read open.
    pub open: bool,
    /// After work was done; else as found.
    pub as_left: bool,
    /// When it was read.
    pub at: Instant,
    /// Standard uncertainty from one look to the next with one meter: digits and scatter, without the meter's accuracy.
    pub(crate) repeats: f64,
    /// The display's step.
    pub(crate) step: f64,
    /// The meter's accuracy is known.
    pub(crate) accuracy_known: bool,
}

/// What a second look says of the first.
#[derive(Clone, Debug, PartialEq)]
pub enum Agreement {
    /// Work lies between them, so they need not agree.
    AsLeft,
    /// One meter: the difference against what it repeats within (ISO 5725-6: the repeatability limit), both in the displayed unit.
    Repeats {
        /// It is within.
        agrees: bool,
        /// How far they are apart.
        apart: f64,
        /// How far they may be apart.
        within: f64,
    },
    /// Two meters: En, the difference over the root of the sum of both squared expanded uncertainties (ISO 13528:2022, 9.7).
    Meters {
        /// En is 1 at most.
        agrees: bool,
        /// En, never negative.
        en: f64,
    },
    /// Both read open, or only one of them.
    Open {
        /// Both do.
        agrees: bool,
    },
    /// Nobody can say: a meter's accuracy is not known. Holds its name.
    UnknownAccuracy(String),
}

impl Agreement {
    /// Whether the two agree; `None` where they need not, or nobody can say.
    #[must_use]
    pub const fn agrees(&self) -> Option<bool> {
        match self {
            Self::Repeats { agrees, .. } | Self::Meters { agrees, .. } | Self::Open { agrees } => {
                Some(*agrees)
            }
            Self::AsLeft | Self::UnknownAccuracy(_) => None,
        }
    }
}

/// A figure that was read before in the same visit, beside the first.
#[derive(Clone, Debug, PartialEq)]
pub struct SecondLook {
    /// The point's name in the rule.
    pub point: String,
    /// The point's label.
    pub label: String,
    /// The first look: the newest figure as found for one as left, where none was as left before; else the first of its sort.
    pub first: Look,
    /// This one, in the unit of the first.
    pub second: Look,
    /// What that says.
    pub agreement: Agreement,
}
