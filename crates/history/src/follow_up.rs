//! What follows a verdict (completed figures, amendments): stored in rows of their own, read back with their digest
//! verified; and the trend, which uses figures only. Never changes a verdict and decides nothing.

use rusqlite::{Connection, OptionalExtension, Row, params};

use crate::digest;
use crate::error::HistoryError;
use crate::insert::{Stop, check_reading, whole};
use crate::model::{FollowUp, KINDS, NewRound, RoundId, TrendPoint, VerdictId, WORDS};
use crate::read::{Reader, new_round, unsigned, verdict_reading};

/// Stores `follow_up`, unless it is stored already.
pub(crate) fn commit(
    tx: &Connection,
    round: RoundId,
    of_round: &NewRound,
    follow_up: &FollowUp,
) -> Result<(), Stop> {
    let FollowUp { uid, verdict_uid, .. } = follow_up;
    let of = || format!("{} {uid}", follow_up.kind);
    validate(follow_up, of)?;
    if !tx.prepare_cached("SELECT json_valid(?1)")?.query_row([&follow_up.json], |row| row.get(0))? {
        return Err(HistoryError::BadJson { of: of() }.into());
    }
    let stored: Option<(i64, [u8; 32])> = tx
        .prepare_cached("SELECT digest_version, digest FROM follow_up WHERE uid = ?1")?
        .query_row([uid], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    if let Some((version, digest)) = stored {
        let same = digest::of_follow_up(version, of_round, follow_up) == Some(digest);
        return if same { Ok(()) } else { Err(HistoryError::IdTaken { uid: uid.clone() }.into()) };
    }
    let verdict: Option<i64> = tx
        .prepare_cached("SELECT verdict_id FROM verdict WHERE uid = ?1 AND round_id = ?2")?
        .query_row(params![verdict_uid, round.0], |row| row.get(0))
        .optional()?;
    let verdict =
        verdict.ok_or_else(|| HistoryError::NoSuchVerdict { of: of(), uid: verdict_uid.clone() })?;
    let seq = whole("sequence number", follow_up.seq, of)?;
    let taken: Option<String> = tx
        .prepare_cached("SELECT uid FROM follow_up WHERE round_id = ?1 AND seq = ?2")?
        .query_row([round.0, seq], |row| row.get(0))
        .optional()?;
    if let Some(taken_by) = taken {
        return Err(HistoryError::SeqTaken { uid: uid.clone(), seq: follow_up.seq, taken_by }.into());
    }
    insert(tx, round, of_round, VerdictId(verdict), seq, follow_up)
}

fn insert(
    tx: &Connection,
    round: RoundId,
    of_round: &NewRound,
    verdict: VerdictId,
    seq: i64,
    f: &FollowUp,
) -> Result<(), Stop> {
    let of = || format!("{} {}", f.kind, f.uid);
    let r = &f.reading;
    let digest = digest::of_follow_up(digest::FOLLOW_UP_VERSION, of_round, f);
    tx.prepare_cached(
        "INSERT INTO follow_up (uid, verdict_id, round_id, seq, kind, word, point, label, device, value, unit,
                                standard_uncertainty, shown, count, reading_at_us, settled, at_least, at_most, at_us,
                                wall_ms, json, digest_version, digest)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22,
                 ?23)",
    )?
    .execute(params![
        f.uid,
        verdict.0,
        round.0,
        seq,
        f.kind,
        f.word,
        r.point,
        r.label,
        r.device,
        r.value,
        r.unit,
        r.standard_uncertainty,
        r.shown,
        r.count,
        whole("time of a reading", r.at_us, of)?,
        r.settled,
        r.at_least,
        r.at_most,
        whole("time", f.at_us, of)?,
        f.wall_ms,
        f.json,
        digest::FOLLOW_UP_VERSION,
        digest
    ])?;
    Ok(())
}

/// The same conditions as the table's, with errors in words.
fn validate(f: &FollowUp, of: impl Fn() -> String) -> Result<(), HistoryError> {
    let must = |must| Err(HistoryError::Contradiction { of: of(), must });
    if let Some(word) = f.word.as_ref().filter(|word| !WORDS.contains(&word.as_str())) {
        return Err(HistoryError::UnknownWord { word: word.clone(), of: of() });
    }
    check_reading(&f.reading, &of)?;
    match (KINDS.contains(&f.kind.as_str()), f.kind == "amended", f.word.is_some()) {
        (false, ..) => must("it is either completed or amended"),
        (true, true, false) => must("an amendment needs the word that the leads show now"),
        (true, false, true) => must("a figure has no word of its own"),
        (true, false, false) if !f.reading.settled => must("a figure is a value that has come to rest"),
        _ => Ok(()),
    }
}

const OF_VERDICT: &str =
    "SELECT f.point, f.label, f.device, f.value, f.unit, f.standard_uncertainty, f.shown, f.count, f.reading_at_us,
            f.settled, f.at_least, f.at_most, f.uid, v.uid, f.seq, f.kind, f.word, f.at_us, f.wall_ms, f.json,
            f.digest_version, f.digest
     FROM follow_up f JOIN verdict v USING (verdict_id) WHERE f.verdict_id = ?1 ORDER BY follow_up_id";

fn follow_up(row: &Row<'_>) -> rusqlite::Result<(FollowUp, i64, [u8; 32])> {
    let follow_up = FollowUp {
        reading: verdict_reading(row)?,
        uid: row.get(12)?,
        verdict_uid: row.get(13)?,
        seq: unsigned(row, 14)?,
        kind: row.get(15)?,
        word: row.get(16)?,
        at_us: unsigned(row, 17)?,
        wall_ms: row.get(18)?,
        json: row.get(19)?,
    };
    Ok((follow_up, row.get(20)?, row.get(21)?))
}

impl Reader {
    /// What followed a verdict, in the order of the commits, each with its digest verified.
    ///
    /// # Errors
    /// If the file cannot be read, or a row is not what was committed.
    pub fn follow_ups(&self, verdict: VerdictId) -> Result<Vec<FollowUp>, HistoryError> {
        let found = self.list(OF_VERDICT, [verdict.0], follow_up)?;
        let round = self.list(
            "SELECT r.uid, s.name, started_wall_ms, rules_hash, r.decision_rule, program_version
             FROM verdict v JOIN round r USING (round_id) JOIN site s USING (site_id) WHERE verdict_id = ?1",
            [verdict.0],
            new_round,
        )?;
        let sound = |of: &FollowUp, version, digest| {
            round.first().is_some_and(|round| digest::of_follow_up(version, round, of) == Some(digest))
        };
        found
            .into_iter()
            .map(|(of, version, digest)| {
                if sound(&of, version, digest) {
                    Ok(of)
                } else {
                    Err(self.db.corrupt(format!("{} {} is not what was committed", of.kind, of.uid)))
                }
            })
            .collect()
    }

    /// The last `count_max` figures of one point of a component, oldest first: values that were at rest at the
    /// verdict, and those that came to rest after it. A value that never came to rest has no figure and does not
    /// appear.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn trend(
        &self,
        site: &str,
        unit_tag: &str,
        component: &str,
        point: &str,
        count_max: u32,
    ) -> Result<Vec<TrendPoint>, HistoryError> {
        let mut points = self.list(
            "WITH of_component AS (
               SELECT v.* FROM verdict v JOIN round USING (round_id) JOIN site s USING (site_id)
               WHERE v.unit_tag = ?2 AND v.component = ?3 AND s.name = ?1
             ), figure AS (
               SELECT verdict_id, ord AS place, point, value, unit, standard_uncertainty, device FROM verdict_reading
               WHERE settled AND point = ?4 AND verdict_id IN (SELECT verdict_id FROM of_component)
               UNION ALL
               SELECT verdict_id, seq, point, value, unit, standard_uncertainty, device FROM follow_up
               WHERE kind = 'completed' AND point = ?4 AND verdict_id IN (SELECT verdict_id FROM of_component)
             )
             SELECT v.verdict_id, f.value, f.unit, f.standard_uncertainty, f.device, v.word, v.wall_ms,
                    NULLIF((SELECT a.word FROM follow_up a WHERE a.verdict_id = v.verdict_id AND a.kind = 'amended'
                     ORDER BY a.follow_up_id DESC LIMIT 1), v.word)
             FROM of_component v JOIN figure f USING (verdict_id)
             ORDER BY v.verdict_id DESC, f.place DESC LIMIT ?5",
            params![site, unit_tag, component, point, count_max],
            |row| {
                Ok(TrendPoint {
                    id: VerdictId(row.get(0)?),
                    value: row.get(1)?,
                    unit: row.get(2)?,
                    standard_uncertainty: row.get(3)?,
                    device: row.get(4)?,
                    word: row.get(5)?,
                    wall_ms: row.get(6)?,
                    amended: row.get(7)?,
                })
            },
        )?;
        points.reverse();
        Ok(points)
    }
}
