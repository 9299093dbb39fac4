//! The written forms of the core's output: the verdict as JSON and as a line of text, the view for the dashboard, and
//! recordings as JSON Lines, with their replay. The core's own types are not serialisable; these are.
//!
//! Does not: decide anything, open files or sockets, read a clock. Without the feature `std` it needs no operating
//! system.
#![no_std]
#![cfg_attr(test, allow(clippy::float_cmp))]

extern crate alloc;
#[cfg(any(feature = "std", test))]
extern crate std;

use alloc::format;
use alloc::string::{String, ToString as _};

mod act;
mod early;
mod follow_up;
mod line;
mod lines;
mod numbers;
mod plain;
mod plain_bytes;
mod reader;
mod recalled;
pub mod replay;
mod second_look;
mod senml;
mod skipped;
mod stream;
pub mod text;
mod verdict;
mod view;

pub use act::{act_json, act_of};
pub use early::words as early_words;
pub use follow_up::{FollowUpJson, FollowUpKind};
pub use line::{LineEvent, RecordingHeader, VERSION};
pub use lines::LINE_BYTES_MAX;
pub use numbers::rounded;
pub use plain::{plain, plain_lines};
pub use reader::{Item, ReadError, Reader, Recorded, Recording, read};
pub use second_look::{LookJson, SecondLookJson};
pub use senml::{SenmlError, pack as senml_pack, reading as senml_reading};
pub use skipped::{SkipReason, SkippedLines};
pub use stream::ByteStream;
pub use verdict::{DriftJson, HoldPointJson, JudgementJson, PlateJson, ReadingJson, VerdictJson};
pub use verdict::{how_words, shown_words};
pub use view::{DeviceState, DropReason, RecentJson, RulesState, ShownFollowUp, ViewContext, view_json};
pub use view::{
    LISTED_CHECKS_MAX, LISTED_UNITS_MAX, ListedCheck, ListedUnit, RouteList, RouteSummary, UnitSummary,
    route_json,
};

/// One line of JSON for anything serialisable. If serialising fails (it does not for our own types), an object with
/// the error.
#[must_use]
pub fn to_line(value: &impl serde::Serialize) -> String {
    serde_json::to_string(value).unwrap_or_else(|error| format!("{{\"error\":{:?}}}", error.to_string()))
}
