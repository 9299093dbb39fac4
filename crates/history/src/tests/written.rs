//! What raw readings cost on the disk: bytes written and flushes, as the system counts them.

use std::path::Path;

use super::{Folder, round, verdict};
use crate::HistoryError;
use crate::{History, RawReading};

/// 40 a second: four meters, ten a second each.
const READINGS: u64 = 20_000;
const A_SECOND: u64 = 40;

fn reading(n: u64) -> RawReading {
    RawReading {
        device: format!("meter {}", n % 4),
        at_us: n * 25_000,
        value: Some(39.4),
        unit: "uF".to_owned(),
        standard_uncertainty: Some(0.45),
        shown: Some("39.40".to_owned()),
        state: "value".to_owned(),
    }
}

/// Bytes this thread handed to the system for writing.
fn written() -> u64 {
    let told = std::fs::read_to_string("/proc/thread-self/io").unwrap();
    told.lines().find_map(|line| line.strip_prefix("wchar: ")).unwrap().parse().unwrap()
}

fn size(path: &Path) -> u64 {
    std::fs::metadata(path).unwrap().len()
}

/// What the file grew by, and what was written for it, with the move from the log to the file; in bytes.
fn cost(batch_s: u64) -> (u64, u64) {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let mut history = History::open(&path).unwrap();
    let id = history.begin_round(&round("r-1")).unwrap();
    drop(history);
    let (size_before, written_before) = (size(&path), written());
    let mut history = History::open(&path).unwrap();
    let all: Vec<RawReading> = (0..READINGS).map(reading).collect();
    for batch in all.chunks(usize::try_from(batch_s * A_SECOND).unwrap()) {
        history.append_readings(id, batch).unwrap();
    }
    assert_eq!(history.reader().reading_count(id).unwrap(), READINGS);
    // The last connection to close moves what is left.
    drop(history);
    (size(&path) - size_before, written() - written_before)
}

/// A card wears with every byte. The bound in batches of 5 s is three times the 64 bytes that a reading took in version 1
/// of the file, where an index stood beside it; that a batch each 200 ms cost 30 times was why it was set.
#[test]
fn raw_readings_cost_at_most_three_times_their_size() {
    for batch_s in [1, 5, 10] {
        let (grown, written) = cost(batch_s);
        println!(
            "batches of {batch_s} s: {} bytes a reading written, {} stored",
            written / READINGS,
            grown / READINGS
        );
        assert!(batch_s < 5 || written <= READINGS * 3 * 64, "{batch_s} s: {written} bytes written");
        assert!(batch_s < 10 || written <= 3 * grown, "{batch_s} s: {written} bytes written for {grown}");
    }
}

/// Raw readings do not weaken what comes behind them.
#[test]
fn a_verdict_behind_raw_readings_is_flushed() {
    let mut history = History::open_in_memory().unwrap();
    let id = history.begin_round(&round("r-1")).unwrap();
    history.append_readings(id, &[reading(1)]).unwrap();
    assert_eq!(history.durability().synchronous, 1);
    history.commit_verdict(id, &verdict(1)).unwrap();
    assert_eq!(history.durability().synchronous, 2);
    let set = |history: &History| -> i64 {
        history.reader().db.conn.pragma_query_value(None, "synchronous", |row| row.get(0)).unwrap()
    };
    assert_eq!(set(&history), 2);
    // A refused batch changes nothing about that.
    let bad = RawReading { value: Some(f64::NAN), ..reading(2) };
    let refused = history.append_readings(id, &[bad]).unwrap_err();
    assert!(matches!(refused, HistoryError::OutOfRange { field: "value", .. }), "{refused}");
    history.end_round(id, 1).unwrap();
    assert_eq!(set(&history), 2);
}
