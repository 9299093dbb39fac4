//! Writes readings as a device of a profile would send them, for simulators and round-trip tests. Does not time,
//! damage or send anything.

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
    /// The profile has no such channel, or the frame also needs a reading of this channel.
    Channel(u8),
    /// The profile has no word or code for this unit and coupling.
    Unit,
    /// The number or its power of ten does not fit its field, or the device cannot show this state.
    Value,
    /// The device has no letter or bit for a flag that is set.
    Flags,
    /// The device speaks only when asked and sends nothing by itself.
    Asked,
    /// The profile decodes its frames with a script, which cannot be run backwards.
    Scripted,
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
            Self::Scripted => f.write_str("a script reads these frames; nothing knows how to write them"),
        }
    }
}

impl core::error::Error for SimulateError {}

/// One frame with these readings, one per channel of the frame; text lines end in `CR LF`. The time, number and
/// accuracy of the readings are not sent. A frame with a length field is as short as its readings allow.
///
/// # Errors
/// [`SimulateError`] if the device could not send this, including readings of channels that the frame does not have.
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
        (_, Decode::Script(_)) => Err(SimulateError::Scripted),
        (_, Decode::Registers(_) | Decode::Scpi(_)) => Err(SimulateError::Asked),
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

/// The reading of a channel.
fn of_channel(readings: &[Reading], channel: u8) -> Result<&Reading, SimulateError> {
    readings.iter().find(|r| r.channel == channel).ok_or(SimulateError::Channel(channel))
}
