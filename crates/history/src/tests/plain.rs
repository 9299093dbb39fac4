//! Rounds, verdicts, readings, recordings and their queries on an undisturbed file.

use super::{Folder, no_verdict, round, verdict};
use crate::{History, HistoryError, NewRecording, NewRound, RawReading, Reader, RoundId, Verdict, VerdictId};

#[test]
fn what_is_committed_is_read_back_after_a_restart() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let mut history = History::open(&path).unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    let good = history.commit_verdict(first, &verdict(1)).unwrap();
    let open = history.commit_verdict(first, &no_verdict(2)).unwrap();
    history.end_round(first, 1_790_000_100_000).unwrap();
    drop(history);

    let history = History::open(&path).unwrap();
    let reader = history.reader();
    let stored = reader.verdict(good.id).unwrap().unwrap();
    assert_eq!((stored.verdict, stored.round), (verdict(1), round("r-1")));
    assert_eq!(reader.verdict(open.id).unwrap().unwrap().verdict, no_verdict(2));
    assert_eq!(reader.verdict_json(good.id).unwrap().unwrap(), verdict(1).json);
    assert_eq!(reader.verdict(VerdictId(99)).unwrap(), None);
    let rounds = reader.rounds().unwrap();
    assert_eq!(rounds.len(), 1);
    assert_eq!((rounds[0].ended_wall_ms, rounds[0].verdicts), (Some(1_790_000_100_000), 2));
    assert_eq!(reader.integrity().unwrap(), 2);
}

#[test]
fn the_promise_settings_are_had() {
    let folder = Folder::new();
    let history = History::open(&folder.file("history.sqlite")).unwrap();
    let had = history.durability();
    assert_eq!((had.journal_mode.as_str(), had.synchronous, had.fullfsync), ("wal", 2, 1));
}

#[test]
fn the_same_verdict_again_is_stored_once_and_another_under_its_id_is_refused() {
    let mut history = History::open_in_memory().unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    let once = history.commit_verdict(first, &verdict(1)).unwrap();
    assert_eq!(
        (once.uid.as_str(), history.commit_verdict(first, &verdict(1)).unwrap()),
        ("v-1", once.clone())
    );
    let other = Verdict { advice: None, ..verdict(1) };
    let elsewhere = history.begin_round(&round("r-2")).unwrap();
    for (round, other) in [(first, other), (first, Verdict { seq: 9, ..verdict(1) }), (elsewhere, verdict(1))]
    {
        let error = history.commit_verdict(round, &other).unwrap_err();
        assert_eq!(error, HistoryError::IdTaken { uid: once.uid.clone() });
        assert!(error.to_string().contains("with other content") && !error.can_retry(), "{error}");
    }
    assert_eq!(history.reader().integrity().unwrap(), 1);
    assert_eq!(history.reader().verdict(once.id).unwrap().unwrap().verdict, verdict(1));
}

/// Two verdicts of one check at one moment, as a line typed twice gives: both are stored.
#[test]
fn two_verdicts_of_one_check_at_one_moment_are_two() {
    let mut history = History::open_in_memory().unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    let again = Verdict { uid: "v-2".to_owned(), seq: 2, ..verdict(1) };
    history.commit_verdict(first, &verdict(1)).unwrap();
    history.commit_verdict(first, &again).unwrap();
    let seqs: Vec<_> = history.reader().recent(9).unwrap().into_iter().map(|v| (v.uid, v.seq)).collect();
    assert_eq!(seqs, [("v-2".to_owned(), 2), ("v-1".to_owned(), 1)]);
}

/// A sequence number is used once in a round; another round has its own.
#[test]
fn a_taken_sequence_number_is_refused() {
    let mut history = History::open_in_memory().unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    history.commit_verdict(first, &verdict(1)).unwrap();
    let other = Verdict { uid: "v-2".to_owned(), ..verdict(1) };
    let error = history.commit_verdict(first, &other).unwrap_err();
    let taken_by = "v-1".to_owned();
    assert_eq!(error, HistoryError::SeqTaken { uid: "v-2".to_owned(), seq: 1, taken_by });
    assert!(!error.can_retry());
    let second = history.begin_round(&round("r-2")).unwrap();
    history.commit_verdict(second, &other).unwrap();
    let conn = &history.reader().db.conn;
    let kept_apart = conn.execute("UPDATE verdict SET round_id = 1", []).unwrap_err();
    assert!(kept_apart.to_string().contains("UNIQUE constraint failed"), "by the file itself: {kept_apart}");
}

#[test]
fn a_round_begun_again_is_one_until_it_was_used() {
    let mut history = History::open_in_memory().unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    assert_eq!(history.begin_round(&round("r-1")), Ok(first));
    let taken = Err(HistoryError::IdTaken { uid: "r-1".to_owned() });
    assert_eq!(history.begin_round(&NewRound { started_wall_ms: 7, ..round("r-1") }), taken);
    history.commit_verdict(first, &verdict(1)).unwrap();
    assert_eq!(history.begin_round(&round("r-1")), taken);
    let second = history.begin_round(&round("r-2")).unwrap();
    history.end_round(second, 5).unwrap();
    assert_eq!(history.begin_round(&round("r-2")), Err(HistoryError::IdTaken { uid: "r-2".to_owned() }));
    assert_eq!(history.reader().rounds().unwrap().len(), 2);
}

/// A thread of its own may own it.
#[test]
fn a_history_goes_to_another_thread() {
    let mut history = History::open_in_memory().unwrap();
    let stored = std::thread::spawn(move || {
        let first = history.begin_round(&round("r-1")).unwrap();
        history.commit_verdict(first, &verdict(1)).unwrap();
        history.reader().integrity().unwrap()
    });
    assert_eq!(stored.join().unwrap(), 1);
}

#[test]
fn several_verdicts_together_are_all_stored_or_none() {
    let mut history = History::open_in_memory().unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    let bad = Verdict { json: String::new(), ..verdict(2) };
    let error = history.commit_verdicts(first, &[verdict(1), bad]).unwrap_err();
    assert_eq!(error, HistoryError::BadJson { of: "verdict v-2".to_owned() });
    assert_eq!(history.reader().integrity().unwrap(), 0);
    assert_eq!(history.commit_verdicts(first, &[verdict(1), no_verdict(2)]).unwrap().len(), 2);
    assert_eq!(history.reader().integrity().unwrap(), 2);
}

#[test]
fn a_round_keeps_its_first_end_and_an_unknown_one_is_refused() {
    let mut history = History::open_in_memory().unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    history.end_round(first, 10).unwrap();
    history.end_round(first, 20).unwrap();
    assert_eq!(history.reader().rounds().unwrap()[0].ended_wall_ms, Some(10));
    let unknown = HistoryError::NoSuchRound { round: 9 };
    assert_eq!(history.end_round(RoundId(9), 1), Err(unknown.clone()));
    assert_eq!(history.commit_verdict(RoundId(9), &verdict(1)), Err(unknown.clone()));
    assert_eq!(history.append_readings(RoundId(9), &[]), Err(unknown));
}

/// The wall clock goes a year back between the rounds; order is that of the commits.
#[test]
fn trends_and_lists_keep_the_order_of_commits_when_the_clock_jumps() {
    let mut history = History::open_in_memory().unwrap();
    for (uid, site, wall_ms) in [("a", "Mill Yard", 1_790_000_000_000), ("b", "Mill Yard", 1_758_000_000_000)]
    {
        let new = NewRound { site: site.to_owned(), started_wall_ms: wall_ms, ..round(uid) };
        let id = history.begin_round(&new).unwrap();
        for check in 1..=3 {
            let v = Verdict {
                uid: format!("{uid}-{check}"),
                wall_ms: wall_ms - i64::from(check),
                ..verdict(check)
            };
            history.commit_verdict(id, &v).unwrap();
        }
    }
    // The same tag on another site, and another component: not in the trend.
    let elsewhere = history.begin_round(&NewRound { site: "Quay House".to_owned(), ..round("c") }).unwrap();
    history.commit_verdict(elsewhere, &verdict(9)).unwrap();
    let other = Verdict { component: "compressor run capacitor".to_owned(), ..verdict(8) };
    history.commit_verdict(elsewhere, &other).unwrap();

    let reader = history.reader();
    let component = "condenser fan 1 run capacitor";
    let trend = reader.trend("Mill Yard", "RTU-07", component, "capacitance", 100).unwrap();
    let values: Vec<String> = trend.iter().map(|p| format!("{:.2}", p.value)).collect();
    assert_eq!(values, ["39.01", "39.02", "39.03", "39.01", "39.02", "39.03"]);
    let last = reader.trend("Mill Yard", "RTU-07", component, "capacitance", 2).unwrap();
    assert_eq!(last, trend[4..]);
    assert_eq!(reader.trend("Mill Yard", "RTU-07", component, "amps", 9).unwrap(), []);

    let whole = reader.of_component("Mill Yard", "RTU-07", component, 2).unwrap();
    assert_eq!(whole.iter().map(|v| v.verdict.uid.as_str()).collect::<Vec<_>>(), ["b-2", "b-3"]);
    let recent = reader.recent(3).unwrap();
    let checks: Vec<_> = recent.iter().map(|v| (v.site.as_str(), v.check)).collect();
    assert_eq!(checks, [("Quay House", 8), ("Quay House", 9), ("Mill Yard", 3)]);
}

#[test]
fn raw_readings_and_recordings_are_kept() {
    let mut history = History::open_in_memory().unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    let reading = RawReading {
        device: "meter".to_owned(),
        at_us: 5,
        value: Some(39.4),
        unit: "uF".to_owned(),
        standard_uncertainty: Some(0.45),
        shown: Some("39.40".to_owned()),
        state: "value".to_owned(),
    };
    let overload = RawReading { value: None, standard_uncertainty: None, shown: None, ..reading.clone() };
    history.append_readings(first, &[reading.clone(), overload]).unwrap();
    assert_eq!(history.reader().reading_count(first).unwrap(), 2);
    // One that cannot be stored takes its whole batch with it.
    let bad = RawReading { value: Some(f64::NAN), ..reading.clone() };
    assert!(matches!(history.append_readings(first, &[reading, bad]), Err(HistoryError::OutOfRange { .. })));
    assert_eq!(history.reader().reading_count(first).unwrap(), 2);

    let new = NewRecording {
        round: Some(first),
        path: "recordings/r-1.jsonl".to_owned(),
        sha256: "00".repeat(32),
        size_bytes: 4096,
        started_wall_ms: 1,
    };
    history.add_recording(&new).unwrap();
    let listed = history.reader().recordings().unwrap();
    assert_eq!(listed.into_iter().map(|r| r.new).collect::<Vec<_>>(), [new]);
}

#[test]
fn a_reader_stands_beside_the_writer_and_cannot_write() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let mut history = History::open(&path).unwrap();
    let reader = Reader::open(&path).unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    history.commit_verdict(first, &verdict(1)).unwrap();
    assert_eq!(reader.recent(5).unwrap().len(), 1);
    let refused = reader.db.conn.execute("DELETE FROM verdict", []).unwrap_err();
    assert!(refused.to_string().contains("readonly"), "{refused}");
    drop(history);
    assert_eq!(reader.recent(5).unwrap().len(), 1);
}

/// Silence is never a pass: what cannot be stored as it was is refused, and nothing of it stays.
#[test]
fn a_verdict_that_cannot_be_stored_whole_is_refused() {
    let changes: [fn(&mut Verdict); 15] = [
        |v| v.word = "ok".to_owned(),
        |v| v.judgements[0].word = String::new(),
        |v| v.reason = Some("a pass has none".to_owned()),
        |v| v.word = "no verdict".to_owned(),
        |v| v.json = "{".to_owned(),
        |v| v.readings[0].value = Some(f64::NAN),
        |v| v.readings[0].standard_uncertainty = Some(f64::INFINITY),
        |v| v.judgements[0].value = Some(f64::NAN),
        |v| v.judgements[0].low = Some(f64::NEG_INFINITY),
        |v| v.judgements[0].probability_of_conformance = Some(f64::NAN),
        |v| v.judgements[0].guard = Some(f64::NAN),
        |v| v.plate[0].value = f64::NAN,
        |v| v.at_us = u64::MAX,
        |v| v.seq = u64::MAX,
        |v| v.hold_points[0].at_us = Some(u64::MAX),
    ];
    let mut history = History::open_in_memory().unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    for (at, change) in changes.into_iter().enumerate() {
        let mut v = verdict(1);
        change(&mut v);
        let error = history.commit_verdict(first, &v).unwrap_err();
        assert!(error.to_string().contains("v-1") && !error.can_retry(), "{at}: {error}");
        assert_eq!(history.reader().integrity().unwrap(), 0, "{at}");
    }
    history.commit_verdict(first, &verdict(1)).unwrap();
}
