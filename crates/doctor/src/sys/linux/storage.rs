//! The place of the history: whether the folder exists, the account may write to it, and the file system is writable.
//! A folder that anybody else uses is never given away. Writes nothing; free space is reported by callers that can
//! query the file system.

use std::path::Path;

use super::account::Account;
use super::accounts::homes;
use super::{Finding, Machine, State};
use crate::{Remedy, RunPolicy};

/// Folders in which everything belongs to the system (Filesystem Hierarchy Standard 3.0, chapters 3 to 6).
const SYSTEM: [&str; 12] =
    ["bin", "boot", "dev", "etc", "lib", "lib32", "lib64", "proc", "run", "sbin", "sys", "usr"];
/// The most entries of a folder that are examined.
const ENTRIES_MAX: usize = 64;

/// Examines the file `path` and its folder. The daemon creates a file that does not exist.
#[must_use]
pub fn storage(machine: &Machine, path: &Path) -> Finding {
    const TOPIC: &str = "history";
    const WHY: &str = "A verdict is shown only after it is stored, so without the file none is shown.";
    let shown = machine.shown(path);
    let found = |state, seen: &str| Finding::new(TOPIC, shown.clone(), state, seen, WHY);
    let folder =
        path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    let real = match std::fs::canonicalize(folder) {
        Ok(real) => real,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return found(State::Blocked, "its folder is not there")
                .with(Remedy::advice(format!("make it: mkdir -p {}", machine.shown(folder))));
        }
        Err(error) => {
            return elsewhere(machine, path, found(State::Blocked, &format!("its folder: {error}")));
        }
    };
    if let Some(mount) = read_only(machine, &real) {
        return found(State::Blocked, &format!("{mount} is mounted for reading only"));
    }
    let Some(account) = &machine.account else {
        return found(State::Unknown, "who is to write it cannot be told; name the account with --user");
    };
    let who = account.shown();
    let Some(rights) = machine.rights(&real) else {
        return found(State::Unknown, "the rights of its folder cannot be read");
    };
    if !account.may_make_files_in(rights) {
        let seen = format!("{who} may not write into its folder, as far as the mode tells");
        let finding = found(State::Blocked, &seen);
        return if rights.uid == 0 && is_nobodys(machine, &real) && holds_only(&real, path) {
            give(finding, account, &machine.shown(&real))
        } else {
            elsewhere(machine, path, finding)
        };
    }
    match machine.rights(path) {
        Some(rights) if !path.is_file() => {
            found(State::Blocked, &format!("is no file (mode {:o})", rights.mode))
        }
        Some(rights) if !account.may_read_and_write(rights) => {
            let finding = found(State::Blocked, &format!("{who} may not write it, as far as the mode tells"));
            if rights.uid == 0 && (account.is_home(&machine.shown(&real)) || is_nobodys(machine, &real)) {
                give(finding, account, &shown)
            } else {
                elsewhere(machine, path, finding)
            }
        }
        Some(_) => found(State::Fine, &format!("{who} may write it")),
        None => found(State::Fine, &format!("is not there yet; {who} may make it")),
    }
}

/// Root may change its owner, because it serves the history alone.
fn give(finding: Finding, account: &Account, what: &str) -> Finding {
    finding.with(Remedy::root(
        RunPolicy::ByHand,
        "gives it to the account",
        &["chown", &account.owner(), what],
    ))
}

/// Changing the owner of a folder in use would break more than the history: suggests another place.
fn elsewhere(machine: &Machine, path: &Path, finding: Finding) -> Finding {
    let Some(account) = &machine.account else { return finding };
    let mut folder = "/var/lib/cliplead".to_owned();
    if machine.has(&folder) {
        folder = format!("{folder}-{}", account.owner());
    }
    let name = path.file_name().map_or_else(|| "history.sqlite".into(), |name| name.to_string_lossy());
    finding
        .with(Remedy::root(
            RunPolicy::ByHand,
            "makes a folder for the history alone",
            &["install", "-d", "-o", &account.owner(), &folder],
        ))
        .with(Remedy::advice(format!("then write history = \"{folder}/{name}\" in the site's file")))
}

/// Whether a folder is neither the system's nor any account's home, nor a parent of one.
fn is_nobodys(machine: &Machine, folder: &Path) -> bool {
    let shown = machine.shown(folder);
    let parts: Vec<&str> = shown.split('/').filter(|part| !part.is_empty()).collect();
    let deep = match parts.as_slice() {
        // The root and its folders: /srv, /opt, /home, /tmp, ...
        [] | [_] => false,
        [first, ..] if SYSTEM.contains(first) => false,
        // Entries there belong to programs by name.
        ["var", rest @ ..] => rest.len() > 1 && rest.iter().any(|part| part.contains("cliplead")),
        _ => true,
    };
    deep && !homes(machine).iter().any(|home| Path::new(home).starts_with(&shown))
}

/// Whether the folder contains only the history and the files that its library creates.
fn holds_only(folder: &Path, history: &Path) -> bool {
    let own = history.file_name().map(std::ffi::OsStr::to_string_lossy).unwrap_or_default();
    std::fs::read_dir(folder).is_ok_and(|mut entries| {
        !own.is_empty()
            && entries
                .by_ref()
                .take(ENTRIES_MAX)
                .all(|entry| entry.is_ok_and(|entry| entry.file_name().to_string_lossy().starts_with(&*own)))
            && entries.next().is_none()
    })
}

/// The mount that contains the folder, if it is read-only. The form of the lines: proc(5), `/proc/pid/mounts`.
fn read_only(machine: &Machine, folder: &Path) -> Option<String> {
    let mounts = machine.text("proc/self/mounts")?;
    let mut best: Option<(usize, String, bool)> = None;
    for line in mounts.lines() {
        let mut words = line.split(' ').skip(1);
        let (Some(place), Some(options)) = (words.next(), words.nth(1)) else { continue };
        let place = place.replace("\\040", " ");
        let longer = best.as_ref().is_none_or(|(length, ..)| place.len() >= *length);
        if longer && folder.starts_with(&place) {
            best = Some((place.len(), place, options.split(',').any(|option| option == "ro")));
        }
    }
    best.filter(|(_, _, read_only)| *read_only).map(|(_, place, _)| place)
}
