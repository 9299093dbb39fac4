//! The seam to a decode script: what a frame is given to and what it gives back. Knows no script language and runs nothing;
//! crate `script` does.

use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt;

use quantity::{Coupling, Flags, State, Unit};

pub use crate::builtins::{
    CHECKSUM_NAMES, FLAG_NAMES, NumberEncoding, checksum, display_float, figure, set_flag, unit,
};
use crate::counters::Reason;

/// Makes the decode script of a profile ready to run. One for the whole program; it may be lent to any number of loaders.
pub trait ScriptCompiler {
    /// Checks and compiles a script.
    ///
    /// # Errors
    /// The first thing that is wrong with it, at its place in the script.
    fn compile(&self, text: &str) -> Result<Arc<dyn FrameScript>, ScriptError>;
}

/// A script that decodes frames. It gives the same for the same frame, ends after a bounded number of steps and takes
/// bounded memory, whatever it says and whatever the frame holds.
pub trait FrameScript: fmt::Debug + Send + Sync {
    /// Decodes one whole frame.
    ///
    /// # Errors
    /// Why the script failed, and where; the frame then gives nothing.
    fn decode(&self, frame: &[u8]) -> Result<ScriptOutput, ScriptError>;
}

/// What a script says of a frame.
#[derive(Clone, Debug, PartialEq)]
pub enum ScriptOutput {
    /// It is whole and holds nothing to read.
    Ignored,
    /// What it shows, each channel by itself: a reading, or why there is none.
    Readings(Vec<Result<ScriptReading, Reason>>),
}

/// One display line of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScriptReading {
    /// Display line, from 0.
    pub channel: u8,
    /// Unit as displayed.
    pub unit: Unit,
    /// Ac or dc, where the device says.
    pub coupling: Option<Coupling>,
    /// What is on the display.
    pub state: State,
    /// Hold, low battery and so on.
    pub flags: Flags,
}

/// The most display lines of one frame.
pub const SCRIPT_READINGS_MAX: usize = 16;

/// What is wrong with a script, or went wrong in it, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScriptError {
    /// Line, from 1; 0 where unknown. In the script, until the profile that holds it hands it out: then in the profile.
    pub line: usize,
    /// Character in the line, from 1; 0 where unknown.
    pub column: usize,
    /// What, why, and what to do next.
    pub message: String,
}

impl fmt::Display for ScriptError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => f.write_str(&self.message),
            line => write!(f, "line {line}: {}", self.message),
        }
    }
}

impl core::error::Error for ScriptError {}
