//! Damaged files: changed bytes, cut ends. Never a panic, and never another content without an error.

use std::path::Path;

use super::{Folder, Rng, no_verdict, round, verdict};
use crate::{History, HistoryError, StoredVerdict, VerdictId};

const COUNT: i64 = 25;

fn filled(path: &Path) -> History {
    let mut history = History::open(path).unwrap();
    let id = history.begin_round(&round("r-1")).unwrap();
    for check in 1..=u32::try_from(COUNT).unwrap() {
        let v = if check % 5 == 0 { no_verdict(check) } else { verdict(check) };
        history.commit_verdict(id, &v).unwrap();
    }
    history
}

fn all(history: &History) -> Result<Vec<StoredVerdict>, HistoryError> {
    let mut found = Vec::new();
    for id in 1..=COUNT {
        found.extend(history.reader().verdict(VerdictId(id))?);
    }
    Ok(found)
}

/// Opens, checks everything, reads everything; also asks the queries, which must answer or refuse.
fn look(path: &Path) -> Result<Vec<StoredVerdict>, HistoryError> {
    let history = History::open(path)?;
    let reader = history.reader();
    let component = "condenser fan 1 run capacitor";
    let _ = reader.recent(50);
    let _ = reader.rounds();
    let _ = reader.trend("Mill Yard", "RTU-07", component, "capacitance", 50);
    let _ = reader.of_component("Mill Yard", "RTU-07", component, 50);
    reader.integrity()?;
    all(&history)
}

fn flip(bytes: &mut [u8], rng: &mut Rng) {
    for _ in 0..=rng.below(4) {
        let at = rng.below(bytes.len());
        bytes[at] ^= 1 << rng.below(8);
    }
}

#[test]
fn changed_bytes_in_the_file_are_found_or_harmless() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let history = filled(&path);
    let expected = all(&history).unwrap();
    drop(history);
    let good = std::fs::read(&path).unwrap();
    let (mut found, mut harmless) = (0, 0);
    for seed in 0..400 {
        let mut bytes = good.clone();
        flip(&mut bytes, &mut Rng(seed));
        let copy = folder.file(&format!("copy-{seed}.sqlite"));
        std::fs::write(&copy, &bytes).unwrap();
        match look(&copy) {
            Ok(verdicts) => {
                assert_eq!(verdicts, expected, "seed {seed}: another content without an error");
                harmless += 1;
            }
            Err(error) => {
                assert!(error.to_string().contains("copy-"), "seed {seed}: {error}");
                assert!(copy.exists(), "seed {seed}: the file was deleted");
                found += 1;
            }
        }
        std::fs::remove_file(&copy).unwrap();
    }
    println!("{found} found, {harmless} harmless (free room, or a field that SQLite rebuilds)");
    assert!(found > 100, "only {found} of 400 found");
}

/// A changed byte in the write-ahead log looks like a torn write: SQLite drops that commit and the ones after it.
#[test]
fn changed_bytes_in_the_log_keep_a_true_beginning() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let history = filled(&path);
    let expected = all(&history).unwrap();
    let (main, log) =
        (std::fs::read(&path).unwrap(), std::fs::read(folder.file("history.sqlite-wal")).unwrap());
    for seed in 0..100 {
        let mut bytes = log.clone();
        flip(&mut bytes, &mut Rng(seed));
        let copy = folder.file(&format!("copy-{seed}.sqlite"));
        std::fs::write(&copy, &main).unwrap();
        std::fs::write(folder.file(&format!("copy-{seed}.sqlite-wal")), &bytes).unwrap();
        if let Ok(verdicts) = look(&copy) {
            assert_eq!(verdicts, expected[..verdicts.len()], "seed {seed}");
        }
    }
}

#[test]
fn a_cut_file_is_found() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    drop(filled(&path));
    let good = std::fs::read(&path).unwrap();
    for part in 1..20 {
        let copy = folder.file(&format!("cut-{part}.sqlite"));
        std::fs::write(&copy, &good[..good.len() * part / 20]).unwrap();
        let error = look(&copy).expect_err("a cut file");
        assert!(
            matches!(error, HistoryError::Corrupt { .. } | HistoryError::NotADatabase { .. }),
            "{part}: {error}"
        );
    }
}

/// A value changed by hand, valid for SQLite: the digest finds it.
#[test]
fn a_value_changed_by_another_program_is_found() {
    for change in [
        "UPDATE verdict SET word = 'fail' WHERE verdict_id = 3",
        "UPDATE verdict_reading SET value = 38.0 WHERE verdict_id = 3",
        "UPDATE judgement SET low = NULL WHERE verdict_id = 3",
        "DELETE FROM hold_point WHERE verdict_id = 3",
        "UPDATE plate_value SET source = 'the can' WHERE verdict_id = 3",
        "UPDATE round SET decision_rule = 'simple acceptance'",
        "UPDATE site SET name = 'Quay House'",
    ] {
        let folder = Folder::new();
        let history = filled(&folder.file("history.sqlite"));
        assert_eq!(history.reader().db.conn.execute_batch(change), Ok(()));
        let error = history.reader().verdict(VerdictId(3)).expect_err(change);
        assert!(matches!(error, HistoryError::Corrupt { .. }), "{change}: {error}");
        let error = history.reader().integrity().expect_err(change);
        assert!(matches!(error, HistoryError::Corrupt { .. }), "{change}: {error}");
    }
}
