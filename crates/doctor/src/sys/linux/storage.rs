//! Where the history is kept: is the folder there, may the account write into it, is it on something that can be written.
//! A folder that serves anybody else is never to be given away. Writes nothing; space is told by whoever can ask the file system.

use std::path::Path;

use super::account::Account;
use super::accounts::homes;
use super::{Finding, Machine, State};
use crate::{Remedy, RunPolicy};

/// Folders in which everything belongs to the system (Filesystem Hierarchy Standard 3.0, chapters 3 to 6).
const SYSTEM: [&str; 12] =
    ["bin", "boot", "dev", "etc", "lib", "lib32", "lib64", "proc", "run", "sbin", "sys", "usr"];
/// The most entries of a folder that are looked at.
const ENTRIES_MAX: usize = 64;

/// Looks at the file `path` and its folder. A file that is not there yet will be made by the daemon.
#[must_use]
pub fn storage(machine: &Machine, path: &Path) -> Finding {
    const CHECK: &str = "history";
    const WHY: &str = "A verdict is shown only after it is stored, so without the file none is shown.";
    let shown = machine.shown(path);
    let found = |state, seen: &str| Finding::new(CHECK, shown.clone(), state, seen, WHY);
    let folder =
        path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    let real = match std::fs::canonicalize(folder) {
        Ok(real) => real,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return found(State::Hindered, "its folder is not there")
                .with(Remedy::advice(format!("make it: mkdir -p {}", machine.shown(folder))));
        }
        Err(error) => {
            return elsewhere(machine, path, found(State::Hindered, &format!("its folder: {error}")));
        }
    };
    if let Some(mount) = read_only(machine, &real) {
        return found(State::Hindered, &format!("{mount} is mounted for reading only"));
    }
    let Some(account) = &machine.account else {
        return found(State::NotSeen, "who is to write it cannot be told; name the account with --user");
    };
    let who = account.shown();
    let Some(rights) = machine.rights(&real) else {
        return found(State::NotSeen, "the rights of its folder cannot be read");
    };
    if !account.may_make_files_in(rights) {
        let seen = format!("{who} may not write into its folder, as far as the mode tells");
        let finding = found(State::Hindered, &seen);
        return if rights.uid == 0 && is_nobodys(machine, &real) && holds_only(&real, path) {
            give(finding, account, &machine.shown(&real))
        } else {
            elsewhere(machine, path, finding)
        };
    }
    match machine.rights(path) {
        Some(rights) if !path.is_file() => {
            found(State::Hindered, &format!("is no file (mode {:o})", rights.mode))
        }
        Some(rights) if !account.may_read_and_write(rights) => {
            let finding =
                found(State::Hindered, &format!("{who} may not write it, as far as the mode tells"));
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

/// Root may give it away, for it is there for the history alone.
fn give(finding: Finding, account: &Account, what: &str) -> Finding {
    finding.with(Remedy::root(
        RunPolicy::ByHand,
        "gives it to the account",
        &["chown", &account.owner(), what],
    ))
}

/// Taking a folder from whom it serves breaks more than the history: another place is named.
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

/// Whether a folder is neither the system's nor the home of any account, nor above such a one.
fn is_nobodys(machine: &Machine, folder: &Path) -> bool {
    let shown = machine.shown(folder);
    let parts: Vec<&str> = shown.split('/').filter(|part| !part.is_empty()).collect();
    let deep = match parts.as_slice() {
        // The root and what stands in it: /srv, /opt, /home, /tmp, ...
        [] | [_] => false,
        [first, ..] if SYSTEM.contains(first) => false,
        // What stands there belongs to programs by their names.
        ["var", rest @ ..] => rest.len() > 1 && rest.iter().any(|part| part.contains("cliplead")),
        _ => true,
    };
    deep && !homes(machine).iter().any(|home| Path::new(home).starts_with(&shown))
}

/// Whether nothing stands in the folder but the history itself and what its library lays beside it.
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

/// The mount that holds the folder, when it is for reading only. The form of the lines: proc(5), `/proc/pid/mounts`.
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
