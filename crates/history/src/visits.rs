//! Visits: their events are added in the caller's transaction together with what they change of the visit, and read back
//! with their digests verified. What a visit holds is never changed otherwise. Decides nothing.

use rusqlite::{Connection, OptionalExtension, Row, params};

use crate::digest;
use crate::error::HistoryError;
use crate::insert::{Stop, whole};
use crate::model::{NewRound, RoundId, StoredVisitEvent, VISIT_KINDS, Visit, VisitCheck, VisitEvent};
use crate::read::{Reader, new_round, unsigned};

/// An event that is stored: its place, the version of its digest, the digest, its visit.
type Stored = (i64, i64, [u8; 32], VisitRow);

/// A row of `visit`.
struct VisitRow {
    id: i64,
    uid: String,
    unit_tag: String,
    opened_wall_ms: i64,
}

impl VisitRow {
    fn named(&self) -> (&str, &str, i64) {
        (&self.uid, &self.unit_tag, self.opened_wall_ms)
    }
}

const ROW: &str = "SELECT visit_id, v.uid, unit_tag, opened_wall_ms FROM visit v JOIN site s USING (site_id)";

fn visit_row(row: &Row<'_>) -> rusqlite::Result<VisitRow> {
    Ok(VisitRow { id: row.get(0)?, uid: row.get(1)?, unit_tag: row.get(2)?, opened_wall_ms: row.get(3)? })
}

/// Stores `event`, unless it is stored already.
pub(crate) fn commit(
    tx: &Connection,
    round: RoundId,
    of_round: &NewRound,
    event: &VisitEvent,
) -> Result<(), Stop> {
    let of = || format!("event '{}' {} of a visit", event.kind, event.uid);
    validate(event, of)?;
    let at_us = whole("time", event.at_us, of)?;
    if let Some((seq, version, digest, visit)) = stored(tx, &event.uid)? {
        let named = event.visit.as_ref().is_none_or(|uid| *uid == visit.uid);
        let same =
            named && digest::of_visit_event(version, of_round, visit.named(), seq, event) == Some(digest);
        return if same { Ok(()) } else { Err(HistoryError::IdTaken { uid: event.uid.clone() }.into()) };
    }
    let visit = match event.kind.as_str() {
        "opened" => open(tx, of_round, event, of)?,
        "taken over" => take_over(tx, of_round, event, of)?,
        _ => open_at(tx, of_round, event)?
            .ok_or_else(|| HistoryError::NoOpenVisit { of: of(), at: event.unit_tag.clone() })?,
    };
    insert(tx, round, of_round, &visit, at_us, event)?;
    if event.kind == "closed" {
        tx.prepare_cached("UPDATE visit SET closed_wall_ms = ?2 WHERE visit_id = ?1")?
            .execute(params![visit.id, event.wall_ms])?;
    }
    Ok(())
}

/// The event that is stored under this id.
fn stored(tx: &Connection, uid: &str) -> Result<Option<Stored>, Stop> {
    let found = tx
        .prepare_cached(
            "SELECT v.visit_id, v.uid, v.unit_tag, v.opened_wall_ms, e.seq, e.digest_version, e.digest
             FROM visit_event e JOIN visit v USING (visit_id) WHERE e.uid = ?1",
        )?
        .query_row([uid], |row| Ok((row.get(4)?, row.get(5)?, row.get(6)?, visit_row(row)?)))
        .optional()?;
    Ok(found)
}

/// The visit that the event's machine has open at its unit.
fn open_at(tx: &Connection, of_round: &NewRound, event: &VisitEvent) -> Result<Option<VisitRow>, Stop> {
    let found = tx
        .prepare_cached(&format!(
            "{ROW} WHERE s.name = ?1 AND unit_tag = ?2 AND machine = ?3 AND closed_wall_ms IS NULL"
        ))?
        .query_row(params![of_round.site, event.unit_tag, event.machine], visit_row)
        .optional()?;
    Ok(found)
}

fn open(
    tx: &Connection,
    of_round: &NewRound,
    event: &VisitEvent,
    of: impl Fn() -> String,
) -> Result<VisitRow, Stop> {
    if open_at(tx, of_round, event)?.is_some() {
        return Err(HistoryError::VisitOpen { of: of(), unit_tag: event.unit_tag.clone() }.into());
    }
    let uid = event.visit.clone().unwrap_or_default();
    let taken: bool = tx
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM visit WHERE uid = ?1)")?
        .query_row([&uid], |row| row.get(0))?;
    if taken {
        return Err(HistoryError::IdTaken { uid }.into());
    }
    tx.prepare_cached(
        "INSERT INTO visit (uid, site_id, unit_tag, opened_wall_ms, machine)
         SELECT ?1, site_id, ?3, ?4, ?5 FROM site WHERE name = ?2",
    )?
    .execute(params![uid, of_round.site, event.unit_tag, event.wall_ms, event.machine])?;
    let (unit_tag, opened_wall_ms) = (event.unit_tag.clone(), event.wall_ms);
    Ok(VisitRow { id: tx.last_insert_rowid(), uid, unit_tag, opened_wall_ms })
}

fn take_over(
    tx: &Connection,
    of_round: &NewRound,
    event: &VisitEvent,
    of: impl Fn() -> String,
) -> Result<VisitRow, Stop> {
    if open_at(tx, of_round, event)?.is_some() {
        return Err(HistoryError::VisitOpen { of: of(), unit_tag: event.unit_tag.clone() }.into());
    }
    let uid = event.visit.as_deref().unwrap_or_default();
    let visit = tx
        .prepare_cached(&format!(
            "{ROW} WHERE s.name = ?1 AND unit_tag = ?2 AND v.uid = ?3 AND closed_wall_ms IS NULL"
        ))?
        .query_row(params![of_round.site, event.unit_tag, uid], visit_row)
        .optional()?
        .ok_or_else(|| HistoryError::NoOpenVisit { of: of(), at: event.unit_tag.clone() })?;
    tx.prepare_cached("UPDATE visit SET machine = ?2 WHERE visit_id = ?1")?
        .execute(params![visit.id, event.machine])?;
    Ok(visit)
}

fn insert(
    tx: &Connection,
    round: RoundId,
    of_round: &NewRound,
    visit: &VisitRow,
    at_us: i64,
    e: &VisitEvent,
) -> Result<(), Stop> {
    let seq: i64 = tx
        .prepare_cached("SELECT coalesce(max(seq), 0) + 1 FROM visit_event WHERE visit_id = ?1")?
        .query_row([visit.id], |row| row.get(0))?;
    let version = digest::VISIT_EVENT_VERSION;
    let digest = digest::of_visit_event(version, of_round, visit.named(), seq, e);
    tx.prepare_cached(
        "INSERT INTO visit_event (uid, visit_id, seq, round_id, kind, machine, by, component, check_number, rule,
                                  hold_point, text, as_left, at_us, wall_ms, digest_version, digest)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)",
    )?
    .execute(params![
        e.uid,
        visit.id,
        seq,
        round.0,
        e.kind,
        e.machine,
        e.by,
        e.component,
        e.check,
        e.rule,
        e.hold_point,
        e.text,
        e.as_left,
        at_us,
        e.wall_ms,
        version,
        digest
    ])?;
    Ok(())
}

/// The same conditions as the table's, with errors in words.
fn validate(e: &VisitEvent, of: impl Fn() -> String) -> Result<(), HistoryError> {
    let must = |must| Err(HistoryError::Contradiction { of: of(), must });
    if !VISIT_KINDS.contains(&e.kind.as_str()) {
        return must("its kind must be one that visits have");
    }
    if matches!(e.kind.as_str(), "opened" | "taken over") != e.visit.is_some() {
        return must("the begin of a visit and its taking over name the visit, and nothing else does");
    }
    if (e.kind == "finding") != e.as_left.is_some() {
        return must("a finding says whether it was found or left so, and nothing else does");
    }
    Ok(())
}

const VISIT: &str = "SELECT v.uid, s.name, unit_tag, opened_wall_ms, machine, closed_wall_ms
     FROM visit v JOIN site s USING (site_id)";

fn visit(row: &Row<'_>) -> rusqlite::Result<Visit> {
    Ok(Visit {
        uid: row.get(0)?,
        site: row.get(1)?,
        unit_tag: row.get(2)?,
        opened_wall_ms: row.get(3)?,
        machine: row.get(4)?,
        closed_wall_ms: row.get(5)?,
    })
}

const EVENTS: &str = "SELECT r.uid, s.name, started_wall_ms, rules_hash, decision_rule, program_version,
            e.uid, e.machine, kind, by, component, check_number, rule, hold_point, text, as_left, at_us, wall_ms, e.seq,
            e.digest_version, e.digest
     FROM visit_event e JOIN visit v USING (visit_id) JOIN round r USING (round_id) JOIN site s ON s.site_id = r.site_id
     WHERE v.uid = ?1 ORDER BY e.seq";

/// A row of `visit_event` with its round; the unit and the visit are still missing.
fn event(row: &Row<'_>) -> rusqlite::Result<(NewRound, StoredVisitEvent, i64, [u8; 32])> {
    let round = new_round(row)?;
    let event = VisitEvent {
        uid: row.get(6)?,
        visit: None,
        unit_tag: String::new(),
        machine: row.get(7)?,
        kind: row.get(8)?,
        by: row.get(9)?,
        component: row.get(10)?,
        check: row.get(11)?,
        rule: row.get(12)?,
        hold_point: row.get(13)?,
        text: row.get(14)?,
        as_left: row.get(15)?,
        at_us: unsigned(row, 16)?,
        wall_ms: row.get(17)?,
    };
    let stored = StoredVisitEvent { seq: unsigned(row, 18)?, round_uid: round.uid.clone(), event };
    Ok((round, stored, row.get(19)?, row.get(20)?))
}

impl Reader {
    /// The visits of a site that are open, of every machine. The one in which something happened last comes last.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn open_visits(&self, site: &str) -> Result<Vec<Visit>, HistoryError> {
        let sql = format!("{VISIT} WHERE s.name = ?1 AND closed_wall_ms IS NULL ORDER BY visit_id");
        let mut open = Vec::new();
        for visit in self.list(&sql, [site], visit)? {
            // Rounds begin one after the other, and time counts from the begin of each.
            let last: Vec<(i64, i64)> = self.list(
                "WITH here AS (SELECT visit_id FROM visit WHERE uid = ?1)
                 SELECT round_id, at_us FROM visit_event WHERE visit_id IN here
                 UNION ALL SELECT round_id, at_us FROM verdict WHERE visit_id IN here
                 ORDER BY round_id DESC, at_us DESC LIMIT 1",
                [&visit.uid],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )?;
            open.push((last.first().copied(), visit));
        }
        open.sort_by_key(|(last, _)| *last);
        Ok(open.into_iter().map(|(_, visit)| visit).collect())
    }

    /// The last visit at each unit of a site, where it is closed.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn last_visits_closed(&self, site: &str) -> Result<Vec<Visit>, HistoryError> {
        let sql = format!(
            "{VISIT} WHERE closed_wall_ms IS NOT NULL AND visit_id IN
               (SELECT max(visit_id) FROM visit WHERE site_id = (SELECT site_id FROM site WHERE name = ?1) GROUP BY unit_tag)
             ORDER BY visit_id"
        );
        self.list(&sql, [site], visit)
    }

    /// All visits, in the order of their begin.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn visits(&self) -> Result<Vec<Visit>, HistoryError> {
        self.list(&format!("{VISIT} ORDER BY visit_id"), [], visit)
    }

    /// The events of a visit in their order, each with its digest verified; none if there is no such visit.
    ///
    /// # Errors
    /// If the file cannot be read, or the visit is not what was committed: an event was changed or is missing, or the
    /// visit does not follow from its events.
    pub fn visit_events(&self, visit_uid: &str) -> Result<Vec<StoredVisitEvent>, HistoryError> {
        let Some(of) = self.list(&format!("{VISIT} WHERE v.uid = ?1"), [visit_uid], visit)?.pop() else {
            return Ok(Vec::new());
        };
        let changed = |what: &str| self.db.corrupt(format!("visit {visit_uid}: {what}"));
        let named = (of.uid.as_str(), of.unit_tag.as_str(), of.opened_wall_ms);
        let mut events = Vec::new();
        for (place, row) in (1_i64..).zip(self.list(EVENTS, [visit_uid], event)?) {
            let (round, mut stored, version, digest) = row;
            stored.event.unit_tag.clone_from(&of.unit_tag);
            let names_it = matches!(stored.event.kind.as_str(), "opened" | "taken over");
            stored.event.visit = names_it.then(|| of.uid.clone());
            let sound = digest::of_visit_event(version, &round, named, place, &stored.event) == Some(digest);
            if !sound || i64::try_from(stored.seq) != Ok(place) || round.site != of.site {
                return Err(changed(&format!("event {place} is not what was committed")));
            }
            events.push(stored);
        }
        let closed = |stored: &&StoredVisitEvent| stored.event.kind == "closed";
        let closed_wall_ms = events.last().filter(closed).map(|stored| stored.event.wall_ms);
        let machine = events.last().map(|stored| stored.event.machine.as_str());
        if machine != Some(of.machine.as_str()) || closed_wall_ms != of.closed_wall_ms {
            return Err(changed("its holder or its end does not follow from its events"));
        }
        Ok(events)
    }

    /// The checks of a visit that have verdicts, each with its last word, in the order of their first verdict.
    ///
    /// # Errors
    /// If the file cannot be read or one of the verdicts is damaged.
    pub fn visit_checks(&self, visit_uid: &str) -> Result<Vec<VisitCheck>, HistoryError> {
        let ids = self.list(
            "SELECT verdict_id FROM verdict JOIN visit v USING (visit_id) WHERE v.uid = ?1 ORDER BY verdict_id",
            [visit_uid],
            |row| Ok(crate::VerdictId(row.get(0)?)),
        )?;
        let mut checks: Vec<VisitCheck> = Vec::new();
        for id in ids {
            let Some(stored) = self.verdict(id)? else { continue };
            let (component, rule, word) =
                (stored.verdict.component, stored.verdict.rule, stored.verdict.word);
            let judged = word != "no verdict";
            let fails = matches!(word.as_str(), "fail" | "conditional fail");
            match checks.iter_mut().find(|known| known.component == component && known.rule == rule) {
                Some(known) => {
                    known.failed = if judged { fails } else { known.failed };
                    (known.word, known.judged) = (word, known.judged || judged);
                }
                None => checks.push(VisitCheck { component, rule, word, judged, failed: fails }),
            }
        }
        Ok(checks)
    }

    /// Verifies every visit with its events.
    pub(crate) fn visits_are_sound(&self) -> Result<(), HistoryError> {
        for visit in self.visits()? {
            self.visit_events(&visit.uid)?;
        }
        Ok(())
    }
}
