//! Where the history is kept: is the folder there, may the account write into it, is it on something that can be written.
//! Writes nothing; space is told by whoever can ask the file system.

use std::path::Path;

use super::remedy::Remedy;
use super::{Finding, Machine, State};

/// Looks at the file `path` and its folder. A file that is not there yet will be made by the daemon.
#[must_use]
pub fn storage(machine: &Machine, path: &Path) -> Finding {
    const CHECK: &str = "history";
    const WHY: &str = "A verdict is shown only after it is stored, so without the file none is shown.";
    let shown = path.display().to_string();
    let found = |state, seen: &str| Finding::new(CHECK, shown.clone(), state, seen, WHY);
    let folder =
        path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    let Ok(real) = std::fs::canonicalize(folder) else {
        return found(State::Hindered, "its folder is not there or may not be entered")
            .with(Remedy::advice(format!("make it: mkdir -p {}", folder.display())));
    };
    if let Some(mount) = read_only(machine, &real) {
        return found(State::Hindered, &format!("{mount} is mounted for reading only"));
    }
    let Some(account) = &machine.account else {
        return found(State::NotSeen, "who is to write it cannot be told; name the account with --user");
    };
    let who = account.shown();
    let own = Remedy::advice(format!("give it to the account: sudo chown {who} {}", real.display()));
    let Some(rights) = machine.rights(&real) else {
        return found(State::NotSeen, "the rights of its folder cannot be read");
    };
    if !account.may_make_files_in(rights) {
        return found(
            State::Hindered,
            &format!("{who} may not write into its folder, as far as the mode tells"),
        )
        .with(own);
    }
    match machine.rights(path) {
        Some(rights) if !path.is_file() => {
            found(State::Hindered, &format!("is no file (mode {:o})", rights.mode))
        }
        Some(rights) if !account.may_read_and_write(rights) => {
            found(State::Hindered, &format!("{who} may not write it, as far as the mode tells"))
                .with(Remedy::advice(format!("give it to the account: sudo chown {who} {shown}")))
        }
        Some(_) => found(State::Fine, &format!("{who} may write it")),
        None => found(State::Fine, &format!("is not there yet; {who} may make it")),
    }
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
