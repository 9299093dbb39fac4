//! The accounts of a machine, from its processes and its group file, and a machine for one of them.

use std::path::Path;

use super::Machine;
use super::account::Account;
use link::files::identity;

impl Machine {
    /// This machine, for the account `name`, or for whoever runs the program.
    #[must_use]
    pub fn here(name: Option<&str>) -> Self {
        Self::under(Path::new("/"), name)
    }

    /// A machine whose `/` is this folder.
    #[must_use]
    pub fn under(root: &Path, name: Option<&str>) -> Self {
        let mut machine = Self::of_nobody(root);
        machine.account = match name {
            Some(name) => Account::named(&machine, name),
            None => Account::of_this_process(&machine),
        };
        machine
    }
}

impl Account {
    /// The account that runs this program, from `/proc/self/status`.
    pub(crate) fn of_this_process(machine: &Machine) -> Option<Self> {
        let (uid, gids) = identity(&machine.text("proc/self/status")?)?;
        let (name, home) = passwd(machine)
            .into_iter()
            .find(|line| line.uid == uid)
            .map_or((None, None), |line| (Some(line.name), Some(line.home)));
        Some(Self { uid, name, home, gids, is_process: true })
    }

    /// An account by name, as its next login will have it.
    pub(crate) fn named(machine: &Machine, name: &str) -> Option<Self> {
        let Passwd { name, uid, gid, home } = passwd(machine).into_iter().find(|line| line.name == name)?;
        let mut gids = vec![gid];
        gids.extend(groups(machine).into_iter().filter(|group| group.holds(&name)).map(|group| group.gid));
        Some(Self { uid, name: Some(name), home: Some(home), gids, is_process: false })
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

/// The readable lines of `/etc/group`.
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

/// A line of `/etc/passwd`.
struct Passwd {
    name: String,
    uid: u32,
    gid: u32,
    home: String,
}

fn passwd(machine: &Machine) -> Vec<Passwd> {
    let text = machine.text("etc/passwd").unwrap_or_default();
    let line = |line: &str| {
        let mut fields = line.split(':');
        let name = fields.next().filter(|name| is_plain(name))?.to_owned();
        let uid = fields.nth(1)?.parse().ok()?;
        let gid = fields.next()?.parse().ok()?;
        Some(Passwd { name, uid, gid, home: fields.nth(1).unwrap_or_default().to_owned() })
    };
    text.lines().filter_map(line).collect()
}

/// The home folders of all accounts.
pub(crate) fn homes(machine: &Machine) -> Vec<String> {
    passwd(machine).into_iter().map(|line| line.home).filter(|home| !home.is_empty()).collect()
}

/// Names are used in commands: nothing that could be taken for an option or a path.
fn is_plain(name: &str) -> bool {
    !name.is_empty()
        && !name.starts_with('-')
        && name.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | '$'))
}
