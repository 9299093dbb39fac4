//! Who is to use the meter: number, name, groups as they hold now and as they stand in the group file.

use super::Machine;
use crate::rights::{MAKE_FILES, READ_AND_WRITE, Rights, identity};

/// An account.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Account {
    /// Its number.
    pub uid: u32,
    /// Its name, where the machine has one for it.
    pub name: Option<String>,
    /// The groups that count now.
    pub gids: Vec<u32>,
    /// Told from a running process, not only from the group file.
    pub is_process: bool,
}

impl Account {
    /// Whoever runs this program, from `/proc/self/status`.
    pub(crate) fn of_this_process(machine: &Machine) -> Option<Self> {
        let (uid, gids) = identity(&machine.text("proc/self/status")?)?;
        let name = passwd(machine).into_iter().find(|line| line.1 == uid).map(|line| line.0);
        Some(Self { uid, name, gids, is_process: true })
    }

    /// An account by name, as its next login will have it.
    pub(crate) fn named(machine: &Machine, name: &str) -> Option<Self> {
        let (name, uid, gid) = passwd(machine).into_iter().find(|line| line.0 == name)?;
        let mut gids = vec![gid];
        gids.extend(groups(machine).into_iter().filter(|group| group.holds(&name)).map(|group| group.gid));
        Some(Self { uid, name: Some(name), gids, is_process: false })
    }

    /// Whether the mode lets it read and write. Access lists are not seen.
    pub(crate) fn may_read_and_write(&self, file: Rights) -> bool {
        file.let_in(self.uid, &self.gids, READ_AND_WRITE)
    }

    /// Whether the mode of a folder lets it make files there.
    pub(crate) fn may_make_files_in(&self, folder: Rights) -> bool {
        folder.let_in(self.uid, &self.gids, MAKE_FILES)
    }

    /// The name for people.
    pub(crate) fn shown(&self) -> String {
        self.name.clone().unwrap_or_else(|| format!("user {}", self.uid))
    }
}

/// A line of the group file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Group {
    pub(crate) name: String,
    pub(crate) gid: u32,
    members: Vec<String>,
}

impl Group {
    pub(crate) fn holds(&self, name: &str) -> bool {
        self.members.iter().any(|member| member == name)
    }
}

/// The lines of `/etc/group` that can be read.
pub(crate) fn groups(machine: &Machine) -> Vec<Group> {
    let text = machine.text("etc/group").unwrap_or_default();
    let group = |line: &str| {
        let mut fields = line.split(':');
        let name = fields.next().filter(|name| is_plain(name))?.to_owned();
        let gid = fields.nth(1)?.parse().ok()?;
        let members = fields.next().unwrap_or_default().split(',').map(|m| m.trim().to_owned()).collect();
        Some(Group { name, gid, members })
    };
    text.lines().filter_map(group).collect()
}

/// Name, number and first group of each line of `/etc/passwd`.
fn passwd(machine: &Machine) -> Vec<(String, u32, u32)> {
    let text = machine.text("etc/passwd").unwrap_or_default();
    let line = |line: &str| {
        let mut fields = line.split(':');
        let name = fields.next().filter(|name| is_plain(name))?.to_owned();
        let uid = fields.nth(1)?.parse().ok()?;
        Some((name, uid, fields.next()?.parse().ok()?))
    };
    text.lines().filter_map(line).collect()
}

/// Names go into commands: nothing that could be taken for an option or a path.
fn is_plain(name: &str) -> bool {
    !name.is_empty()
        && !name.starts_with('-')
        && name.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | '$'))
}
