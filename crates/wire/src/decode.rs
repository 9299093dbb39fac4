//! Frames -> what the display showed. One variant per decoding. Does not know how frames were cut from bytes.

pub(crate) mod fields;
pub(crate) mod gatt;
pub(crate) mod pattern;
pub(crate) mod registers;
pub(crate) mod scpi;
pub(crate) mod script;
pub(crate) mod segments;

use alloc::boxed::Box;

use quantity::{Accuracy, Coupling, Flags, State, Unit};

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
    /// Accuracy that follows from the encoding itself; the profile's statement overrides it.
    pub(crate) accuracy: Option<Accuracy>,
}

/// How frames are decoded.
#[derive(Clone, Debug)]
pub(crate) enum Decode {
    /// Text by a pattern.
    Pattern(pattern::PatternDecode),
    /// Numbers at fixed positions.
    Fields(fields::FieldsDecode),
    /// The segments of a display.
    Segments(segments::SegmentsDecode),
    /// Decoded by the profile's script.
    Script(script::ScriptDecode),
    /// Replies of a Modbus device, in packets.
    Registers(registers::RegistersDecode),
    /// Replies of a SCPI instrument, in packets.
    Scpi(scpi::ScpiDecode),
    /// Values of GATT characteristics, in packets.
    Gatt(gatt::GattDecode),
}

/// Whether a frame was meant for the profile.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Fit {
    /// It has the described shape; its content was returned.
    Fits,
    /// It is intact and belongs to no channel that the profile names.
    Ignored,
    /// It does not have the described shape at all.
    Foreign,
    /// The decode script failed.
    Failed(Box<ScriptError>),
}

impl Fit {
    const fn of(fits: bool) -> Self {
        if fits { Self::Fits } else { Self::Foreign }
    }
}

impl Decode {
    /// The frame's number, if the device numbers its frames.
    pub(crate) fn numbered(&self, frame: &[u8]) -> Option<Numbered> {
        match self {
            Self::Fields(decode) => {
                let sequence = decode.sequence?;
                Some(Numbered { source: 0, sequence, number: sequence.read(frame)? })
            }
            Self::Gatt(decode) => decode.numbered(frame),
            Self::Pattern(_) | Self::Segments(_) | Self::Script(_) | Self::Registers(_) | Self::Scpi(_) => {
                None
            }
        }
    }

    /// Decodes a frame, channel by channel.
    pub(crate) fn frame(&self, frame: &[u8], out: &mut dyn FnMut(Result<Decoded, Reason>)) -> Fit {
        let mut field = |decoded: Result<Decoded, Field>| out(decoded.map_err(Reason::Undecodable));
        match self {
            Self::Pattern(decode) => Fit::of(decode.frame(frame, &mut field)),
            Self::Fields(decode) => Fit::of(decode.frame(frame, &mut field)),
            Self::Segments(decode) => Fit::of(decode.frame(frame, &mut field)),
            Self::Gatt(decode) => decode.frame(frame, &mut field),
            Self::Script(decode) => decode.frame(frame, out),
            Self::Registers(decode) => Fit::of(decode.frame(frame, out)),
            Self::Scpi(decode) => Fit::of(decode.frame(frame, out)),
        }
    }
}

/// The number that the device gave a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Numbered {
    /// Which of several counters it belongs to.
    pub(crate) source: u8,
    pub(crate) sequence: fields::Sequence,
    pub(crate) number: i64,
}
