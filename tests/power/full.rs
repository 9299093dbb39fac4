//! A disk without room: a small file system of its own, mounted where nobody else sees it (unshare, util-linux).

use std::path::Path;
use std::process::Command;

use checks::Folder;
use history::{History, HistoryError};

use crate::cut;

const CHILD: &str = "full::a_disk_that_is_full_is_called_full";
/// The file system, in KiB.
const ROOM_KIB: usize = 1_024;

/// The disk is full before the history is opened, and fills while it is open: both are called full, a later try goes
/// through, and nothing is lost.
#[test]
fn a_disk_that_is_full_is_called_full() {
    if let Ok(place) = std::env::var("POWER_TEST_FULL") {
        on_a_small_disk(Path::new(&place));
        return;
    }
    let folder = Folder::new("full");
    let mount = format!("mount -t tmpfs -o size={ROOM_KIB}k none \"$0\" && exec \"$@\"");
    let mut command = Command::new("unshare");
    command.args(["--mount", "--map-root-user", "sh", "-c", &mount]).arg(folder.path());
    command.arg(std::env::current_exe().unwrap());
    command.args(["--exact", CHILD, "--nocapture", "--test-threads=1"]);
    let ended = command.env("POWER_TEST_FULL", folder.path()).output().unwrap();
    let said = String::from_utf8_lossy(&ended.stdout) + String::from_utf8_lossy(&ended.stderr);
    assert!(ended.status.success(), "{said}");
    assert!(said.contains("tried on a full disk"), "{said}");
}

fn on_a_small_disk(place: &Path) {
    let (path, filler) = (place.join("history.sqlite"), place.join("filler"));
    let mut history = History::open(&path).unwrap();
    let id = history.begin_round(&cut::round(1)).unwrap();
    history.commit_verdict(id, &cut::verdict(1, 1)).unwrap();
    drop(history);
    assert_eq!(std::fs::read_dir(place).unwrap().count(), 1, "closed, the history is one file");

    let full = Err(HistoryError::Full { path: path.clone() });
    fill(&filler);
    assert_eq!(History::open(&path).map(drop), full);
    std::fs::remove_file(&filler).unwrap();
    let mut history = History::open(&path).unwrap();
    assert_eq!(history.reader().integrity().unwrap(), 1);

    fill(&filler);
    let mut committed = 1;
    let error = loop {
        match history.commit_verdict(id, &cut::verdict(1, committed + 1)) {
            Ok(_) => committed += 1,
            Err(error) => break error,
        }
    };
    assert_eq!(Err(error), full);
    std::fs::remove_file(&filler).unwrap();
    history.commit_verdict(id, &cut::verdict(1, committed + 1)).unwrap();
    assert_eq!(history.reader().integrity().unwrap(), u64::from(committed + 1));
    println!("tried on a full disk, {committed} verdicts before it was");
}

/// Leaves not a byte.
fn fill(filler: &Path) {
    let refused = std::fs::write(filler, vec![1; 2 * ROOM_KIB * 1_024]).expect_err("the disk is small");
    assert_eq!(refused.kind(), std::io::ErrorKind::StorageFull, "{refused}");
}
