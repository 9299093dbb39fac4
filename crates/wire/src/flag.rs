//! The meaning of a flag letter or bit of a display, by the names that profiles use.

use quantity::Flags;

/// What a flag letter or bit means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Flag {
    Hold,
    LowBattery,
    Relative,
    MinMax,
    /// Known and irrelevant (auto range, backlight).
    Ignore,
}

impl Flag {
    pub(crate) const WORDS: [(&'static str, Self); 5] = [
        ("hold", Self::Hold),
        ("low_battery", Self::LowBattery),
        ("relative", Self::Relative),
        ("min_max", Self::MinMax),
        ("ignore", Self::Ignore),
    ];

    pub(crate) fn set(self, flags: &mut Flags) {
        match self {
            Self::Hold => flags.hold = true,
            Self::LowBattery => flags.low_battery = true,
            Self::Relative => flags.relative = true,
            Self::MinMax => flags.min_max = true,
            Self::Ignore => {}
        }
    }

    pub(crate) fn is_set(self, flags: Flags) -> bool {
        match self {
            Self::Hold => flags.hold,
            Self::LowBattery => flags.low_battery,
            Self::Relative => flags.relative,
            Self::MinMax => flags.min_max,
            Self::Ignore => false,
        }
    }
}
