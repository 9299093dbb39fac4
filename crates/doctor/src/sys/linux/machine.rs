//! The machine as its files show it, below a root folder: bounded reads of plain files, bounded lists, processes.
//! Reads only small plain files, so a pipe or an endless file blocks nothing.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use super::account::Account;
use link::files::Rights;
use link::files::small_text;

/// The most names taken from one folder.
const NAMES_MAX: usize = 65_536;

/// A machine to examine.
#[derive(Debug, Clone)]
pub struct Machine {
    root: PathBuf,
    /// Who will use the meter; `None` if unknown.
    pub(crate) account: Option<Account>,
    /// Owners and groups in an invented tree, which only root could give to real files.
    #[cfg(test)]
    pub(crate) owners: BTreeMap<String, (u32, u32)>,
}

impl Machine {
    /// Whether another machine can be examined by its files, an account named, and a remedy run.
    pub const SHOWS_IN_FILES: bool = true;

    /// A machine whose `/` is this folder, for an unknown account.
    pub(super) fn of_nobody(root: &Path) -> Self {
        Self {
            root: root.to_owned(),
            account: None,
            #[cfg(test)]
            owners: BTreeMap::new(),
        }
    }

    /// Whether it is known who will use the meter.
    #[must_use]
    pub fn knows_account(&self) -> bool {
        self.account.is_some()
    }

    /// Whether root will use the meter.
    #[must_use]
    pub fn is_root(&self) -> bool {
        self.account.as_ref().is_some_and(|account| account.uid == 0)
    }

    /// The location of a path of the machine, with or without its leading slash.
    pub(crate) fn at(&self, path: &str) -> PathBuf {
        self.root.join(path.trim_start_matches('/'))
    }

    /// The path as the machine names it.
    pub(crate) fn shown(&self, path: &Path) -> String {
        path.strip_prefix(&self.root)
            .map_or_else(|_| path.display().to_string(), |below| format!("/{}", below.display()))
    }

    /// Owner, group and mode of a file; follows links.
    pub(crate) fn rights(&self, path: &Path) -> Option<Rights> {
        let meta = fs::metadata(path).ok()?;
        let rights = Rights::of(&meta);
        #[cfg(test)]
        if let Some((uid, gid)) = self.owners.get(&self.shown(path)) {
            return Some(Rights { uid: *uid, gid: *gid, mode: rights.mode });
        }
        Some(rights)
    }

    /// Whether a file exists; follows links.
    pub(crate) fn has(&self, path: &str) -> bool {
        fs::metadata(self.at(path)).is_ok()
    }

    /// The text of a plain file, its first 256 KiB; bytes that are not text are replaced.
    pub(crate) fn text(&self, path: &str) -> Option<String> {
        small_text(&self.at(path))
    }

    /// The names in a folder, sorted; `None` if it cannot be listed.
    pub(crate) fn names(&self, path: &str) -> Option<Vec<String>> {
        let entries = fs::read_dir(self.at(path)).ok()?;
        let mut names: Vec<String> = entries
            .take(NAMES_MAX)
            .flatten()
            .filter_map(|entry| entry.file_name().into_string().ok())
            .collect();
        names.sort();
        Some(names)
    }

    /// The processes by number, with their names; `None` if none can be seen.
    pub(crate) fn processes(&self) -> Option<BTreeMap<u32, String>> {
        let numbers = self.names("proc")?.into_iter().filter_map(|name| name.parse::<u32>().ok());
        let all: BTreeMap<u32, String> = numbers
            .filter_map(|pid| {
                let name = self.text(&format!("proc/{pid}/comm"))?;
                Some((pid, clean(name.trim())))
            })
            .collect();
        (!all.is_empty()).then_some(all)
    }

    /// Whether a process of this name runs; `None` if processes cannot be seen.
    pub(crate) fn runs(&self, name: &str) -> Option<bool> {
        Some(self.processes()?.values().any(|known| known == name))
    }
}

/// Names come from outside: no control characters, at most 80 characters.
pub(crate) fn clean(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(80).collect()
}
