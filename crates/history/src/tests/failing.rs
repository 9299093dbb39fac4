//! Writes and openings that fail: each says so, nothing is half stored, and the next write
//! goes on where it can.

use std::io::Read;
use std::path::Path;

use rusqlite::{Connection, OpenFlags};

use super::{Folder, child, round, verdict};
use crate::open::{Db, known_version, migrate_to};
use crate::schema::MIGRATIONS;
use crate::{History, HistoryError, Reader};

#[cfg(unix)]
const CHILD: &str = "tests::kill::every_shown_id_is_stored_without_a_kill";

fn refused(path: &Path) -> HistoryError {
    let before = std::fs::read(path).ok();
    let error = History::open_waiting(path, 0).expect_err("must be refused");
    assert_eq!(std::fs::read(path).ok(), before, "the file was changed");
    let sentence = error.to_string();
    assert!(
        sentence.contains(&path.display().to_string()) && sentence.contains(error.next_step()),
        "{sentence}"
    );
    error
}

#[test]
fn a_file_that_is_not_ours_is_refused_and_left_alone() {
    let folder = Folder::new();
    for (name, bytes) in
        [("one byte", &b"x"[..]), ("text", &b"capacitance,39.4\n".repeat(99)[..]), ("zeros", &[0; 4096])]
    {
        let path = folder.file(name);
        std::fs::write(&path, bytes).unwrap();
        assert_eq!(refused(&path), HistoryError::NotADatabase { path });
    }
    let foreign = folder.file("foreign.sqlite");
    Connection::open(&foreign).unwrap().execute_batch("CREATE TABLE stock (part TEXT)").unwrap();
    assert_eq!(refused(&foreign), HistoryError::Foreign { path: foreign.clone() });
    assert!(!HistoryError::Foreign { path: foreign.clone() }.can_retry());
    assert_eq!(Reader::open(&foreign).err(), Some(HistoryError::Foreign { path: foreign }));
    assert!(matches!(refused(&folder.0), HistoryError::CannotOpen { .. }));
    assert!(matches!(
        refused(&folder.file("no such folder/history.sqlite")),
        HistoryError::CannotOpen { .. }
    ));
    assert!(matches!(Reader::open(&folder.file("none.sqlite")), Err(HistoryError::CannotOpen { .. })));
}

#[test]
fn a_newer_file_is_refused_and_left_alone() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    drop(History::open(&path).unwrap());
    Connection::open(&path).unwrap().pragma_update(None, "user_version", 99).unwrap();
    let expected = HistoryError::Newer { path: path.clone(), found: 99, known: known_version() };
    assert_eq!(refused(&path), expected);
    assert_eq!(Reader::open(&path).err(), Some(expected));
}

#[test]
fn an_empty_file_is_filled_and_a_reader_refuses_it() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    std::fs::write(&path, b"").unwrap();
    assert!(matches!(Reader::open(&path), Err(HistoryError::Older { found: 0, .. })));
    drop(History::open(&path).unwrap());
    assert_eq!(Reader::open(&path).unwrap().recent(1).unwrap(), []);
}

#[test]
fn a_migration_is_all_or_nothing() {
    let conn = Connection::open_in_memory().unwrap();
    let mut db = Db::on(conn, Path::new(":memory:"), 0);
    migrate_to(&mut db, MIGRATIONS).unwrap();
    let mut list = MIGRATIONS.to_vec();
    list.push("ALTER TABLE site ADD COLUMN note TEXT");
    list.push("ALTER TABLE no_such_table ADD COLUMN note TEXT");
    assert!(matches!(migrate_to(&mut db, &list), Err(HistoryError::StatementRefused { .. })));
    let version =
        |db: &Db| db.conn.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0)).unwrap();
    assert_eq!(version(&db), known_version());
    let none = db.conn.prepare("SELECT note FROM site").unwrap_err();
    assert!(none.to_string().contains("no such column: note"), "{none}");
    list.pop();
    migrate_to(&mut db, &list).unwrap();
    assert_eq!(version(&db), known_version() + 1);
    assert!(db.conn.prepare("SELECT note FROM site").is_ok());
}

/// The locking of this VFS has no shared memory, as a network share may have none: no write-ahead log.
#[test]
#[cfg(unix)]
fn a_file_system_without_a_log_is_refused() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let conn = Connection::open_with_flags_and_vfs(&path, OpenFlags::default(), "unix-dotfile").unwrap();
    let error = Db::on(conn, &path, 0).settle(Some("wal")).expect_err("no log to be had");
    assert!(matches!(error, HistoryError::NotDurable { setting: "journal_mode", .. }), "{error}");
}

#[test]
fn another_programs_lock_is_said_and_outlived() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let mut history = History::open_waiting(&path, 0).unwrap();
    let id = history.begin_round(&round("r-1")).unwrap();
    let other = Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let error = history.commit_verdict(id, &verdict(1)).unwrap_err();
    assert_eq!(error, HistoryError::Locked { path: path.clone(), waited_ms: 0 });
    assert!(error.can_retry());
    assert_eq!(history.reader().recent(5).unwrap(), []);
    other.execute_batch("COMMIT").unwrap();
    history.commit_verdict(id, &verdict(1)).unwrap();
    assert_eq!(history.reader().integrity().unwrap(), 1);
}

/// The disk fills at every page in turn: what was said to be stored is, the refused one is not, and with room again
/// the same verdict goes in.
#[test]
fn a_full_disk_is_said_at_every_page() {
    let folder = Folder::new();
    let mut history = History::open(&folder.file("history.sqlite")).unwrap();
    let id = history.begin_round(&round("r-1")).unwrap();
    let mut committed = 0;
    let pages = |history: &History, pragma: &str| -> i64 {
        history.reader().db.conn.pragma_query_value(None, pragma, |row| row.get(0)).unwrap()
    };
    for _ in 0..40 {
        let allowed = pages(&history, "page_count") + 1;
        let conn = &history.reader().db.conn;
        conn.pragma_update_and_check(None, "max_page_count", allowed, |row| row.get::<_, i64>(0)).unwrap();
        let error = loop {
            match history.commit_verdict(id, &verdict(committed + 1)) {
                Ok(_) => committed += 1,
                Err(error) => break error,
            }
        };
        assert!(matches!(error, HistoryError::Full { .. }), "{error}");
        assert_eq!(history.reader().integrity().unwrap(), u64::from(committed));
        let conn = &history.reader().db.conn;
        conn.pragma_update_and_check(None, "max_page_count", 1_000_000, |row| row.get::<_, i64>(0)).unwrap();
        history.commit_verdict(id, &verdict(committed + 1)).unwrap();
        committed += 1;
    }
}

/// The file is there and whole, and there is no room for the two beside it. Seen on a full tmpfs, where the first
/// statement ends with this code; `tests/power` has such a disk.
#[test]
fn a_disk_full_before_the_start_is_called_full() {
    let path = Path::new("history.sqlite");
    let no_room = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_IOERR_SHMSIZE);
    let error = HistoryError::from_sql(path, 0, &rusqlite::Error::SqliteFailure(no_room, None));
    assert_eq!(error, HistoryError::Full { path: path.to_path_buf() });
    assert!(error.to_string().contains("disk full") && error.can_retry(), "{error}");
    let broken = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_IOERR_FSYNC);
    let error = HistoryError::from_sql(path, 0, &rusqlite::Error::SqliteFailure(broken, None));
    assert!(matches!(error, HistoryError::Io { .. }) && error.can_retry(), "{error}");
}

/// The system refuses writes past every size in turn (RLIMIT_FSIZE, units of 512 bytes): each run ends with a typed
/// refusal or finishes, and whatever it showed is stored.
#[test]
#[cfg(unix)]
fn a_write_refused_by_the_system_loses_nothing_shown() {
    let folder = Folder::new();
    let (mut refusals, mut shown_total) = (0, 0);
    for step in 0..40 {
        let path = folder.file(&format!("limit-{step}.sqlite"));
        let inner = child(&std::env::current_exe().unwrap(), CHILD, "sixty", &path);
        let mut shell = std::process::Command::new("sh");
        shell.args(["-c", "trap '' XFSZ; ulimit -f \"$0\"; exec \"$@\""]).arg((step * step).to_string());
        shell.arg(inner.get_program()).args(inner.get_args());
        shell.envs(inner.get_envs().filter_map(|(name, value)| Some((name, value?))));
        let output = shell.output().unwrap();
        let said = String::from_utf8(output.stdout).unwrap();
        assert!(output.status.success(), "step {step}: {said}");
        let refused =
            said.lines().find_map(|line| line.split_once("refused ")).map(|(_, error)| error.to_owned());
        if let Some(error) = &refused {
            assert!(error.starts_with("Io ") || error.starts_with("Full "), "step {step}: {error}");
            refusals += 1;
        } else {
            assert!(said.contains("finished"), "step {step}: {said}");
        }
        let shown: Vec<&str> = said.lines().filter_map(|line| Some(line.split_once("shown ")?.1)).collect();
        let history = History::open(&path).unwrap();
        history.reader().integrity().unwrap_or_else(|e| panic!("step {step}: {e}"));
        let stored = super::kill::stored_in(&history);
        assert!(shown.iter().all(|uid| stored.contains(*uid)), "step {step}");
        shown_total += shown.len();
    }
    assert!(
        refusals > 20 && shown_total > 100,
        "{refusals} refusals, {shown_total} shown: the limits miss the writes"
    );
}

#[test]
#[cfg(unix)]
fn a_file_deleted_or_replaced_under_the_program_is_said() {
    for replace in [false, true] {
        let folder = Folder::new();
        let path = folder.file("history.sqlite");
        let mut history = History::open(&path).unwrap();
        let id = history.begin_round(&round("r-1")).unwrap();
        std::fs::rename(&path, folder.file("aside.sqlite")).unwrap();
        if replace {
            std::fs::write(&path, b"").unwrap();
        }
        let error = history.commit_verdict(id, &verdict(1)).unwrap_err();
        assert_eq!(error, HistoryError::Moved { path: path.clone() });
        assert!(error.can_retry());
        std::fs::rename(folder.file("aside.sqlite"), &path).unwrap();
        history.commit_verdict(id, &verdict(1)).unwrap();
    }
}

/// Rights do not bind the superuser, so the child runs as "nobody" where this test runs as root.
#[test]
#[cfg(unix)]
fn without_the_right_to_write_it_says_so() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    let folder = Folder::new();
    let rights = |path: &Path, mode: u32| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    let binary = folder.file("child");
    std::fs::copy(std::env::current_exe().unwrap(), &binary).unwrap();
    rights(&binary, 0o755);
    let inner = folder.file("inner");
    std::fs::create_dir(&inner).unwrap();
    let path = inner.join("history.sqlite");
    let as_root = std::fs::metadata(&inner).unwrap().uid() == 0;
    let said_by_child = || {
        let mut command = child(&binary, CHILD, "sixty", &path);
        if as_root {
            command.uid(65_534).gid(65_534);
        }
        let mut said = String::new();
        let mut process = command.spawn().unwrap();
        process.stdout.take().unwrap().read_to_string(&mut said).unwrap();
        assert!(process.wait().unwrap().success(), "{said}");
        said
    };
    rights(&inner, 0o555);
    assert!(said_by_child().contains("refused CannotOpen"), "a folder that may not be written");
    rights(&inner, 0o755);
    drop(History::open(&path).unwrap());
    rights(&path, 0o444);
    rights(&inner, 0o555);
    let said = said_by_child();
    assert!(said.contains("refused ReadOnly") || said.contains("refused CannotOpen"), "{said}");
    rights(&inner, 0o755);
}
