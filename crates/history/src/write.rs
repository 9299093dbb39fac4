//! The only writer: rounds, verdicts, events of visits, raw readings, recordings. Each call is one transaction, all or nothing, and
//! returns when the disk has it; only raw readings wait for the next flush. Does not read a clock or make ids.

use std::path::Path;

use rusqlite::{Connection, Error as SqlError, OptionalExtension, Transaction, TransactionBehavior, params};

use crate::error::HistoryError;
use crate::follow_up;
use crate::insert::{Stop, commit_one, finite_or_none, whole};
use crate::model::{
    Committed, Entry, FollowUp, NewRecording, NewRound, RawReading, RecordingId, RoundId, Verdict, VisitEvent,
};
use crate::open::{BUSY_TIMEOUT_MS_DEFAULT, Db, Durability, Flush};
use crate::read::{Reader, round_at};
use crate::visits;

/// The history, open for writing. One per file; readers may be open at the same time ([`Reader::open`]).
///
/// ```
/// # fn main() -> Result<(), history::HistoryError> {
/// use history::{History, NewRound, Verdict};
/// let mut history = History::open_in_memory()?;
/// let round = history.begin_round(&NewRound {
///     uid: "01990a3c-5e00-7000-8000-000000000001".into(),
///     site: "Mill Yard".into(),
///     started_wall_ms: 1_790_000_000_000,
///     rules_hash: "ab12".into(),
///     decision_rule: "guarded, w = U (k = 2)".into(),
///     program_version: "0.1.0".into(),
/// })?;
/// let verdict = Verdict {
///     uid: "01990a3c-8e0c-7000-8000-000000000002".into(),
///     seq: 1,
///     visit: None,
///     check: 1,
///     unit_tag: "RTU-07".into(),
///     component: "condenser fan 1 run capacitor".into(),
///     rule: "run-capacitor".into(),
///     title: "Run capacitor".into(),
///     rule_hash: "cd34".into(),
///     word: "no verdict".into(),
///     reason: Some("hold point 'discharged' is open".into()),
///     advice: None,
///     decision_rule: "guarded, w = U (k = 2)".into(),
///     at_us: 12_300_000,
///     wall_ms: 1_790_000_012_300,
///     readings: vec![],
///     judgements: vec![],
///     plate: vec![],
///     hold_points: vec![],
///     json: "{}".into(),
/// };
/// let committed = history.commit_verdict(round, &verdict)?; // from here on it may be shown
/// assert_eq!(history.reader().verdict(committed.id)?.map(|v| v.verdict), Some(verdict));
/// # Ok(())
/// # }
/// ```
#[derive(Debug)]
pub struct History {
    reader: Reader,
}

impl History {
    /// Opens the file for writing, creates it if it is missing and migrates an older one. Waits for another program's
    /// lock for up to [`BUSY_TIMEOUT_MS_DEFAULT`].
    ///
    /// # Errors
    /// Whatever prevents durable use of the file. A file that is not ours, newer, or damaged is left unchanged.
    pub fn open(path: &Path) -> Result<Self, HistoryError> {
        Self::open_waiting(path, BUSY_TIMEOUT_MS_DEFAULT)
    }

    /// The same, with the wait for another program's lock in ms; 0 does not wait.
    ///
    /// # Errors
    /// As for [`History::open`].
    pub fn open_waiting(path: &Path, busy_timeout_ms: u32) -> Result<Self, HistoryError> {
        Ok(Self { reader: Reader { db: Db::writer(path, busy_timeout_ms)? } })
    }

    /// A history in memory that ends with the program, for tests and the demo.
    ///
    /// # Errors
    /// If there is no memory for it.
    pub fn open_in_memory() -> Result<Self, HistoryError> {
        Ok(Self { reader: Reader { db: Db::in_memory()? } })
    }

    /// The queries, on this connection.
    #[must_use]
    pub const fn reader(&self) -> &Reader {
        &self.reader
    }

    /// The settings that durability depends on, as last read back. `synchronous` is 1 after
    /// [`History::append_readings`] and 2 again from the next other commit on.
    #[must_use]
    pub const fn durability(&self) -> &Durability {
        &self.reader.db.durability
    }

    /// Begins a round and creates its site if new. Repeating the call for the same round, while it has no verdict and
    /// no end (after an error that left the outcome of the first call open), stores it once.
    ///
    /// # Errors
    /// [`HistoryError::IdTaken`] if the uid is used otherwise, or what prevents storing it.
    pub fn begin_round(&mut self, round: &NewRound) -> Result<RoundId, HistoryError> {
        self.transact(Flush::Now, |tx| {
            if let Some(id) = first_i64(tx, "SELECT round_id FROM round WHERE uid = ?1", &round.uid)? {
                let untouched = "SELECT round_id FROM round r WHERE uid = ?1 AND ended_wall_ms IS NULL
                                 AND NOT EXISTS (SELECT 1 FROM verdict v WHERE v.round_id = r.round_id)";
                let same =
                    round_of(tx, RoundId(id))? == *round && first_i64(tx, untouched, &round.uid)?.is_some();
                return if same {
                    Ok(RoundId(id))
                } else {
                    Err(HistoryError::IdTaken { uid: round.uid.clone() }.into())
                };
            }
            tx.prepare_cached("INSERT INTO site (name) VALUES (?1) ON CONFLICT (name) DO NOTHING")?
                .execute([&round.site])?;
            tx.prepare_cached(
                "INSERT INTO round (uid, site_id, started_wall_ms, rules_hash, decision_rule, program_version)
                 SELECT ?1, site_id, ?3, ?4, ?5, ?6 FROM site WHERE name = ?2",
            )?
            .execute(params![
                round.uid,
                round.site,
                round.started_wall_ms,
                round.rules_hash,
                round.decision_rule,
                round.program_version
            ])?;
            Ok(RoundId(tx.last_insert_rowid()))
        })
    }

    /// Ends a round. A round that has ended keeps its first end.
    ///
    /// # Errors
    /// [`HistoryError::NoSuchRound`], or what prevents storing it.
    pub fn end_round(&mut self, round: RoundId, ended_wall_ms: i64) -> Result<(), HistoryError> {
        self.transact(Flush::Now, |tx| {
            round_of(tx, round)?;
            tx.prepare_cached(
                "UPDATE round SET ended_wall_ms = ?2 WHERE round_id = ?1 AND ended_wall_ms IS NULL",
            )?
            .execute(params![round.0, ended_wall_ms])?;
            Ok(())
        })
    }

    /// Commits a verdict with everything it rests on. Returns after the disk has it: show it then, not before.
    /// Committing the same verdict again (after an error that left the outcome of the first call open) stores it
    /// once.
    ///
    /// # Errors
    /// Nothing was stored, and the sentence says why; measuring may continue.
    pub fn commit_verdict(&mut self, round: RoundId, verdict: &Verdict) -> Result<Committed, HistoryError> {
        self.transact(Flush::Now, |tx| commit_one(tx, round, &round_of(tx, round)?, verdict))
    }

    /// Commits several verdicts in one transaction, all or none, with one flush of the disk: for a slow disk, or to
    /// import a recording.
    ///
    /// # Errors
    /// As for [`History::commit_verdict`]; none of them was stored.
    pub fn commit_verdicts(
        &mut self,
        round: RoundId,
        verdicts: &[Verdict],
    ) -> Result<Vec<Committed>, HistoryError> {
        self.transact(Flush::Now, |tx| {
            let of_round = round_of(tx, round)?;
            verdicts.iter().map(|verdict| commit_one(tx, round, &of_round, verdict)).collect()
        })
    }

    /// Commits what follows a verdict of this round. Returns after the disk has it: show it then, not before.
    /// Committing the same one again stores it once.
    ///
    /// # Errors
    /// [`HistoryError::NoSuchVerdict`] if its verdict is not stored; otherwise as for [`History::commit_verdict`].
    pub fn commit_follow_up(&mut self, round: RoundId, follow_up: &FollowUp) -> Result<(), HistoryError> {
        self.transact(Flush::Now, |tx| follow_up::commit(tx, round, &round_of(tx, round)?, follow_up))
    }

    /// Commits an event of a visit with what it changes: `opened` begins the visit, `taken over` gives it to another
    /// machine, `closed` ends it. Returns after the disk has it: show it then, not before. Committing the same one again
    /// stores it once.
    ///
    /// # Errors
    /// [`HistoryError::NoOpenVisit`] if the machine has no visit open at the unit; [`HistoryError::VisitOpen`] if it has
    /// one already; otherwise as for [`History::commit_verdict`].
    pub fn commit_visit_event(&mut self, round: RoundId, event: &VisitEvent) -> Result<(), HistoryError> {
        self.transact(Flush::Now, |tx| visits::commit(tx, round, &round_of(tx, round)?, event))
    }

    /// Commits several in their order in one transaction, all or none, with one flush of the disk.
    ///
    /// # Errors
    /// As for each of them alone; none was stored.
    pub fn commit_all(&mut self, round: RoundId, entries: &[Entry<'_>]) -> Result<(), HistoryError> {
        self.transact(Flush::Now, |tx| {
            let of_round = round_of(tx, round)?;
            entries.iter().try_for_each(|entry| match entry {
                Entry::Verdict(verdict) => commit_one(tx, round, &of_round, verdict).map(|_| ()),
                Entry::FollowUp(follow_up) => follow_up::commit(tx, round, &of_round, follow_up),
                Entry::VisitEvent(event) => visits::commit(tx, round, &of_round, event),
            })
        })
    }

    /// Appends raw readings in one transaction, all or none, without waiting for the disk: they are flushed with the
    /// next verdict, round or recording, or when the log is full. A power cut before that loses them and nothing
    /// else; killing the program loses none. Pass them in batches of 5 to 10 s: each call rewrites the last page of
    /// the table.
    ///
    /// # Errors
    /// Nothing was stored, and the sentence says why.
    pub fn append_readings(&mut self, round: RoundId, readings: &[RawReading]) -> Result<(), HistoryError> {
        self.transact(Flush::Later, |tx| {
            round_of(tx, round)?;
            let mut insert = tx.prepare_cached(
                "INSERT INTO reading (round_id, device, at_us, value, unit, standard_uncertainty, shown, state)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            )?;
            for r in readings {
                let of = || format!("a reading of device '{}'", r.device);
                finite_or_none("value", r.value, of)?;
                finite_or_none("standard uncertainty", r.standard_uncertainty, of)?;
                let at_us = whole("time", r.at_us, of)?;
                insert.execute(params![
                    round.0,
                    r.device,
                    at_us,
                    r.value,
                    r.unit,
                    r.standard_uncertainty,
                    r.shown,
                    r.state
                ])?;
            }
            Ok(())
        })
    }

    /// Adds a recording to the index.
    ///
    /// # Errors
    /// [`HistoryError::NoSuchRound`], or what prevents storing it.
    pub fn add_recording(&mut self, recording: &NewRecording) -> Result<RecordingId, HistoryError> {
        self.transact(Flush::Now, |tx| {
            if let Some(round) = recording.round {
                round_of(tx, round)?;
            }
            let size_bytes = whole("size", recording.size_bytes, || format!("recording {}", recording.path))?;
            tx.prepare_cached(
                "INSERT INTO recording (round_id, path, sha256, size_bytes, started_wall_ms)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
            )?
            .execute(params![
                recording.round.map(|r| r.0),
                recording.path,
                recording.sha256,
                size_bytes,
                recording.started_wall_ms
            ])?;
            Ok(RecordingId(tx.last_insert_rowid()))
        })
    }

    /// One transaction: begun with the write lock, rolled back on any error, committed at the end. Looks at the
    /// file's name before and after, because a commit to a file without a name is lost.
    fn transact<T>(
        &mut self,
        flush: Flush,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, Stop>,
    ) -> Result<T, HistoryError> {
        let db = &mut self.reader.db;
        db.still_there()?;
        db.flush(flush)?;
        let done = run(&mut db.conn, work);
        match done {
            Ok(value) => db.still_there().map(|()| value),
            Err(Stop::Said(error)) => Err(*error),
            Err(Stop::Sql(error)) => Err(db.fail(&error)),
        }
    }
}

fn run<T>(conn: &mut Connection, work: impl FnOnce(&Transaction<'_>) -> Result<T, Stop>) -> Result<T, Stop> {
    let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let value = work(&tx)?;
    tx.commit()?;
    Ok(value)
}

fn first_i64(tx: &Connection, sql: &str, key: &str) -> Result<Option<i64>, SqlError> {
    tx.prepare_cached(sql)?.query_row([key], |row| row.get(0)).optional()
}

fn round_of(tx: &Connection, round: RoundId) -> Result<NewRound, Stop> {
    Ok(round_at(tx, round)?.ok_or(HistoryError::NoSuchRound { round: round.0 })?)
}
