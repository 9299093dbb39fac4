//! Figures and amendments: rows of their own that refer to a verdict, and trends of figures alone.

use super::{Folder, round, verdict};
use crate::{FollowUp, History, HistoryError, RoundId, Verdict, VerdictId};

const COMPONENT: &str = "condenser fan 1 run capacitor";

/// The figure of verdict `check`.
pub(super) fn figure(check: u32) -> FollowUp {
    let mut reading = verdict(check).readings.remove(0);
    reading.value = Some(f64::from(check).mul_add(0.01, 40.0));
    FollowUp {
        uid: format!("f-{check}"),
        verdict_uid: format!("v-{check}"),
        seq: check.into(),
        kind: "completed".to_owned(),
        word: None,
        reading,
        at_us: u64::from(check) * 1_000_000 + 400_000,
        wall_ms: 1_790_000_000_400,
        json: "{\"event\": \"completed\"}".to_owned(),
    }
}

/// The amendment of verdict `check`, by a reading that is not at rest.
pub(super) fn amendment(check: u32) -> FollowUp {
    FollowUp {
        uid: format!("a-{check}"),
        seq: 100 + u64::from(check),
        kind: "amended".to_owned(),
        word: Some("fail".to_owned()),
        reading: early(check).readings.remove(0),
        json: "{\"event\": \"amended\"}".to_owned(),
        ..figure(check)
    }
}

/// A verdict whose value was not at rest.
pub(super) fn early(check: u32) -> Verdict {
    let mut verdict = verdict(check);
    let reading = &mut verdict.readings[0];
    (reading.value, reading.standard_uncertainty, reading.shown) = (None, None, None);
    reading.settled = false;
    (verdict.judgements[0].value, verdict.judgements[0].standard_uncertainty) = (None, None);
    verdict
}

fn history() -> (History, RoundId) {
    let mut history = History::open_in_memory().unwrap();
    let round = history.begin_round(&round("r-1")).unwrap();
    (history, round)
}

#[test]
fn what_follows_a_verdict_is_read_back_after_a_restart_and_changes_nothing_of_it() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let mut history = History::open(&path).unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    let id = history.commit_verdict(first, &early(1)).unwrap().id;
    history.commit_follow_up(first, &figure(1)).unwrap();
    history.commit_follow_up(first, &amendment(1)).unwrap();
    drop(history);
    let history = History::open(&path).unwrap();
    let reader = history.reader();
    assert_eq!(reader.verdict(id).unwrap().unwrap().verdict, early(1));
    assert_eq!(reader.follow_ups(id).unwrap(), [figure(1), amendment(1)]);
    assert_eq!(reader.follow_ups(VerdictId(9)).unwrap(), []);
    assert_eq!(reader.integrity().unwrap(), 1);
    let recent = reader.recent(9).unwrap();
    assert_eq!((recent[0].word.as_str(), recent[0].amended.as_deref()), ("pass", Some("fail")));
}

/// 39.01 was at rest, 39.02 was not and came to rest at 40.02, 39.03 never did.
#[test]
fn a_trend_takes_figures_alone() {
    let (mut history, first) = history();
    history.commit_verdict(first, &verdict(1)).unwrap();
    history.commit_verdict(first, &early(2)).unwrap();
    history.commit_verdict(first, &early(3)).unwrap();
    history.commit_follow_up(first, &figure(2)).unwrap();
    history.commit_follow_up(first, &amendment(3)).unwrap();
    history.commit_verdict(first, &verdict(4)).unwrap();
    history.commit_follow_up(first, &FollowUp { seq: 200, uid: "a-4".to_owned(), ..amendment(4) }).unwrap();
    let told = |count| {
        let trend = history.reader().trend("Mill Yard", "RTU-07", COMPONENT, "capacitance", count).unwrap();
        trend.into_iter().map(|p| (p.id.0, p.value, p.amended)).collect::<Vec<_>>()
    };
    let all = [(1, 39.01, None), (2, 40.02, None), (4, 39.04, Some("fail".to_owned()))];
    assert_eq!(told(9), all);
    assert_eq!(told(2), all[1..], "the newest are kept");
    let back = FollowUp { seq: 201, uid: "b-4".to_owned(), word: Some("pass".to_owned()), ..amendment(4) };
    history.commit_follow_up(first, &back).unwrap();
    let trend = history.reader().trend("Mill Yard", "RTU-07", COMPONENT, "capacitance", 1).unwrap();
    assert_eq!(trend[0].amended, None, "the leads came back to the verdict's word");
    assert_eq!(history.reader().recent(1).unwrap()[0].amended.as_deref(), Some("pass"));
}

#[test]
fn the_same_again_is_stored_once_and_another_under_its_id_or_number_is_refused() {
    let (mut history, first) = history();
    history.commit_verdict(first, &early(1)).unwrap();
    history.commit_follow_up(first, &figure(1)).unwrap();
    history.commit_follow_up(first, &figure(1)).unwrap();
    let other = FollowUp { wall_ms: 1, ..figure(1) };
    assert_eq!(history.commit_follow_up(first, &other), Err(HistoryError::IdTaken { uid: "f-1".to_owned() }));
    let taken = FollowUp { uid: "f-2".to_owned(), ..figure(1) };
    let seq_taken = HistoryError::SeqTaken { uid: "f-2".to_owned(), seq: 1, taken_by: "f-1".to_owned() };
    assert_eq!(history.commit_follow_up(first, &taken), Err(seq_taken));
    assert_eq!(history.reader().follow_ups(VerdictId(1)).unwrap(), [figure(1)]);
}

/// A verdict that is not stored, or of another round, has nothing that follows it; no retry mends that.
#[test]
fn nothing_follows_a_verdict_that_is_not_stored() {
    let (mut history, first) = history();
    let other = history.begin_round(&round("r-2")).unwrap();
    history.commit_verdict(other, &early(1)).unwrap();
    let error = history.commit_follow_up(first, &figure(1)).unwrap_err();
    assert_eq!(error, HistoryError::NoSuchVerdict { of: "completed f-1".to_owned(), uid: "v-1".to_owned() });
    assert!(!error.can_retry() && error.to_string().contains("which this round does not have"), "{error}");
}

#[test]
fn what_contradicts_itself_is_refused() {
    let (mut history, first) = history();
    history.commit_verdict(first, &early(1)).unwrap();
    let reading = amendment(1).reading;
    let half = crate::VerdictReading { value: None, ..figure(1).reading };
    let nan = crate::VerdictReading { at_least: Some(f64::NAN), ..figure(1).reading };
    for (bad, why) in [
        (FollowUp { kind: "guessed".to_owned(), ..figure(1) }, "either completed or amended"),
        (FollowUp { word: Some("fail".to_owned()), ..figure(1) }, "no word of its own"),
        (FollowUp { word: None, ..amendment(1) }, "needs the word"),
        (FollowUp { word: Some("weak".to_owned()), ..amendment(1) }, "the words are"),
        (FollowUp { reading, ..figure(1) }, "come to rest"),
        (FollowUp { reading: half, ..figure(1) }, "needs a value"),
        (FollowUp { reading: nan, ..figure(1) }, "not finite"),
        (FollowUp { json: "{".to_owned(), ..figure(1) }, "not JSON"),
    ] {
        let error = history.commit_follow_up(first, &bad).unwrap_err();
        assert!(error.to_string().contains(why) && !error.can_retry(), "{error}");
    }
    assert_eq!(history.reader().follow_ups(VerdictId(1)).unwrap(), []);
}

/// Every column is in the digest.
#[test]
fn a_change_of_any_column_is_found() {
    for change in [
        "kind = 'amended', word = 'fail'",
        "point = 'x'",
        "label = 'x'",
        "device = 'x'",
        "value = 38.0",
        "unit = 'nF'",
        "standard_uncertainty = 0.1",
        "shown = NULL",
        "count = 9",
        "reading_at_us = 7",
        "at_least = 1.0",
        "at_most = NULL",
        "at_us = 7",
        "wall_ms = 7",
        "seq = 77",
        "uid = 'x'",
        "json = '{}'",
        "digest_version = 2",
        "digest = zeroblob(32)",
        "verdict_id = 2",
    ] {
        let (mut history, first) = history();
        history.commit_verdict(first, &early(1)).unwrap();
        history.commit_verdict(first, &early(2)).unwrap();
        history.commit_follow_up(first, &figure(1)).unwrap();
        let sql = format!("UPDATE follow_up SET {change}");
        assert_eq!(history.reader().db.conn.execute(&sql, []), Ok(1), "{change}");
        let error = history.reader().integrity().expect_err(change);
        assert!(matches!(error, HistoryError::Corrupt { .. }), "{change}: {error}");
    }
}
