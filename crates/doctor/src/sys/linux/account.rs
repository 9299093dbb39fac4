//! The account that will use the meter: number, name, groups, and what the mode of a file allows it. Does not read
//! the account files; `accounts` does.

use std::path::Path;

use link::files::{MAKE_FILES, READ_AND_WRITE, Rights};

/// An account.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Account {
    /// Its number.
    pub(crate) uid: u32,
    /// Its name, if the machine has one for it.
    pub(crate) name: Option<String>,
    /// Its home folder, if the machine has one for it.
    pub(crate) home: Option<String>,
    /// The groups in effect now.
    pub(crate) gids: Vec<u32>,
    /// Taken from a running process, not only from the group file.
    pub(crate) is_process: bool,
}

impl Account {
    /// Whether the mode lets it read and write. Access lists are not considered.
    pub(crate) fn may_read_and_write(&self, file: Rights) -> bool {
        file.let_in(self.uid, &self.gids, READ_AND_WRITE)
    }

    /// Whether the mode of a folder lets it create files there.
    pub(crate) fn may_make_files_in(&self, folder: Rights) -> bool {
        folder.let_in(self.uid, &self.gids, MAKE_FILES)
    }

    /// Whether this folder is its home or inside it.
    pub(crate) fn is_home(&self, folder: &str) -> bool {
        self.home.as_ref().is_some_and(|home| home.len() > 1 && Path::new(folder).starts_with(home))
    }

    /// How a command names the owner of a file.
    pub(crate) fn owner(&self) -> String {
        self.name.clone().unwrap_or_else(|| self.uid.to_string())
    }

    /// The name for people.
    pub(crate) fn shown(&self) -> String {
        self.name.clone().unwrap_or_else(|| format!("user {}", self.uid))
    }
}
