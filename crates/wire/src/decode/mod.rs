//! Frames -> what the display showed. One variant per way of decoding. Does not know how frames were cut from bytes.

pub(crate) mod answers;
pub(crate) mod fields;
pub(crate) mod gatt;
pub(crate) mod pattern;
pub(crate) mod registers;
pub(crate) mod script;
pub(crate) mod segments;

use alloc::boxed::Box;

use quantity::{Accuracy, Coupling, Decimal, Flags, Kind, Sign, State, Unit};

use crate::counters::{Field, Reason};
use crate::script::ScriptError;

/// One display line of one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Decoded {
    pub(crate) channel: u8,
    pub(crate) unit: Unit,
    pub(crate) coupling: Option<Coupling>,
    pub(crate) state: State,
    pub(crate) flags: Flags,
    /// What the way of sending itself states; a statement of the profile replaces it.
    pub(crate) accuracy: Option<Accuracy>,
}

/// How frames are decoded.
#[derive(Clone, Debug)]
pub(crate) enum Decode {
    /// Text by a pattern.
    Pattern(pattern::PatternDecode),
    /// Numbers at fixed places.
    Fields(fields::FieldsDecode),
    /// The bits of a display.
    Segments(segments::SegmentsDecode),
    /// Whatever a script of the profile makes of them.
    Script(script::ScriptDecode),
    /// Replies of a Modbus device, in packets.
    Registers(registers::RegistersDecode),
    /// Answers of a SCPI instrument, in packets.
    Answers(answers::AnswersDecode),
    /// Values of GATT characteristics, in packets.
    Gatt(gatt::GattDecode),
}

/// Whether a frame was meant for the profile.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Fit {
    /// It has the described shape; what it holds was handed out.
    Fits,
    /// It is whole and of no channel that the profile names.
    Ignored,
    /// It does not have the described shape at all.
    Foreign,
    /// The script that should have read it failed.
    Failed(Box<ScriptError>),
}

impl Fit {
    const fn of(fits: bool) -> Self {
        if fits { Self::Fits } else { Self::Foreign }
    }
}

impl Decode {
    /// The frame's number, where the device numbers its frames.
    pub(crate) fn numbered(&self, frame: &[u8]) -> Option<Numbered> {
        match self {
            Self::Fields(decode) => {
                let sequence = decode.sequence?;
                Some(Numbered { source: 0, sequence, number: sequence.read(frame)? })
            }
            Self::Gatt(decode) => decode.numbered(frame),
            Self::Pattern(_)
            | Self::Segments(_)
            | Self::Script(_)
            | Self::Registers(_)
            | Self::Answers(_) => None,
        }
    }

    /// Decodes a frame, each channel by itself.
    pub(crate) fn frame(&self, frame: &[u8], out: &mut dyn FnMut(Result<Decoded, Reason>)) -> Fit {
        let mut field = |decoded: Result<Decoded, Field>| out(decoded.map_err(Reason::Undecodable));
        match self {
            Self::Pattern(decode) => Fit::of(decode.frame(frame, &mut field)),
            Self::Fields(decode) => Fit::of(decode.frame(frame, &mut field)),
            Self::Segments(decode) => Fit::of(decode.frame(frame, &mut field)),
            Self::Gatt(decode) => decode.frame(frame, &mut field),
            Self::Script(decode) => decode.frame(frame, out),
            Self::Registers(decode) => Fit::of(decode.frame(frame, out)),
            Self::Answers(decode) => Fit::of(decode.frame(frame, out)),
        }
    }
}

/// The number that a device gave a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Numbered {
    /// Which of several counts it is.
    pub(crate) source: u8,
    pub(crate) sequence: fields::Sequence,
    pub(crate) number: i64,
}

/// A unit as a profile names it: `V ac`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct UnitWord {
    pub(crate) unit: Unit,
    pub(crate) coupling: Option<Coupling>,
}

/// What a flag letter or bit means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Flag {
    Hold,
    LowBattery,
    Relative,
    MinMax,
    /// Known and of no consequence (auto range, backlight).
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

/// True when the number can be meant physically in this unit; a number that cannot is a damaged one.
pub(crate) fn is_possible(value: Decimal, unit: Unit) -> bool {
    let bounds = unit.kind().bounds();
    let base = in_base(value.to_f64(), unit);
    base >= bounds.min && base <= bounds.max
}

/// Ac and dc mean something for electrical quantities alone.
pub(crate) const fn takes_coupling(kind: Kind) -> bool {
    matches!(kind, Kind::Voltage | Kind::Current | Kind::Power | Kind::ApparentPower)
}

/// A value in the base unit of its kind, whether or not the table of units names that; good to a few ulp.
pub(crate) fn in_base(value: f64, unit: Unit) -> f64 {
    let row = unit.row();
    (value + row.shift) * row.factor * libm::exp10(f64::from(row.power))
}

/// Overload of the sign of a number.
pub(crate) const fn overload(negative: bool) -> State {
    State::Overload(if negative { Sign::Negative } else { Sign::Positive })
}
