//! Opens a history file: owner, version, the settings that durability depends on, and the watch over the file's name.
//! Inspects before it changes anything. Holds no queries.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, Error as SqlError, OpenFlags, TransactionBehavior};

use crate::error::HistoryError;
use crate::schema::{APPLICATION_ID, MIGRATIONS};
use crate::sys::{Identity, identity};

/// How long a write waits for another connection's lock, ms.
pub const BUSY_TIMEOUT_MS_DEFAULT: u32 = 2_000;

/// The smallest database is one page of the smallest size (SQLite file format, 1.2 and 1.3.2).
const FILE_BYTES_MIN: u64 = 512;

/// The settings that durability depends on, as SQLite reported them after they were set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Durability {
    /// "wal"; "memory" for a history in memory.
    pub journal_mode: String,
    /// 2 is FULL: each commit is flushed to the disk before it returns.
    pub synchronous: i64,
    /// 1: uses a stronger flush on systems that have one (macOS).
    pub fullfsync: i64,
}

/// When a commit is flushed to the disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Flush {
    /// Before the commit returns.
    Now,
    /// With the next commit that is flushed, or when the log is full. A power cut before that loses this commit and
    /// nothing else: the log is read up to the last complete entry.
    Later,
}

impl Flush {
    /// SQLite's levels FULL and NORMAL.
    const fn synchronous(self) -> i64 {
        match self {
            Self::Now => 2,
            Self::Later => 1,
        }
    }
}

/// An open connection with what its errors need.
#[derive(Debug)]
pub(crate) struct Db {
    pub(crate) conn: Connection,
    pub(crate) path: PathBuf,
    pub(crate) busy_timeout_ms: u32,
    pub(crate) durability: Durability,
    watched: Vec<Watched>,
}

/// A file under its name, to detect that the name no longer means the open file.
#[derive(Debug)]
struct Watched {
    path: PathBuf,
    identity: Identity,
}

/// What the file's header and schema say before anything is changed.
enum Found {
    Empty,
    Ours(i64),
}

impl Db {
    /// Opens for writing; creates the file if it is missing and migrates it.
    pub(crate) fn writer(path: &Path, busy_timeout_ms: u32) -> Result<Self, HistoryError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut db = Self::connect(path, flags, busy_timeout_ms)?;
        db.version_found()?;
        db.settle(Some("wal"))?;
        db.migrate()?;
        for name in [path.to_path_buf(), with_suffix(path, "-wal")] {
            let identity = identity(&name).ok_or_else(|| HistoryError::Moved { path: name.clone() })?;
            db.watched.push(Watched { path: name, identity });
        }
        Ok(db)
    }

    /// A history in memory that ends with the program.
    pub(crate) fn in_memory() -> Result<Self, HistoryError> {
        let path = PathBuf::from(":memory:");
        let conn = Connection::open_in_memory().map_err(|e| HistoryError::from_sql(&path, 0, &e))?;
        let mut db = Self::on(conn, &path, 0);
        db.settle(None)?;
        db.migrate()?;
        Ok(db)
    }

    /// Opens for reading alongside a writer; changes nothing.
    pub(crate) fn reader(path: &Path, busy_timeout_ms: u32) -> Result<Self, HistoryError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let db = Self::connect(path, flags, busy_timeout_ms)?;
        let found = match db.version_found()? {
            Found::Empty => 0,
            Found::Ours(version) => version,
        };
        if found < known_version() {
            return Err(HistoryError::Older { path: db.path, found, known: known_version() });
        }
        db.set("query_only", 1)?;
        db.set("cell_size_check", 1)?;
        db.set("trusted_schema", 0)?;
        Ok(db)
    }

    fn connect(path: &Path, flags: OpenFlags, busy_timeout_ms: u32) -> Result<Self, HistoryError> {
        let fail = |e: SqlError| HistoryError::from_sql(path, busy_timeout_ms, &e);
        // SQLite would take a file of a few bytes for an empty database and write over it.
        if std::fs::metadata(path)
            .is_ok_and(|meta| meta.is_file() && (1..FILE_BYTES_MIN).contains(&meta.len()))
        {
            return Err(HistoryError::NotADatabase { path: path.to_path_buf() });
        }
        let conn = Connection::open_with_flags(path, flags).map_err(fail)?;
        conn.busy_timeout(Duration::from_millis(busy_timeout_ms.into())).map_err(fail)?;
        conn.set_prepared_statement_cache_capacity(32);
        Ok(Self::on(conn, path, busy_timeout_ms))
    }

    pub(crate) fn on(conn: Connection, path: &Path, busy_timeout_ms: u32) -> Self {
        let path = path.to_path_buf();
        Self { conn, path, busy_timeout_ms, durability: Durability::unknown(), watched: Vec::new() }
    }

    pub(crate) fn fail(&self, error: &SqlError) -> HistoryError {
        HistoryError::from_sql(&self.path, self.busy_timeout_ms, error)
    }

    pub(crate) fn corrupt(&self, detail: String) -> HistoryError {
        HistoryError::Corrupt { path: self.path.clone(), detail }
    }

    /// Fails if the file was deleted, renamed or replaced: SQLite would go on writing to a file without a name.
    pub(crate) fn still_there(&self) -> Result<(), HistoryError> {
        match self.watched.iter().find(|w| identity(&w.path) != Some(w.identity)) {
            Some(gone) => Err(HistoryError::Moved { path: gone.path.clone() }),
            None => Ok(()),
        }
    }

    /// Sets when the next commits are flushed, and reads the setting back: durability depends on it.
    pub(crate) fn flush(&mut self, flush: Flush) -> Result<(), HistoryError> {
        let wanted = flush.synchronous();
        if self.durability.synchronous != wanted {
            self.set("synchronous", wanted)?;
            self.durability.synchronous = self.number("synchronous")?;
            self.require("synchronous", &wanted.to_string(), &self.durability.synchronous.to_string())?;
        }
        Ok(())
    }

    fn number(&self, pragma: &str) -> Result<i64, HistoryError> {
        self.conn.pragma_query_value(None, pragma, |row| row.get(0)).map_err(|e| self.fail(&e))
    }

    fn set(&self, pragma: &str, value: i64) -> Result<(), HistoryError> {
        self.conn.pragma_update(None, pragma, value).map_err(|e| self.fail(&e))
    }

    fn version_found(&self) -> Result<Found, HistoryError> {
        let (owner, version) = (self.number("application_id")?, self.number("user_version")?);
        let tables: i64 = self
            .conn
            .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
            .map_err(|e| self.fail(&e))?;
        let path = self.path.clone();
        match (owner, version, tables) {
            (0, 0, 0) => Ok(Found::Empty),
            (APPLICATION_ID, found, _) if found > known_version() => {
                Err(HistoryError::Newer { path, found, known: known_version() })
            }
            (APPLICATION_ID, found, _) if found < 1 => {
                Err(HistoryError::Corrupt { path, detail: format!("file version {found}") })
            }
            (APPLICATION_ID, found, _) => Ok(Found::Ours(found)),
            _ => Err(HistoryError::Foreign { path }),
        }
    }

    /// Sets what durability depends on and reads it back.
    pub(crate) fn settle(&mut self, journal: Option<&'static str>) -> Result<(), HistoryError> {
        if let Some(mode) = journal {
            // The answer to the setting is the mode that was had; read back below.
            let _: String = self
                .conn
                .pragma_update_and_check(None, "journal_mode", mode, |row| row.get(0))
                .map_err(|e| self.fail(&e))?;
        }
        self.set("synchronous", Flush::Now.synchronous())?;
        self.set("fullfsync", 1)?;
        self.set("checkpoint_fullfsync", 1)?;
        self.set("foreign_keys", 1)?;
        self.set("trusted_schema", 0)?;
        self.set("cell_size_check", 1)?;
        // The write-ahead log shrinks back to this after a checkpoint.
        let _: i64 = self
            .conn
            .pragma_update_and_check(None, "journal_size_limit", 4 * 1024 * 1024, |row| row.get(0))
            .map_err(|e| self.fail(&e))?;
        self.durability = Durability {
            journal_mode: self
                .conn
                .pragma_query_value(None, "journal_mode", |row| row.get(0))
                .map_err(|e| self.fail(&e))?,
            synchronous: self.number("synchronous")?,
            fullfsync: self.number("fullfsync")?,
        };
        if let Some(mode) = journal {
            self.require("journal_mode", mode, &self.durability.journal_mode)?;
        }
        self.require("synchronous", "2", &self.durability.synchronous.to_string())?;
        self.require("fullfsync", "1", &self.durability.fullfsync.to_string())?;
        self.require("foreign_keys", "1", &self.number("foreign_keys")?.to_string())
    }

    fn require(&self, setting: &'static str, wanted: &str, found: &str) -> Result<(), HistoryError> {
        if wanted == found {
            return Ok(());
        }
        let (wanted, found) = (wanted.to_owned(), found.to_owned());
        Err(HistoryError::NotDurable { path: self.path.clone(), setting, wanted, found })
    }

    fn migrate(&mut self) -> Result<(), HistoryError> {
        // Looked at again: a second program may have done it meanwhile, but inside the lock nobody can.
        if matches!(self.version_found()?, Found::Ours(version) if version == known_version()) {
            return Ok(());
        }
        migrate_to(self, MIGRATIONS)
    }
}

/// Migrates the file to version `list.len()` in one transaction: all or nothing.
pub(crate) fn migrate_to(db: &mut Db, list: &[&str]) -> Result<(), HistoryError> {
    let (path, waited) = (db.path.clone(), db.busy_timeout_ms);
    let fail = |e: SqlError| HistoryError::from_sql(&path, waited, &e);
    let tx = db.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(fail)?;
    let version: i64 = tx.pragma_query_value(None, "user_version", |row| row.get(0)).map_err(fail)?;
    let done = usize::try_from(version).map_err(|_| HistoryError::Corrupt {
        path: path.clone(),
        detail: format!("file version {version}"),
    })?;
    for step in list.iter().skip(done) {
        tx.execute_batch(step).map_err(fail)?;
    }
    if done < list.len() {
        tx.pragma_update(None, "application_id", APPLICATION_ID).map_err(fail)?;
        tx.pragma_update(None, "user_version", i64::try_from(list.len()).unwrap_or(i64::MAX))
            .map_err(fail)?;
    }
    tx.commit().map_err(fail)
}

pub(crate) fn known_version() -> i64 {
    i64::try_from(MIGRATIONS.len()).unwrap_or(i64::MAX)
}

pub(crate) fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

impl Durability {
    const fn unknown() -> Self {
        Self { journal_mode: String::new(), synchronous: 0, fullfsync: 0 }
    }
}
