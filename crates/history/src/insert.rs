//! The rows of one verdict: validated, then inserted within the caller's transaction. Does not begin or commit one.

use rusqlite::{Connection, Error as SqlError, OptionalExtension, params};

use crate::digest;
use crate::error::HistoryError;
use crate::model::{Committed, NewRound, RoundId, Verdict, VerdictId, VerdictReading, WORDS};

/// What aborts a transaction.
pub(crate) enum Stop {
    Sql(SqlError),
    Said(Box<HistoryError>),
}

impl From<SqlError> for Stop {
    fn from(error: SqlError) -> Self {
        Self::Sql(error)
    }
}

impl From<HistoryError> for Stop {
    fn from(error: HistoryError) -> Self {
        Self::Said(Box::new(error))
    }
}

/// Stores `verdict`, unless it is stored already.
pub(crate) fn commit_one(
    tx: &Connection,
    round: RoundId,
    of_round: &NewRound,
    verdict: &Verdict,
) -> Result<Committed, Stop> {
    let uid = verdict.uid.as_str();
    validate(uid, verdict)?;
    if !tx.prepare_cached("SELECT json_valid(?1)")?.query_row([&verdict.json], |row| row.get(0))? {
        return Err(HistoryError::BadJson { of: format!("verdict {uid}") }.into());
    }
    let seq = whole("sequence number", verdict.seq, || format!("verdict {uid}"))?;
    let stored: Option<(i64, i64, i64, [u8; 32])> = tx
        .prepare_cached("SELECT verdict_id, seq, digest_version, digest FROM verdict WHERE uid = ?1")?
        .query_row([uid], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))
        .optional()?;
    let id = match stored {
        // The first version of the digest does not hold the sequence number.
        Some((id, same_seq, version, digest))
            if same_seq == seq && digest::of(version, of_round, verdict) == Some(digest) =>
        {
            VerdictId(id)
        }
        Some(_) => return Err(HistoryError::IdTaken { uid: uid.to_owned() }.into()),
        None => insert_verdict(tx, round, of_round, seq, verdict)?,
    };
    Ok(Committed { id, uid: uid.to_owned() })
}

fn insert_verdict(
    tx: &Connection,
    round: RoundId,
    of_round: &NewRound,
    seq: i64,
    v: &Verdict,
) -> Result<VerdictId, Stop> {
    let uid = v.uid.as_str();
    let at_us = whole("time", v.at_us, || uid.to_owned())?;
    let has_seq: Option<String> = tx
        .prepare_cached("SELECT uid FROM verdict WHERE round_id = ?1 AND seq = ?2")?
        .query_row([round.0, seq], |row| row.get(0))
        .optional()?;
    if let Some(taken_by) = has_seq {
        return Err(HistoryError::SeqTaken { uid: uid.to_owned(), seq: v.seq, taken_by }.into());
    }
    let visit =
        v.visit.as_deref().map(|visit| visit_row_of(tx, visit, || format!("verdict {uid}"))).transpose()?;
    let digest = digest::of(digest::VERSION, of_round, v);
    tx.prepare_cached(
        "INSERT INTO verdict (uid, round_id, check_number, unit_tag, component, rule, title, rule_hash, word, reason,
                              advice, decision_rule, at_us, wall_ms, json, digest, digest_version, seq, visit_id)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19)",
    )?
    .execute(params![
        uid,
        round.0,
        v.check,
        v.unit_tag,
        v.component,
        v.rule,
        v.title,
        v.rule_hash,
        v.word,
        v.reason,
        v.advice,
        v.decision_rule,
        at_us,
        v.wall_ms,
        v.json,
        digest,
        digest::VERSION,
        seq,
        visit
    ])?;
    let id = VerdictId(tx.last_insert_rowid());
    insert_readings(tx, id, uid, &v.readings)?;
    insert_judgements(tx, id, v)?;
    let mut insert = tx.prepare_cached(
        "INSERT INTO plate_value (verdict_id, ord, name, value, unit, source) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for (ord, p) in (0_i64..).zip(&v.plate) {
        insert.execute(params![id.0, ord, p.name, p.value, p.unit, p.source])?;
    }
    let mut insert = tx.prepare_cached(
        "INSERT INTO hold_point (verdict_id, ord, name, shown, how, at_us) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for (ord, h) in (0_i64..).zip(&v.hold_points) {
        let at_us = h.at_us.map(|at| whole("time of a hold point", at, || uid.to_owned())).transpose()?;
        insert.execute(params![id.0, ord, h.name, h.shown, h.how, at_us])?;
    }
    Ok(id)
}

/// The row number of a visit.
fn visit_row_of(tx: &Connection, uid: &str, of: impl Fn() -> String) -> Result<i64, Stop> {
    let found = tx
        .prepare_cached("SELECT visit_id FROM visit WHERE uid = ?1")?
        .query_row([uid], |row| row.get(0))
        .optional()?;
    Ok(found.ok_or_else(|| HistoryError::NoOpenVisit { of: of(), at: uid.to_owned() })?)
}

fn insert_readings(
    tx: &Connection,
    id: VerdictId,
    uid: &str,
    readings: &[VerdictReading],
) -> Result<(), Stop> {
    let mut insert = tx.prepare_cached(
        "INSERT INTO verdict_reading (verdict_id, ord, point, label, device, value, unit, standard_uncertainty, shown,
                                      count, at_us, settled, at_least, at_most)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
    )?;
    for (ord, r) in (0_i64..).zip(readings) {
        let at_us = whole("time of a reading", r.at_us, || uid.to_owned())?;
        insert.execute(params![
            id.0,
            ord,
            r.point,
            r.label,
            r.device,
            r.value,
            r.unit,
            r.standard_uncertainty,
            r.shown,
            r.count,
            at_us,
            r.settled,
            r.at_least,
            r.at_most
        ])?;
    }
    Ok(())
}

fn insert_judgements(tx: &Connection, id: VerdictId, v: &Verdict) -> Result<(), Stop> {
    let mut insert = tx.prepare_cached(
        "INSERT INTO judgement (verdict_id, ord, name, word, value, unit, low, high, standard_uncertainty,
                                probability_of_conformance, guard, meter_too_coarse, advice, source, source_class)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
    )?;
    for (ord, j) in (0_i64..).zip(&v.judgements) {
        insert.execute(params![
            id.0,
            ord,
            j.name,
            j.word,
            j.value,
            j.unit,
            j.low,
            j.high,
            j.standard_uncertainty,
            j.probability_of_conformance,
            j.guard,
            j.meter_too_coarse,
            j.advice,
            j.source,
            j.source_class
        ])?;
    }
    Ok(())
}

/// SQLite would store NaN as NULL, which means "none": rejected instead.
fn validate(uid: &str, v: &Verdict) -> Result<(), HistoryError> {
    let of = || format!("verdict {uid}");
    for word in std::iter::once(&v.word).chain(v.judgements.iter().map(|j| &j.word)) {
        if !WORDS.contains(&word.as_str()) {
            return Err(HistoryError::UnknownWord { word: word.clone(), of: of() });
        }
    }
    if (v.word == "no verdict") != v.reason.is_some() {
        return Err(HistoryError::ReasonMismatch { of: of() });
    }
    v.readings.iter().try_for_each(|r| check_reading(r, of))?;
    for j in &v.judgements {
        finite_or_none("value of a judgement", j.value, of)?;
        finite_or_none("lower limit", j.low, of)?;
        finite_or_none("upper limit", j.high, of)?;
        finite_or_none("standard uncertainty of a judgement", j.standard_uncertainty, of)?;
        finite_or_none("probability of conformance", j.probability_of_conformance, of)?;
        finite_or_none("guard band", j.guard, of)?;
    }
    v.plate.iter().try_for_each(|p| finite_or_none("plate value", Some(p.value), of))
}

/// The numbers of a reading.
pub(crate) fn check_reading(r: &VerdictReading, of: impl Fn() -> String) -> Result<(), HistoryError> {
    finite_or_none("value of a reading", r.value, &of)?;
    finite_or_none("standard uncertainty of a reading", r.standard_uncertainty, &of)?;
    finite_or_none("lower end of a reading", r.at_least, &of)?;
    finite_or_none("upper end of a reading", r.at_most, &of)?;
    if r.settled && (r.value.is_none() || r.standard_uncertainty.is_none()) {
        return Err(HistoryError::Contradiction {
            of: of(),
            must: "a reading that was at rest needs a value and its uncertainty",
        });
    }
    Ok(())
}

pub(crate) fn finite_or_none(
    field: &'static str,
    value: Option<f64>,
    of: impl Fn() -> String,
) -> Result<(), HistoryError> {
    match value {
        Some(value) if !value.is_finite() => Err(HistoryError::OutOfRange { field, of: of() }),
        _ => Ok(()),
    }
}

pub(crate) fn whole(field: &'static str, value: u64, of: impl Fn() -> String) -> Result<i64, HistoryError> {
    i64::try_from(value).map_err(|_| HistoryError::OutOfRange { field, of: of() })
}
