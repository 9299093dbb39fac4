//! The identity of this process on a Unix system, and what the mode of a file allows. Does not open, list or name
//! anything; access lists (udev `uaccess`) are not considered.

use std::fs::Metadata;
use std::os::unix::fs::MetadataExt;

/// Owner, group and mode of a file.
#[derive(Debug, Clone, Copy)]
pub struct Rights {
    /// The owner.
    pub uid: u32,
    /// The group.
    pub gid: u32,
    /// The mode, as `stat` gives it.
    pub mode: u32,
}

/// To read and write a file.
pub const READ_AND_WRITE: u32 = 0o6;
/// To make files in a folder.
pub const MAKE_FILES: u32 = 0o3;

impl Rights {
    /// Those of a file.
    #[must_use]
    pub fn of(meta: &Metadata) -> Self {
        Self { uid: meta.uid(), gid: meta.gid(), mode: meta.mode() }
    }

    /// Whether somebody may do what `wanted` says. The first class that fits decides, also when a later one would give more.
    #[must_use]
    pub fn let_in(self, uid: u32, gids: &[u32], wanted: u32) -> bool {
        let bits = if uid == self.uid {
            self.mode >> 6
        } else if gids.contains(&self.gid) {
            self.mode >> 3
        } else {
            self.mode
        };
        uid == 0 || bits & wanted == wanted
    }
}

/// A process's user and groups from the text of `/proc/self/status`. Real, effective, saved, file system: the last one decides
/// over files.
#[must_use]
pub fn identity(status: &str) -> Option<(u32, Vec<u32>)> {
    let field = |name: &str| status.lines().find_map(|line| line.strip_prefix(name));
    let fourth = |name: &str| field(name)?.split_whitespace().nth(3)?.parse().ok();
    let (uid, gid) = (fourth("Uid:")?, fourth("Gid:")?);
    let others = field("Groups:").unwrap_or_default().split_whitespace().filter_map(|g| g.parse().ok());
    Some((uid, std::iter::once(gid).chain(others).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rights_follow_the_file_mode() {
        let status =
            "Name:\tx\nUid:\t1000\t1000\t1000\t1000\nGid:\t1000\t1000\t1000\t1000\nGroups:\t20 27 \n";
        let (me, groups) = identity(status).unwrap();
        assert_eq!((me, groups.as_slice()), (1000, &[1000, 20, 27][..]));
        for (mode, uid, gid, may) in [
            (0o660, 0, 20, true),
            (0o660, 0, 5, false),
            (0o666, 0, 5, true),
            (0o640, 0, 20, false),
            (0o600, 1000, 5, true),
            // The owner's own bits count, not the group's.
            (0o060, 1000, 20, false),
        ] {
            let rights = Rights { uid, gid, mode };
            assert_eq!(rights.let_in(me, &groups, READ_AND_WRITE), may, "{rights:?}");
        }
        assert_eq!(identity("Name:\tx\n"), None);
    }
}
