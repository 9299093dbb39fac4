//! The queries, on the writer's connection or on a read-only one of their own. Lists are in the order of commits.
//! Changes nothing.

use std::path::Path;

use rusqlite::{Connection, Error as SqlError, OptionalExtension, Params, Row, params};

use crate::digest;
use crate::error::HistoryError;
use crate::model::{
    HoldPoint, Judgement, NewRecording, NewRound, PlateValue, Recording, RecordingId, Round, RoundId,
    StoredVerdict, Verdict, VerdictId, VerdictReading, VerdictSummary,
};
use crate::open::{BUSY_TIMEOUT_MS_DEFAULT, Db};

/// The history, for reading.
#[derive(Debug)]
pub struct Reader {
    pub(crate) db: Db,
}

impl Reader {
    /// Opens the file for reading only, alongside a writer or alone.
    ///
    /// # Errors
    /// If the file is missing, not ours, of another version, or damaged.
    pub fn open(path: &Path) -> Result<Self, HistoryError> {
        Ok(Self { db: Db::reader(path, BUSY_TIMEOUT_MS_DEFAULT)? })
    }

    /// The last `count_max` verdicts, newest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn recent(&self, count_max: u32) -> Result<Vec<VerdictSummary>, HistoryError> {
        self.list(
            "SELECT verdict_id, v.uid, s.name, check_number, unit_tag, component, title, word, reason, advice, at_us,
                    wall_ms, seq, (SELECT f.word FROM follow_up f WHERE f.verdict_id = v.verdict_id AND kind = 'amended'
                                   ORDER BY follow_up_id DESC LIMIT 1)
             FROM verdict v JOIN round USING (round_id) JOIN site s USING (site_id)
             ORDER BY verdict_id DESC LIMIT ?1",
            [count_max],
            |row| {
                Ok(VerdictSummary {
                    id: VerdictId(row.get(0)?),
                    uid: row.get(1)?,
                    site: row.get(2)?,
                    check: row.get(3)?,
                    unit_tag: row.get(4)?,
                    component: row.get(5)?,
                    title: row.get(6)?,
                    word: row.get(7)?,
                    reason: row.get(8)?,
                    advice: row.get(9)?,
                    at_us: unsigned(row, 10)?,
                    wall_ms: row.get(11)?,
                    seq: unsigned(row, 12)?,
                    amended: row.get(13)?,
                })
            },
        )
    }

    /// The last `count_max` verdicts of a component, oldest first, each complete and with its digest verified.
    ///
    /// # Errors
    /// If the file cannot be read or one of them is damaged.
    pub fn of_component(
        &self,
        site: &str,
        unit_tag: &str,
        component: &str,
        count_max: u32,
    ) -> Result<Vec<StoredVerdict>, HistoryError> {
        let ids = self.list(
            "SELECT verdict_id FROM verdict v JOIN round USING (round_id) JOIN site s USING (site_id)
             WHERE unit_tag = ?2 AND component = ?3 AND s.name = ?1 ORDER BY verdict_id DESC LIMIT ?4",
            params![site, unit_tag, component, count_max],
            |row| Ok(VerdictId(row.get(0)?)),
        )?;
        let mut found = Vec::with_capacity(ids.len());
        for id in ids.into_iter().rev() {
            found.extend(self.verdict(id)?);
        }
        Ok(found)
    }

    /// A verdict with everything it rests on and its digest verified; `None` if there is none with this number.
    ///
    /// # Errors
    /// If the file cannot be read, or the verdict is not what was committed.
    pub fn verdict(&self, id: VerdictId) -> Result<Option<StoredVerdict>, HistoryError> {
        let head = self
            .db
            .conn
            .prepare_cached(VERDICT_HEAD)
            .and_then(|mut statement| statement.query_row([id.0], verdict_head).optional())
            .map_err(|e| self.db.fail(&e))?;
        let Some(Head { round, digest_version, digest, mut verdict }) = head else { return Ok(None) };
        verdict.readings = self.list(READINGS, [id.0], verdict_reading)?;
        verdict.judgements = self.list(JUDGEMENTS, [id.0], judgement)?;
        verdict.plate = self.list(
            "SELECT name, value, unit, source FROM plate_value WHERE verdict_id = ?1 ORDER BY ord",
            [id.0],
            |row| {
                Ok(PlateValue {
                    name: row.get(0)?,
                    value: row.get(1)?,
                    unit: row.get(2)?,
                    source: row.get(3)?,
                })
            },
        )?;
        verdict.hold_points = self.list(
            "SELECT name, shown, how, at_us FROM hold_point WHERE verdict_id = ?1 ORDER BY ord",
            [id.0],
            |row| {
                let at_us =
                    if row.get::<_, Option<i64>>(3)?.is_some() { Some(unsigned(row, 3)?) } else { None };
                Ok(HoldPoint { name: row.get(0)?, shown: row.get(1)?, how: row.get(2)?, at_us })
            },
        )?;
        if digest::of(digest_version, &round, &verdict) != Some(digest) {
            return Err(self.db.corrupt(format!("verdict {} is not what was committed", verdict.uid)));
        }
        Ok(Some(StoredVerdict { id, round, verdict }))
    }

    /// The JSON text of a verdict as it was shown, with its digest verified.
    ///
    /// # Errors
    /// As for [`Reader::verdict`].
    pub fn verdict_json(&self, id: VerdictId) -> Result<Option<String>, HistoryError> {
        Ok(self.verdict(id)?.map(|stored| stored.verdict.json))
    }

    /// All rounds, in the order of their start.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn rounds(&self) -> Result<Vec<Round>, HistoryError> {
        self.list(
            "SELECT r.uid, s.name, started_wall_ms, rules_hash, decision_rule, program_version, round_id,
                    ended_wall_ms, (SELECT count(*) FROM verdict v WHERE v.round_id = r.round_id)
             FROM round r JOIN site s USING (site_id) ORDER BY round_id",
            [],
            |row| {
                Ok(Round {
                    id: RoundId(row.get(6)?),
                    new: new_round(row)?,
                    ended_wall_ms: row.get(7)?,
                    verdicts: unsigned(row, 8)?,
                })
            },
        )
    }

    /// All recordings, in the order they were added.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn recordings(&self) -> Result<Vec<Recording>, HistoryError> {
        self.list(
            "SELECT recording_id, round_id, path, sha256, size_bytes, started_wall_ms FROM recording
             ORDER BY recording_id",
            [],
            |row| {
                let new = NewRecording {
                    round: row.get::<_, Option<i64>>(1)?.map(RoundId),
                    path: row.get(2)?,
                    sha256: row.get(3)?,
                    size_bytes: unsigned(row, 4)?,
                    started_wall_ms: row.get(5)?,
                };
                Ok(Recording { id: RecordingId(row.get(0)?), new })
            },
        )
    }

    /// The number of raw readings in a round.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn reading_count(&self, round: RoundId) -> Result<u64, HistoryError> {
        let counts =
            self.list("SELECT count(*) FROM reading WHERE round_id = ?1", [round.0], |row| unsigned(row, 0))?;
        Ok(counts.into_iter().sum())
    }

    /// Verifies the whole file: SQLite's integrity check, the references, and the digest of every verdict,
    /// follow-up and event of a visit. Returns the number of verdicts. Takes seconds on a large file and is not needed in daily use: each
    /// verdict is verified when it is read.
    ///
    /// # Errors
    /// [`HistoryError::Corrupt`] with the first finding.
    pub fn integrity(&self) -> Result<u64, HistoryError> {
        let findings: Vec<String> = self.list("PRAGMA integrity_check(3)", [], |row| row.get(0))?;
        if findings != ["ok"] {
            return Err(self.db.corrupt(findings.join("; ")));
        }
        let orphans: Vec<String> = self.list("PRAGMA foreign_key_check", [], |row| row.get(0))?;
        if let Some(table) = orphans.first() {
            return Err(self.db.corrupt(format!("a row of {table} belongs to nothing")));
        }
        let ids = self.list("SELECT verdict_id FROM verdict", [], |row| Ok(VerdictId(row.get(0)?)))?;
        let mut count = 0;
        for id in ids {
            count += u64::from(self.verdict(id)?.is_some());
            self.follow_ups(id)?;
        }
        self.visits_are_sound()?;
        Ok(count)
    }

    pub(crate) fn list<T>(
        &self,
        sql: &str,
        params: impl Params,
        row: impl FnMut(&Row<'_>) -> Result<T, SqlError>,
    ) -> Result<Vec<T>, HistoryError> {
        let read = || -> Result<Vec<T>, SqlError> {
            let mut statement = self.db.conn.prepare_cached(sql)?;
            statement.query_map(params, row)?.collect()
        };
        read().map_err(|e| self.db.fail(&e))
    }
}

const VERDICT_HEAD: &str =
    "SELECT r.uid, s.name, r.started_wall_ms, r.rules_hash, r.decision_rule, r.program_version,
            v.uid, v.digest, check_number, unit_tag, component, rule, title, rule_hash, word, reason, advice,
            v.decision_rule, at_us, wall_ms, json, seq, digest_version,
            (SELECT i.uid FROM visit i WHERE i.visit_id = v.visit_id)
     FROM verdict v JOIN round r USING (round_id) JOIN site s USING (site_id) WHERE verdict_id = ?1";
const READINGS: &str = "SELECT point, label, device, value, unit, standard_uncertainty, shown, count, at_us,
            settled, at_least, at_most
     FROM verdict_reading WHERE verdict_id = ?1 ORDER BY ord";
const JUDGEMENTS: &str =
    "SELECT name, word, value, unit, low, high, standard_uncertainty, probability_of_conformance,
            guard, meter_too_coarse, advice, source, source_class
     FROM judgement WHERE verdict_id = ?1 ORDER BY ord";

/// A row of `verdict` joined with its round; the lists of the verdict are still empty.
struct Head {
    round: NewRound,
    digest_version: i64,
    digest: [u8; 32],
    verdict: Verdict,
}

fn verdict_head(row: &Row<'_>) -> Result<Head, SqlError> {
    let verdict = Verdict {
        uid: row.get(6)?,
        seq: unsigned(row, 21)?,
        visit: row.get(23)?,
        check: row.get(8)?,
        unit_tag: row.get(9)?,
        component: row.get(10)?,
        rule: row.get(11)?,
        title: row.get(12)?,
        rule_hash: row.get(13)?,
        word: row.get(14)?,
        reason: row.get(15)?,
        advice: row.get(16)?,
        decision_rule: row.get(17)?,
        at_us: unsigned(row, 18)?,
        wall_ms: row.get(19)?,
        readings: Vec::new(),
        judgements: Vec::new(),
        plate: Vec::new(),
        hold_points: Vec::new(),
        json: row.get(20)?,
    };
    Ok(Head { round: new_round(row)?, digest_version: row.get(22)?, digest: row.get(7)?, verdict })
}

/// The first twelve columns of a row as a reading.
pub(crate) fn verdict_reading(row: &Row<'_>) -> Result<VerdictReading, SqlError> {
    Ok(VerdictReading {
        point: row.get(0)?,
        label: row.get(1)?,
        device: row.get(2)?,
        value: row.get(3)?,
        unit: row.get(4)?,
        standard_uncertainty: row.get(5)?,
        shown: row.get(6)?,
        count: row.get(7)?,
        at_us: unsigned(row, 8)?,
        settled: row.get(9)?,
        at_least: row.get(10)?,
        at_most: row.get(11)?,
    })
}

fn judgement(row: &Row<'_>) -> Result<Judgement, SqlError> {
    Ok(Judgement {
        name: row.get(0)?,
        word: row.get(1)?,
        value: row.get(2)?,
        unit: row.get(3)?,
        low: row.get(4)?,
        high: row.get(5)?,
        standard_uncertainty: row.get(6)?,
        probability_of_conformance: row.get(7)?,
        guard: row.get(8)?,
        meter_too_coarse: row.get(9)?,
        advice: row.get(10)?,
        source: row.get(11)?,
        source_class: row.get(12)?,
    })
}

/// The first six columns of a row as the data given at a round's start.
pub(crate) fn new_round(row: &Row<'_>) -> Result<NewRound, SqlError> {
    Ok(NewRound {
        uid: row.get(0)?,
        site: row.get(1)?,
        started_wall_ms: row.get(2)?,
        rules_hash: row.get(3)?,
        decision_rule: row.get(4)?,
        program_version: row.get(5)?,
    })
}

/// The data given at a round's start, if the round exists.
pub(crate) fn round_at(conn: &Connection, round: RoundId) -> Result<Option<NewRound>, SqlError> {
    conn.prepare_cached(
        "SELECT r.uid, s.name, started_wall_ms, rules_hash, decision_rule, program_version
         FROM round r JOIN site s USING (site_id) WHERE round_id = ?1",
    )?
    .query_row([round.0], new_round)
    .optional()
}

pub(crate) fn unsigned(row: &Row<'_>, column: usize) -> Result<u64, SqlError> {
    let value: i64 = row.get(column)?;
    u64::try_from(value).map_err(|_| SqlError::IntegralValueOutOfRange(column, value))
}
