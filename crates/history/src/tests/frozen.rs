//! Files as released versions wrote them, byte for byte: each opens, is brought up to date, reads back what was stored
//! and is sound. A file of an earlier version is never made anew.

use std::path::Path;

use super::follow_up::{amendment, early, figure};
use super::{Folder, no_verdict, round, verdict};
use crate::open::known_version;
use crate::{History, HistoryError, NewRecording, NewRound, Reader, Verdict, VerdictId, VisitEvent};

/// Written by the program before verdicts had a sequence number: two rounds, four verdicts, two raw readings, a recording.
const VERSION_1: &[u8] = include_bytes!("frozen/version-1.db");

/// Written before readings said whether they were at rest: two rounds, three verdicts (one of a typed value), a raw reading,
/// a recording.
const VERSION_2: &[u8] = include_bytes!("frozen/version-2.db");

/// Written before there were visits: two rounds, three verdicts (one of a value that was not at rest), its figure, an
/// amendment.
const VERSION_3: &[u8] = include_bytes!("frozen/version-3.db");

fn mill_yard() -> NewRound {
    round("1a227b62ebd-2034")
}

fn quay_house() -> NewRound {
    NewRound {
        site: "Quay House".to_owned(),
        started_wall_ms: 1_758_000_000_000,
        ..round("1a227b63000-2035")
    }
}

/// A verdict of that file: its id was made of the round's, the check and the time; `seq` is its place in the round.
fn as_in_version_1(of_round: &NewRound, seq: u64, v: Verdict) -> Verdict {
    let v = as_before_version_3(v);
    Verdict { uid: format!("{}/{}/{}", of_round.uid, v.check, v.at_us), seq, ..v }
}

/// Nobody said whether its readings had come to rest; what was typed had.
fn as_before_version_3(mut v: Verdict) -> Verdict {
    for reading in &mut v.readings {
        reading.settled = reading.device == "typed";
        (reading.at_least, reading.at_most) = (None, None);
    }
    v
}

/// In the order of the commits.
fn verdicts_of_version_1() -> [(NewRound, Verdict); 4] {
    let (yard, quay) = (mill_yard(), quay_house());
    [
        (yard.clone(), as_in_version_1(&yard, 1, verdict(1))),
        (yard.clone(), as_in_version_1(&yard, 2, no_verdict(2))),
        (quay.clone(), as_in_version_1(&quay, 1, verdict(1))),
        (yard.clone(), as_in_version_1(&yard, 3, verdict(3))),
    ]
}

fn assert_verdicts_of_version_1(reader: &Reader) {
    for (id, (of_round, verdict)) in (1..).zip(verdicts_of_version_1()) {
        let stored = reader.verdict(VerdictId(id)).unwrap().unwrap();
        assert_eq!((stored.round, stored.verdict), (of_round, verdict), "verdict {id}");
    }
}

fn assert_as_in_version_1(reader: &Reader) {
    assert_verdicts_of_version_1(reader);
    let rounds = reader.rounds().unwrap();
    let told: Vec<_> = rounds.iter().map(|r| (&r.new, r.ended_wall_ms, r.verdicts)).collect();
    assert_eq!(told, [(&mill_yard(), Some(1_790_000_100_000), 3), (&quay_house(), None, 1)]);
    assert_eq!(reader.reading_count(rounds[0].id).unwrap(), 2);
    let recordings: Vec<_> = reader.recordings().unwrap().into_iter().map(|r| r.new).collect();
    let expected = NewRecording {
        round: Some(rounds[0].id),
        path: "recordings/visit.jsonl".to_owned(),
        sha256: "00".repeat(32),
        size_bytes: 4096,
        started_wall_ms: 1,
    };
    assert_eq!(recordings, [expected]);
}

fn thaw(path: &Path) {
    std::fs::write(path, VERSION_1).unwrap();
}

#[test]
fn a_file_of_version_1_is_brought_up_to_date() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    thaw(&path);
    // A reader changes nothing, so it cannot.
    assert_eq!(
        Reader::open(&path).err(),
        Some(HistoryError::Older { path: path.clone(), found: 1, known: known_version() })
    );
    let mut history = History::open(&path).unwrap();
    assert_eq!(history.reader().integrity().unwrap(), 4);
    assert_as_in_version_1(history.reader());

    // An old round goes on, an old verdict committed again is known, and its number is taken.
    let rounds = history.reader().rounds().unwrap();
    let quay = rounds.iter().find(|r| r.new == quay_house()).unwrap().id;
    let old = as_in_version_1(&quay_house(), 1, verdict(1));
    assert_eq!(history.commit_verdict(quay, &old).unwrap().id, VerdictId(3));
    let renumbered = Verdict { seq: 2, ..old };
    assert!(matches!(history.commit_verdict(quay, &renumbered), Err(HistoryError::IdTaken { .. })));
    let taken = Verdict { seq: 1, ..verdict(4) };
    assert!(matches!(history.commit_verdict(quay, &taken), Err(HistoryError::SeqTaken { .. })));
    let new = Verdict { seq: 2, ..verdict(4) };
    history.commit_verdict(quay, &new).unwrap();
    drop(history);

    let reader = Reader::open(&path).unwrap();
    assert_eq!(reader.integrity().unwrap(), 5);
    assert_verdicts_of_version_1(&reader);
    assert_eq!(reader.verdict(VerdictId(5)).unwrap().unwrap().verdict, new);
}

fn verdicts_of_version_2() -> [(NewRound, Verdict); 3] {
    let mut typed = Verdict { uid: "v-4".to_owned(), ..verdict(1) };
    typed.readings[0].device = "typed".to_owned();
    typed.readings[0].count = 1;
    [
        (mill_yard(), as_before_version_3(verdict(1))),
        (mill_yard(), as_before_version_3(no_verdict(2))),
        (quay_house(), as_before_version_3(typed)),
    ]
}

#[test]
fn a_file_of_version_2_is_brought_up_to_date() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    std::fs::write(&path, VERSION_2).unwrap();
    assert_eq!(
        Reader::open(&path).err(),
        Some(HistoryError::Older { path: path.clone(), found: 2, known: known_version() })
    );
    let mut history = History::open(&path).unwrap();
    let reader = history.reader();
    assert_eq!(reader.integrity().unwrap(), 3);
    for (id, (of_round, verdict)) in (1..).zip(verdicts_of_version_2()) {
        let stored = reader.verdict(VerdictId(id)).unwrap().unwrap();
        assert_eq!((stored.round, stored.verdict), (of_round, verdict), "verdict {id}");
        assert_eq!(reader.follow_ups(VerdictId(id)).unwrap(), []);
    }
    // Whether a value of the meter was at rest is not known, so it is no figure; what was typed is one.
    let component = "condenser fan 1 run capacitor";
    let trend = |site| reader.trend(site, "RTU-07", component, "capacitance", 9).unwrap();
    assert_eq!(trend("Mill Yard"), []);
    assert_eq!(trend("Quay House").len(), 1);
    assert_eq!(reader.rounds().unwrap().len(), 2);

    // An old verdict committed again is known, and a figure may follow it.
    let yard = reader.rounds().unwrap()[0].id;
    assert_eq!(history.commit_verdict(yard, &as_before_version_3(verdict(1))).unwrap().id, VerdictId(1));
    history.commit_follow_up(yard, &figure(1)).unwrap();
    assert_eq!(history.reader().follow_ups(VerdictId(1)).unwrap(), [figure(1)]);
    assert_eq!(history.reader().integrity().unwrap(), 3);
}

#[test]
fn a_file_of_version_3_is_brought_up_to_date() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    std::fs::write(&path, VERSION_3).unwrap();
    assert_eq!(
        Reader::open(&path).err(),
        Some(HistoryError::Older { path: path.clone(), found: 3, known: known_version() })
    );
    let mut history = History::open(&path).unwrap();
    let reader = history.reader();
    assert_eq!(reader.integrity().unwrap(), 3);
    let last = Verdict { uid: "v-3".to_owned(), ..no_verdict(1) };
    let all = [(mill_yard(), verdict(1)), (mill_yard(), early(2)), (quay_house(), last)];
    for (id, expected) in (1..).zip(all) {
        let stored = reader.verdict(VerdictId(id)).unwrap().unwrap();
        assert_eq!((stored.round, stored.verdict), expected, "verdict {id}");
    }
    assert_eq!(reader.follow_ups(VerdictId(1)).unwrap(), [amendment(1)]);
    assert_eq!(reader.follow_ups(VerdictId(2)).unwrap(), [figure(2)]);
    assert_eq!(reader.visits().unwrap(), []);

    // An old verdict committed again is known; one with a visit is another. A visit may begin.
    let yard = reader.rounds().unwrap()[0].id;
    assert_eq!(history.commit_verdict(yard, &verdict(1)).unwrap().id, VerdictId(1));
    let opened = VisitEvent {
        uid: "e-1".to_owned(),
        visit: Some("visit-1".to_owned()),
        unit_tag: "RTU-07".to_owned(),
        machine: "this machine".to_owned(),
        kind: "opened".to_owned(),
        ..VisitEvent::default()
    };
    history.commit_visit_event(yard, &opened).unwrap();
    let visit = Some("visit-1".to_owned());
    let moved = Verdict { visit: visit.clone(), ..verdict(1) };
    assert!(matches!(history.commit_verdict(yard, &moved), Err(HistoryError::IdTaken { .. })));
    history.commit_verdict(yard, &Verdict { visit, ..verdict(4) }).unwrap();
    assert_eq!(history.reader().integrity().unwrap(), 4);
    // Nobody makes an old verdict one of a visit.
    let change = "UPDATE verdict SET visit_id = 1 WHERE verdict_id = 1";
    assert_eq!(history.reader().db.conn.execute(change, []), Ok(1));
    assert!(matches!(history.reader().verdict(VerdictId(1)), Err(HistoryError::Corrupt { .. })));
}

/// What the digest of an old row does not hold is what the migration made of it; anything else was changed.
#[test]
fn nobody_makes_a_figure_of_an_old_value() {
    let folder = Folder::new();
    for (number, change) in
        ["settled = 1", "at_least = 1.0", "at_most = 1.0", "at_least = 38.0, at_most = 40.0"]
            .iter()
            .enumerate()
    {
        let path = folder.file(&format!("{number}.sqlite"));
        std::fs::write(&path, VERSION_2).unwrap();
        let history = History::open(&path).unwrap();
        let change = format!("UPDATE verdict_reading SET {change} WHERE verdict_id = 1");
        assert_eq!(history.reader().db.conn.execute(&change, []), Ok(1));
        let error = history.reader().verdict(VerdictId(1)).expect_err(&change);
        assert!(matches!(error, HistoryError::Corrupt { .. }), "{change}: {error}");
    }
}

/// A digest says by which version it was made, and each version still finds a change.
#[test]
fn a_change_is_found_under_every_version_of_the_digest() {
    let folder = Folder::new();
    for (name, change) in [
        ("word", "UPDATE verdict SET word = 'fail' WHERE verdict_id = ?1"),
        ("value", "UPDATE verdict_reading SET value = 38.0 WHERE verdict_id = ?1"),
        ("version", "UPDATE verdict SET digest_version = 4 - digest_version WHERE verdict_id = ?1"),
        ("unknown version", "UPDATE verdict SET digest_version = 77 WHERE verdict_id = ?1"),
    ] {
        let path = folder.file(&format!("{name}.sqlite"));
        thaw(&path);
        let mut history = History::open(&path).unwrap();
        let first = history.begin_round(&round("r-2")).unwrap();
        let new = history.commit_verdict(first, &verdict(1)).unwrap().id;
        for id in [VerdictId(1), new] {
            assert_eq!(history.reader().db.conn.execute(change, [id.0]), Ok(1), "{name}");
            let error = history.reader().verdict(id).expect_err(name);
            assert!(matches!(error, HistoryError::Corrupt { .. }) && !error.can_retry(), "{name}: {error}");
        }
        assert!(history.reader().verdict(VerdictId(2)).unwrap().is_some(), "{name}: another verdict");
    }
}
