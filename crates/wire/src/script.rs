//! The interface to decode scripts: what a script receives and what it returns. Knows no script language and runs
//! nothing; crate `script` does.

use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt;

use quantity::{Coupling, Flags, State, Unit};

pub use crate::builtins::{
    CHECKSUM_NAMES, FLAG_NAMES, NumberEncoding, checksum, display_float, figure, set_flag, unit,
};
use crate::counters::Reason;

/// Compiles the decode script of a profile. One compiler serves the whole program and can be lent to any number of
/// loaders.
pub trait ScriptCompiler {
    /// Validates and compiles a script.
    ///
    /// # Errors
    /// The first problem, with its position in the script.
    fn compile(&self, text: &str) -> Result<Arc<dyn FrameScript>, ScriptError>;
}

/// A compiled decode script. Whatever the script and the frame contain, it returns the same for the same frame, stops
/// after a bounded number of steps and uses bounded memory.
pub trait FrameScript: fmt::Debug + Send + Sync {
    /// Decodes one whole frame.
    ///
    /// # Errors
    /// Why and where the script failed; the frame then yields nothing.
    fn decode(&self, frame: &[u8]) -> Result<ScriptOutput, ScriptError>;
}

/// What a script returns for a frame.
#[derive(Clone, Debug, PartialEq)]
pub enum ScriptOutput {
    /// The frame is intact and contains nothing to read.
    Ignored,
    /// One entry per channel: a reading, or why there is none.
    Readings(Vec<Result<ScriptReading, Reason>>),
}

/// One display line of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScriptReading {
    /// Display line, from 0.
    pub channel: u8,
    /// Unit as displayed.
    pub unit: Unit,
    /// AC or DC, if the device says.
    pub coupling: Option<Coupling>,
    /// What the display shows.
    pub state: State,
    /// Hold, low battery and so on.
    pub flags: Flags,
}

/// The most display lines in one frame.
pub const SCRIPT_READINGS_MAX: usize = 16;

/// What is wrong with a script, or what failed in it, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScriptError {
    /// Line, from 1; 0 if unknown. It counts within the script until the profile passes the error on, then within the
    /// profile.
    pub line: usize,
    /// Character in the line, from 1; 0 if unknown.
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
