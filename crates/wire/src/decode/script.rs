//! Frames decoded by a script in the profile. Does not run the script; the implementation of [`FrameScript`] does.

use alloc::boxed::Box;
use alloc::sync::Arc;

use quantity::State;

use super::gatt::{CharacteristicSelector, message};
use super::{Decoded, Fit};
use crate::counters::{Field, Reason};
use crate::script::{FrameScript, SCRIPT_READINGS_MAX, ScriptError, ScriptOutput, ScriptReading};

/// The most frames per second that a script reads; more are dropped unread, so that a device that babbles in whole
/// frames cannot use up time. A meter sends some ten.
pub(crate) const FRAMES_PER_SECOND: u32 = 200;

/// A script and its input.
#[derive(Clone, Debug)]
pub(crate) struct ScriptDecode {
    pub(crate) script: Arc<dyn FrameScript>,
    /// Lines of the profile before the script's first.
    pub(crate) lines_before: usize,
    /// The only characteristic whose values it reads, if frames are packets.
    pub(crate) characteristic: Option<CharacteristicSelector>,
}

impl ScriptDecode {
    pub(crate) fn frame(&self, frame: &[u8], out: &mut dyn FnMut(Result<Decoded, Reason>)) -> Fit {
        let value = match &self.characteristic {
            None => frame,
            Some(named) => {
                let Some((_, message)) = message(frame) else { return Fit::Foreign };
                if named.may_be(&message) {
                    out(Err(Reason::Undecodable(Field::Instance)));
                    return Fit::Fits;
                }
                if !named.is(&message) {
                    return Fit::Ignored;
                }
                message.value
            }
        };
        match self.script.decode(value) {
            Ok(ScriptOutput::Ignored) => Fit::Ignored,
            Ok(ScriptOutput::Readings(shown)) => {
                for one in shown.into_iter().take(SCRIPT_READINGS_MAX) {
                    out(one.and_then(decoded));
                }
                Fit::Fits
            }
            Err(error) => Fit::Failed(Box::new(self.in_profile(error))),
        }
    }

    /// The error with its position in the profile.
    fn in_profile(&self, error: ScriptError) -> ScriptError {
        let line = if error.line == 0 { 0 } else { error.line + self.lines_before };
        ScriptError { line, ..error }
    }
}

fn decoded(shown: ScriptReading) -> Result<Decoded, Reason> {
    let ScriptReading { channel, unit, coupling, state, flags } = shown;
    match state {
        State::Value(number) if !unit.is_possible(number) => Err(Reason::Undecodable(Field::Value)),
        _ => Ok(Decoded { channel, unit, coupling, state, flags, accuracy: None }),
    }
}
