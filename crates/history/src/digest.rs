//! The digest of a verdict: SHA-256 over a canonical form of all its fields and those of its round. It detects
//! changed bytes (SQLite keeps no page checksums); it is not a signature. The choice of fields has a version, stored
//! with each row, so that rows stay readable when columns are added. Does not read or write the file.

use sha2::{Digest, Sha256};

use crate::model::{
    FollowUp, HoldPoint, Judgement, NewRound, PlateValue, Verdict, VerdictReading, VisitEvent,
};

/// Each field is hashed with a tag and, if its length varies, its length, so no two contents share a form.
struct Form(Sha256);

impl Form {
    fn tagged(&mut self, tag: u8, bytes: &[u8]) {
        self.0.update([tag]);
        self.0.update(bytes);
    }

    fn int(&mut self, value: i128) {
        self.tagged(b'i', &value.to_le_bytes());
    }

    fn text(&mut self, text: &str) {
        self.tagged(b't', &(text.len() as u64).to_le_bytes());
        self.0.update(text.as_bytes());
    }

    fn text_or_none(&mut self, text: Option<&str>) {
        match text {
            Some(text) => self.text(text),
            None => self.tagged(b'n', &[]),
        }
    }

    fn real(&mut self, value: f64) {
        // SQLite keeps -0.0 as 0.0.
        self.tagged(b'r', &(value + 0.0).to_le_bytes());
    }

    fn real_or_none(&mut self, value: Option<f64>) {
        match value {
            Some(value) => self.real(value),
            None => self.tagged(b'n', &[]),
        }
    }

    fn list<T>(&mut self, items: &[T], each: fn(&mut Self, &T)) {
        self.tagged(b'l', &(items.len() as u64).to_le_bytes());
        for item in items {
            each(self, item);
        }
    }
}

/// The version of new rows.
pub(crate) const VERSION: i64 = 4;
/// The version of new follow-ups.
pub(crate) const FOLLOW_UP_VERSION: i64 = 3;
/// The version of new events of visits.
pub(crate) const VISIT_EVENT_VERSION: i64 = 4;

/// The digest of `verdict` in `round` by the version stored with its row; `None` for a version that no program wrote.
/// A released version is never edited: every row that has it would look damaged.
pub(crate) fn of(version: i64, round: &NewRound, verdict: &Verdict) -> Option<[u8; 32]> {
    // Before version 4, there were no visits.
    if version < 4 && verdict.visit.is_some() {
        return None;
    }
    match version {
        1 => nobody_said(verdict).then(|| of_v1(round, verdict)),
        2 => nobody_said(verdict).then(|| of_v2(round, verdict)),
        3 => Some(of_v3(round, verdict)),
        4 => Some(of_v4(round, verdict)),
        _ => None,
    }
}

/// The values that the migration to version 3 gave to readings: a row with an earlier digest and any other value was
/// changed.
fn nobody_said(verdict: &Verdict) -> bool {
    let ends = |reading: &VerdictReading| reading.at_least.is_some() || reading.at_most.is_some();
    verdict.readings.iter().all(|reading| !ends(reading) && reading.settled == (reading.device == "typed"))
}

/// Rows of file version 1, which had no sequence number.
fn of_v1(round: &NewRound, verdict: &Verdict) -> [u8; 32] {
    let mut form = Form(Sha256::new());
    form.text("cliplead verdict 1");
    form.text(&verdict.uid);
    of_round(&mut form, round);
    of_verdict(&mut form, verdict, of_reading_v1);
    form.0.finalize().into()
}

fn of_v2(round: &NewRound, verdict: &Verdict) -> [u8; 32] {
    let mut form = Form(Sha256::new());
    form.text("cliplead verdict 2");
    form.text(&verdict.uid);
    form.int(verdict.seq.into());
    of_round(&mut form, round);
    of_verdict(&mut form, verdict, of_reading_v1);
    form.0.finalize().into()
}

/// Since file version 3, a reading records whether it was at rest and its interval, and may have no value.
fn of_v3(round: &NewRound, verdict: &Verdict) -> [u8; 32] {
    let mut form = Form(Sha256::new());
    form.text("cliplead verdict 3");
    form.text(&verdict.uid);
    form.int(verdict.seq.into());
    of_round(&mut form, round);
    of_verdict(&mut form, verdict, of_reading);
    form.0.finalize().into()
}

/// Since file version 4, a verdict may belong to a visit.
fn of_v4(round: &NewRound, verdict: &Verdict) -> [u8; 32] {
    let mut form = Form(Sha256::new());
    form.text("cliplead verdict 4");
    form.text(&verdict.uid);
    form.int(verdict.seq.into());
    form.text_or_none(verdict.visit.as_deref());
    of_round(&mut form, round);
    of_verdict(&mut form, verdict, of_reading);
    form.0.finalize().into()
}

/// The digest of an event of a visit, with its place in the visit, by the version stored with its row. `visit` is the
/// visit's id, unit and wall clock at its begin.
pub(crate) fn of_visit_event(
    version: i64,
    round: &NewRound,
    visit: (&str, &str, i64),
    seq: i64,
    event: &VisitEvent,
) -> Option<[u8; 32]> {
    let VisitEvent {
        uid,
        visit: _, // always that of `visit`, where it is named
        unit_tag,
        machine,
        kind,
        by,
        component,
        check,
        rule,
        hold_point,
        text,
        as_left,
        at_us,
        wall_ms,
    } = event;
    let (visit_uid, visit_unit_tag, opened_wall_ms) = visit;
    let mut form = Form(Sha256::new());
    form.text("cliplead visit event 4");
    for text in [uid, visit_uid, visit_unit_tag, unit_tag, machine, kind, component] {
        form.text(text);
    }
    form.int(opened_wall_ms.into());
    form.int(seq.into());
    for text in [by, rule, hold_point, text] {
        form.text_or_none(text.as_deref());
    }
    for number in [check.map(i128::from), as_left.map(i128::from)] {
        match number {
            Some(number) => form.int(number),
            None => form.tagged(b'n', &[]),
        }
    }
    form.int((*at_us).into());
    form.int((*wall_ms).into());
    of_round(&mut form, round);
    (version == 4).then(|| form.0.finalize().into())
}

/// The digest of a follow-up, by the version stored with its row; there is none before version 3.
pub(crate) fn of_follow_up(version: i64, round: &NewRound, follow_up: &FollowUp) -> Option<[u8; 32]> {
    let FollowUp { uid, verdict_uid, seq, kind, word, reading, at_us, wall_ms, json } = follow_up;
    let mut form = Form(Sha256::new());
    form.text("cliplead follow-up 3");
    of_round(&mut form, round);
    for text in [uid, verdict_uid, kind, json] {
        form.text(text);
    }
    form.int((*seq).into());
    form.text_or_none(word.as_deref());
    of_reading(&mut form, reading);
    form.int((*at_us).into());
    form.int((*wall_ms).into());
    (version == 3).then(|| form.0.finalize().into())
}

// The forms below are shared by the versions. Each names every field, so that a new one does not compile until a
// version of the digest holds it.

fn of_round(form: &mut Form, round: &NewRound) {
    let NewRound { uid, site, started_wall_ms, rules_hash, decision_rule, program_version } = round;
    for text in [uid, site, rules_hash, decision_rule, program_version] {
        form.text(text);
    }
    form.int((*started_wall_ms).into());
}

fn of_verdict(form: &mut Form, verdict: &Verdict, each_reading: fn(&mut Form, &VerdictReading)) {
    // `uid`, `seq` and `visit` are taken by the version.
    let Verdict {
        uid: _,
        seq: _,
        visit: _,
        check,
        unit_tag,
        component,
        rule,
        title,
        rule_hash,
        word,
        reason,
        advice,
        decision_rule,
        at_us,
        wall_ms,
        readings,
        judgements,
        plate,
        hold_points,
        json,
    } = verdict;
    form.int((*check).into());
    for text in [unit_tag, component, rule, title, rule_hash, word, decision_rule, json] {
        form.text(text);
    }
    form.text_or_none(reason.as_deref());
    form.text_or_none(advice.as_deref());
    form.int((*at_us).into());
    form.int((*wall_ms).into());
    form.list(readings, each_reading);
    form.list(judgements, of_judgement);
    form.list(plate, of_plate_value);
    form.list(hold_points, of_hold_point);
}

/// Before version 3, a reading always had a value and did not record whether it was at rest.
fn of_reading_v1(form: &mut Form, reading: &VerdictReading) {
    let VerdictReading {
        point,
        label,
        device,
        value,
        unit,
        standard_uncertainty,
        shown,
        count,
        at_us,
        settled: _,
        at_least: _,
        at_most: _,
    } = reading;
    for text in [point, label, device, unit] {
        form.text(text);
    }
    form.real_or_none(*value);
    form.real_or_none(*standard_uncertainty);
    form.text_or_none(shown.as_deref());
    form.int((*count).into());
    form.int((*at_us).into());
}

fn of_reading(form: &mut Form, reading: &VerdictReading) {
    of_reading_v1(form, reading);
    form.int(reading.settled.into());
    form.real_or_none(reading.at_least);
    form.real_or_none(reading.at_most);
}

fn of_judgement(form: &mut Form, judgement: &Judgement) {
    let Judgement {
        name,
        word,
        value,
        unit,
        low,
        high,
        standard_uncertainty,
        probability_of_conformance,
        guard,
        meter_too_coarse,
        advice,
        source,
        source_class,
    } = judgement;
    for text in [name, word, unit, source, source_class] {
        form.text(text);
    }
    for value in [value, low, high, standard_uncertainty, probability_of_conformance, guard] {
        form.real_or_none(*value);
    }
    form.int((*meter_too_coarse).into());
    form.text_or_none(advice.as_deref());
}

fn of_plate_value(form: &mut Form, plate: &PlateValue) {
    let PlateValue { name, value, unit, source } = plate;
    for text in [name, unit, source] {
        form.text(text);
    }
    form.real(*value);
}

fn of_hold_point(form: &mut Form, hold: &HoldPoint) {
    let HoldPoint { name, shown, how, at_us } = hold;
    form.text(name);
    form.int((*shown).into());
    form.text_or_none(how.as_deref());
    match at_us {
        Some(at) => form.int((*at).into()),
        None => form.tagged(b'n', &[]),
    }
}
