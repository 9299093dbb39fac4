//! The history: sites, rounds, raw readings, verdicts and the index of recordings, in one SQLite file.
//!
//! A verdict is committed in one transaction with everything it rests on: rule and content hash, limits and their
//! sources, readings with uncertainty, device and time, plate values, hold points. [`History::commit_verdict`]
//! returns only after the disk has it (WAL, synchronous FULL). Show it then, not before.
//!
//! What follows a verdict (the figure of a value that was not at rest, an amendment) is a separate row that refers to
//! it; the verdict itself never changes. A trend uses figures only.
//!
//! A visit is one stay at one unit, from arrival to close. It consists of events, which are only added; verdicts refer
//! to theirs. What is still owed to a unit is read from them after a restart.
//!
//! Trust: every verdict, every follow-up and every event carries a digest of all its fields. A corrupted row is reported, never
//! returned. Rows are ordered by commit, not by wall clock, which may jump.
//!
//! Does not: decide anything, read a clock, make ids, know rules or devices, delete or repair a file.

mod digest;
mod error;
mod follow_up;
mod insert;
mod model;
mod open;
mod read;
mod schema;
mod sys;
mod visits;
mod write;

#[cfg(test)]
mod tests;

pub use error::HistoryError;
pub use model::{
    Committed, Entry, FollowUp, HoldPoint, Judgement, KINDS, NewRecording, NewRound, PlateValue, RawReading,
    Recording, RecordingId, Round, RoundId, Sha256Hex, StoredVerdict, StoredVisitEvent, TrendPoint,
    VISIT_KINDS, Verdict, VerdictId, VerdictReading, VerdictSummary, Visit, VisitCheck, VisitEvent, WORDS,
};
pub use open::{BUSY_TIMEOUT_MS_DEFAULT, Durability};
pub use read::Reader;
pub use write::History;
