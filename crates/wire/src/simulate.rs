//! Writes readings as a device of a profile would send them, for simulators and for tests that encode and decode again.
//! Does not time, damage or send anything.

mod fixed;
mod gatt;
mod line;
mod segments;

use alloc::vec::Vec;
use core::fmt;

use quantity::Reading;

use crate::decode::Decode;
use crate::frame::Framing;
use crate::frame::indexed::IndexedFrame;
use crate::profile::Profile;

/// Why a reading cannot be sent in a profile's frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SimulateError {
    /// The profile has no such channel, or the frame needs a reading of this channel too.
    Channel(u8),
    /// The profile has no word or code for the unit and coupling.
    Unit,
    /// The number, or its power of ten, has no room in its field, or the device cannot show this state.
    Value,
    /// The device has no letter or bit for a flag that is set.
    Flags,
    /// The device speaks only when asked, so there is nothing that it sends by itself.
    Asked,
    /// A script reads the frames of this profile, and nothing knows how to write them.
    ScriptOutput,
}

impl fmt::Display for SimulateError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Channel(channel) => {
                write!(f, "the frame has no channel {channel}, or no reading was given for it")
            }
            Self::Unit => f.write_str("the profile has no word or code for this unit"),
            Self::Value => f.write_str("the value does not fit its field"),
            Self::Flags => f.write_str("the profile cannot send one of the flags"),
            Self::Asked => f.write_str("the device speaks only when asked"),
            Self::ScriptOutput => f.write_str("a script reads these frames; nothing knows how to write them"),
        }
    }
}

impl core::error::Error for SimulateError {}

/// One frame with these readings, one for each channel that the frame carries; line end `CR LF` for text. Time, number
/// and accuracy of the readings are not sent. A frame that says its length is as short as its readings allow.
///
/// # Errors
/// [`SimulateError`] when the device could not send this. Other readings than the frame carries are an error too.
pub fn encode(profile: &Profile, readings: &[Reading]) -> Result<Vec<u8>, SimulateError> {
    match (profile.frame(), profile.decode()) {
        (Framing::Line(frame), Decode::Pattern(pattern)) => line::encode(frame, pattern, readings),
        (Framing::Fixed(frame), Decode::Fields(fields)) => fixed::encode(frame, fields, readings),
        (Framing::Counted(frame), Decode::Fields(fields)) => fixed::encode_counted(frame, fields, readings),
        (Framing::Fixed(frame), Decode::Segments(display)) => {
            fixed::framed(frame, |bytes| segments::fill(bytes, display, readings))
        }
        (Framing::Counted(frame), Decode::Segments(display)) => {
            fixed::framed_counted(frame, display.end, |bytes| segments::fill(bytes, display, readings))
        }
        (Framing::Indexed(frame), Decode::Segments(display)) => {
            let mut bytes = alloc::vec![0; frame.length];
            segments::fill(&mut bytes, display, readings)?;
            Ok(bytes.iter().enumerate().map(|(place, data)| IndexedFrame::byte(place, *data)).collect())
        }
        (_, Decode::Script(_)) => Err(SimulateError::ScriptOutput),
        (_, Decode::Registers(_) | Decode::Answers(_)) => Err(SimulateError::Asked),
        (Framing::Counted(_), Decode::Gatt(decode)) => gatt::encode(decode, readings),
        // The loader lets no other pair through.
        (Framing::Line(_), Decode::Fields(_) | Decode::Segments(_))
        | (Framing::Indexed(_), Decode::Fields(_))
        | (Framing::Fixed(_) | Framing::Counted(_) | Framing::Indexed(_), Decode::Pattern(_))
        | (Framing::Line(_) | Framing::Fixed(_) | Framing::Indexed(_), Decode::Gatt(_)) => {
            Err(SimulateError::Value)
        }
    }
}

/// The reading of a channel, and none of a channel that is not asked for.
fn of_channel(readings: &[Reading], channel: u8) -> Result<&Reading, SimulateError> {
    readings.iter().find(|r| r.channel == channel).ok_or(SimulateError::Channel(channel))
}
