//! What can go wrong with the history, each with what, where, why and what to do next. The sentence does not say what
//! was lost: the caller knows ("verdict not saved: ..."). Does not retry or repair.

use std::path::{Path, PathBuf};

use rusqlite::{Error as SqlError, ErrorCode, ffi};

/// Why the history could not be opened, written or read. If a write returns one of these, nothing was written.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum HistoryError {
    /// The file or its folder cannot be opened or created.
    CannotOpen {
        /// The history file.
        path: PathBuf,
        /// SQLite's error text.
        why: String,
    },
    /// The file is not an SQLite database.
    NotADatabase {
        /// The history file.
        path: PathBuf,
    },
    /// The file is an SQLite database of another program.
    Foreign {
        /// The history file.
        path: PathBuf,
    },
    /// The file was written by a newer cliplead.
    Newer {
        /// The history file.
        path: PathBuf,
        /// The version of the file.
        found: i64,
        /// The newest version this program knows.
        known: i64,
    },
    /// A reader cannot bring an older (or empty) file up to date.
    Older {
        /// The history file.
        path: PathBuf,
        /// The version of the file.
        found: i64,
        /// The version this program reads.
        known: i64,
    },
    /// The file is damaged.
    Corrupt {
        /// The history file.
        path: PathBuf,
        /// What was found.
        detail: String,
    },
    /// The file system cannot keep a commit through a power cut.
    NotDurable {
        /// The history file.
        path: PathBuf,
        /// The setting that was refused.
        setting: &'static str,
        /// The requested value.
        wanted: String,
        /// The value that SQLite reports.
        found: String,
    },
    /// No room on the disk.
    Full {
        /// The history file.
        path: PathBuf,
    },
    /// The file or its folder is not writable.
    ReadOnly {
        /// The history file.
        path: PathBuf,
    },
    /// Another connection holds the write lock.
    Locked {
        /// The history file.
        path: PathBuf,
        /// How long this one waited.
        waited_ms: u32,
    },
    /// The disk refused a read or a write.
    Io {
        /// The history file.
        path: PathBuf,
        /// SQLite's error text.
        why: String,
    },
    /// The open file is no longer the file of that name: it was deleted, renamed or replaced while open.
    Moved {
        /// The history file, or its write-ahead log.
        path: PathBuf,
    },
    /// A number that is not finite, or a time or count that does not fit.
    OutOfRange {
        /// Which field.
        field: &'static str,
        /// Which verdict, reading or round.
        of: String,
    },
    /// A word that is not one of [`crate::WORDS`].
    UnknownWord {
        /// The word.
        word: String,
        /// Which verdict.
        of: String,
    },
    /// A `no verdict` without a reason, or another verdict with one.
    ReasonMismatch {
        /// Which verdict.
        of: String,
    },
    /// A reading, a figure or an amendment that contradicts itself.
    Contradiction {
        /// Which one.
        of: String,
        /// What must hold.
        must: &'static str,
    },
    /// The verdict that a figure or an amendment refers to is not in this round.
    NoSuchVerdict {
        /// Which figure or amendment.
        of: String,
        /// The id of the verdict.
        uid: String,
    },
    /// The machine has no visit open at this unit: it was never opened, was closed, or was taken over.
    NoOpenVisit {
        /// Which event or verdict.
        of: String,
        /// The unit, or the id of the visit.
        at: String,
    },
    /// The machine has a visit open at this unit already.
    VisitOpen {
        /// Which event.
        of: String,
        /// The unit.
        unit_tag: String,
    },
    /// The JSON text of a verdict is not JSON.
    BadJson {
        /// Which verdict.
        of: String,
    },
    /// The round is not in the history.
    NoSuchRound {
        /// The round's row number.
        round: i64,
    },
    /// This id already has other content.
    IdTaken {
        /// The id.
        uid: String,
    },
    /// Another verdict of the round, or another follow-up, has this sequence number.
    SeqTaken {
        /// The id of the rejected one.
        uid: String,
        /// The sequence number.
        seq: u64,
        /// The id of the one that has it.
        taken_by: String,
    },
    /// SQLite ran out of memory.
    OutOfMemory {
        /// The history file.
        path: PathBuf,
    },
    /// SQLite rejected a statement of this program: a bug in the program, or a file altered by hand.
    StatementRefused {
        /// The history file.
        path: PathBuf,
        /// SQLite's error text.
        why: String,
    },
}

impl std::error::Error for HistoryError {}

impl std::fmt::Display for HistoryError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.path() {
            Some(path) => write!(f, "history {}: ", path.display())?,
            None => f.write_str("history: ")?,
        }
        self.write_what(f)?;
        write!(f, "; {}", self.next_step())
    }
}

impl HistoryError {
    /// The file concerned, if the error is about the file.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        match self {
            Self::CannotOpen { path, .. }
            | Self::NotADatabase { path }
            | Self::Foreign { path }
            | Self::Newer { path, .. }
            | Self::Older { path, .. }
            | Self::Corrupt { path, .. }
            | Self::NotDurable { path, .. }
            | Self::Full { path }
            | Self::ReadOnly { path }
            | Self::Locked { path, .. }
            | Self::Io { path, .. }
            | Self::Moved { path }
            | Self::OutOfMemory { path }
            | Self::StatementRefused { path, .. } => Some(path),
            Self::OutOfRange { .. }
            | Self::UnknownWord { .. }
            | Self::ReasonMismatch { .. }
            | Self::Contradiction { .. }
            | Self::NoSuchVerdict { .. }
            | Self::NoOpenVisit { .. }
            | Self::VisitOpen { .. }
            | Self::BadJson { .. }
            | Self::NoSuchRound { .. }
            | Self::IdTaken { .. }
            | Self::SeqTaken { .. } => None,
        }
    }

    /// Whether the same call may succeed later: the disk was full, locked, unplugged or refused. `false` if no retry
    /// helps (a taken id, a bad value, a damaged or foreign file): do not let other verdicts wait behind it.
    #[must_use]
    pub const fn can_retry(&self) -> bool {
        match self {
            Self::CannotOpen { .. }
            | Self::Full { .. }
            | Self::ReadOnly { .. }
            | Self::Locked { .. }
            | Self::Io { .. }
            | Self::Moved { .. }
            | Self::OutOfMemory { .. } => true,
            Self::NotADatabase { .. }
            | Self::Foreign { .. }
            | Self::Newer { .. }
            | Self::Older { .. }
            | Self::Corrupt { .. }
            | Self::NotDurable { .. }
            | Self::OutOfRange { .. }
            | Self::UnknownWord { .. }
            | Self::ReasonMismatch { .. }
            | Self::Contradiction { .. }
            | Self::NoSuchVerdict { .. }
            | Self::NoOpenVisit { .. }
            | Self::VisitOpen { .. }
            | Self::BadJson { .. }
            | Self::NoSuchRound { .. }
            | Self::IdTaken { .. }
            | Self::SeqTaken { .. }
            | Self::StatementRefused { .. } => false,
        }
    }

    /// What to do next, ready to show.
    #[must_use]
    pub const fn next_step(&self) -> &'static str {
        match self {
            Self::CannotOpen { .. } => "check that its folder exists and that this user may write there",
            Self::NotADatabase { .. } => {
                "nothing was changed: name another file, or move this one aside and restore a copy"
            }
            Self::Foreign { .. } => "nothing was changed: name another file",
            Self::Newer { .. } => "nothing was changed: update cliplead, or name another file",
            Self::Older { .. } => "start `cliplead run` with this file once, which brings it up to date",
            Self::Corrupt { .. } => {
                "nothing was deleted: stop cliplead, copy the file with its -wal and -shm files, restore a good copy or \
                 name a new file, and check the disk"
            }
            Self::NotDurable { .. } => {
                "a power cut could lose verdicts that were shown: put the file on a local disk, not a network share"
            }
            Self::Full { .. } => "free some room, then measure again",
            Self::ReadOnly { .. } => {
                "give this user the right to write the file and its folder, or name another file"
            }
            Self::Locked { .. } => {
                "close the other program (a second cliplead, a database viewer), then measure again"
            }
            Self::Io { .. } => "check the disk and its connection, then measure again",
            Self::Moved { .. } => "put the file back, or restart cliplead to begin a new one",
            Self::OutOfMemory { .. } => "close other programs, then measure again",
            Self::NoSuchRound { .. } => "begin the round first",
            Self::NoOpenVisit { .. } => {
                "it was closed or taken over elsewhere: note it on paper, and go to the unit again to open a visit"
            }
            Self::VisitOpen { .. } => "close it first",
            Self::StatementRefused { .. } => {
                "the file was altered by hand, or this is a fault of cliplead: keep the file and report it"
            }
            Self::OutOfRange { .. }
            | Self::UnknownWord { .. }
            | Self::ReasonMismatch { .. }
            | Self::Contradiction { .. }
            | Self::NoSuchVerdict { .. }
            | Self::BadJson { .. }
            | Self::IdTaken { .. }
            | Self::SeqTaken { .. } => "this is a fault of cliplead: report it",
        }
    }

    fn write_what(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::CannotOpen { why, .. } => write!(f, "cannot be opened ({why})"),
            Self::NotADatabase { .. } => f.write_str("not a history file, or its first bytes are damaged"),
            Self::Foreign { .. } => f.write_str("a database of another program"),
            Self::Newer { found, known, .. } => write!(
                f,
                "written by a newer cliplead (file version {found}, this program knows up to {known})"
            ),
            Self::Older { found, known, .. } => write!(f, "file version {found}, and reading needs {known}"),
            Self::Corrupt { detail, .. } => write!(f, "damaged ({detail})"),
            Self::NotDurable { setting, wanted, found, .. } => {
                write!(f, "{setting} is {found}, not {wanted}")
            }
            Self::Full { .. } => f.write_str("disk full"),
            Self::ReadOnly { .. } => f.write_str("may not be written"),
            Self::Locked { waited_ms, .. } => {
                write!(f, "locked by another program, waited {waited_ms} ms")
            }
            Self::Io { why, .. } => write!(f, "the disk refused ({why})"),
            Self::Moved { .. } => f.write_str("deleted, renamed or replaced while in use"),
            Self::OutOfMemory { .. } => f.write_str("out of memory"),
            Self::StatementRefused { why, .. } => write!(f, "statement refused ({why})"),
            Self::OutOfRange { field, of } => {
                write!(f, "{field} of {of} is not finite or too large to store")
            }
            Self::UnknownWord { word, of } => {
                let words = crate::WORDS.join(", ");
                write!(f, "{of} has the word '{word}', and the words are {words}")
            }
            Self::ReasonMismatch { of } => {
                write!(f, "{of}: a reason belongs to 'no verdict' and only to it")
            }
            Self::Contradiction { of, must } => write!(f, "{of}: {must}"),
            Self::NoSuchVerdict { of, uid } => {
                write!(f, "{of} refers to verdict '{uid}', which this round does not have")
            }
            Self::NoOpenVisit { of, at } => write!(f, "{of} has no open visit at {at} to belong to"),
            Self::VisitOpen { of, unit_tag } => {
                write!(f, "{of}: this machine has a visit open at {unit_tag} already")
            }
            Self::BadJson { of } => write!(f, "the text of {of} is not JSON"),
            Self::NoSuchRound { round } => write!(f, "no round {round} in this file"),
            Self::IdTaken { uid } => {
                write!(f, "the id '{uid}' is stored already, with other content; what is stored was kept")
            }
            Self::SeqTaken { uid, seq, taken_by } => write!(
                f,
                "{uid} has the sequence number {seq}, which {taken_by} of the same round has already"
            ),
        }
    }

    /// Classifies SQLite's error. `waited_ms` is the busy timeout of the connection.
    pub(crate) fn from_sql(path: &Path, waited_ms: u32, error: &SqlError) -> Self {
        let path = path.to_path_buf();
        match error {
            SqlError::SqliteFailure(code, message) => {
                let why = message.clone().unwrap_or_else(|| code.to_string());
                match code.code {
                    ErrorCode::CannotOpen | ErrorCode::PermissionDenied => Self::CannotOpen { path, why },
                    ErrorCode::NotADatabase => Self::NotADatabase { path },
                    ErrorCode::DatabaseCorrupt => Self::Corrupt { path, detail: why },
                    ErrorCode::DiskFull => Self::Full { path },
                    // The -shm file next to the history could not grow: a full disk shows like this on opening.
                    _ if code.extended_code == ffi::SQLITE_IOERR_SHMSIZE => Self::Full { path },
                    ErrorCode::ReadOnly => Self::ReadOnly { path },
                    ErrorCode::DatabaseBusy
                    | ErrorCode::DatabaseLocked
                    | ErrorCode::FileLockingProtocolFailed => Self::Locked { path, waited_ms },
                    ErrorCode::SystemIoFailure => {
                        Self::Io { path, why: format!("{why}, SQLite code {}", code.extended_code) }
                    }
                    ErrorCode::OutOfMemory => Self::OutOfMemory { path },
                    _ => Self::StatementRefused { path, why },
                }
            }
            // The tables are STRICT and the text was UTF-8 when it was written: another type is damage.
            SqlError::FromSqlConversionFailure(..)
            | SqlError::InvalidColumnType(..)
            | SqlError::IntegralValueOutOfRange(..)
            | SqlError::Utf8Error(..) => Self::Corrupt { path, detail: error.to_string() },
            _ => Self::StatementRefused { path, why: error.to_string() },
        }
    }
}
