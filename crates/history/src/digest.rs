//! The digest of a verdict: SHA-256 over a canonical form of all its fields and its round's. It finds changed bytes
//! (SQLite keeps no checksum of its pages); it is no signature. Does not read or write the file.

use sha2::{Digest, Sha256};

use crate::model::{HoldPoint, Judgement, NewRound, PlateValue, Verdict, VerdictReading};

/// Each field goes in with a tag and, where its length varies, its length, so no two contents share a form.
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

/// The digest of `verdict` in `round` under the id `uid`.
pub(crate) fn of(uid: &str, round: &NewRound, verdict: &Verdict) -> [u8; 32] {
    let mut form = Form(Sha256::new());
    form.text("cliplead verdict 1");
    form.text(uid);
    for text in [&round.uid, &round.site, &round.rules_hash, &round.decision_rule, &round.program_version] {
        form.text(text);
    }
    form.int(round.started_wall_ms.into());
    form.int(verdict.check.into());
    let v = verdict;
    for text in
        [&v.unit_tag, &v.component, &v.rule, &v.title, &v.rule_hash, &v.word, &v.decision_rule, &v.json]
    {
        form.text(text);
    }
    form.text_or_none(v.reason.as_deref());
    form.text_or_none(v.advice.as_deref());
    form.int(v.at_us.into());
    form.int(v.wall_ms.into());
    form.list(&v.readings, reading);
    form.list(&v.judgements, judgement);
    form.list(&v.plate, plate_value);
    form.list(&v.hold_points, hold_point);
    form.0.finalize().into()
}

fn reading(form: &mut Form, r: &VerdictReading) {
    for text in [&r.point, &r.label, &r.device, &r.unit] {
        form.text(text);
    }
    form.real(r.value);
    form.real(r.standard_uncertainty);
    form.text_or_none(r.shown.as_deref());
    form.int(r.count.into());
    form.int(r.at_us.into());
}

fn judgement(form: &mut Form, j: &Judgement) {
    for text in [&j.name, &j.word, &j.unit, &j.source, &j.source_class] {
        form.text(text);
    }
    for value in [j.value, j.low, j.high, j.standard_uncertainty, j.probability_of_conformance, j.guard] {
        form.real_or_none(value);
    }
    form.int(j.meter_too_coarse.into());
    form.text_or_none(j.advice.as_deref());
}

fn plate_value(form: &mut Form, p: &PlateValue) {
    for text in [&p.name, &p.unit, &p.source] {
        form.text(text);
    }
    form.real(p.value);
}

fn hold_point(form: &mut Form, h: &HoldPoint) {
    form.text(&h.name);
    form.int(h.shown.into());
    form.text_or_none(h.how.as_deref());
    match h.at_us {
        Some(at) => form.int(at.into()),
        None => form.tagged(b'n', &[]),
    }
}
