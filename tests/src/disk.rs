//! A disk that is cut off: keeps what was flushed, and of the rest whatever chance leaves. Follows the events of
//! [`crate::Event`] and gives the files as they may be found after the cut. It promises no more than POSIX does: a name
//! is kept once its folder was flushed, a write once its file was. Does not know what the files mean.

use std::collections::BTreeMap;
use std::path::Path;

use crate::Event;

/// What a disk writes whole or not at all, in bytes.
const SECTOR: usize = 512;

/// `SplitMix64` (Steele, Lea, Flood 2014): seeded, the same everywhere.
#[derive(Clone, Debug)]
pub struct Rng(pub u64);

impl Rng {
    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `bound`.
    ///
    /// # Panics
    /// When `bound` is 0.
    pub fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.bits() % (bound as u64)).expect("below a usize")
    }

    fn coin(&mut self) -> bool {
        self.bits() & 1 == 0
    }
}

/// What becomes of the writes that were not flushed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// All are lost.
    Lost,
    /// All are kept.
    Kept,
    /// Each is kept or lost by itself.
    Mixed,
    /// The same, and those kept arrive in any order.
    Reordered,
    /// Each sector of each write is kept, lost, or garbage.
    Torn,
}

impl Fate {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Lost, Self::Kept, Self::Mixed, Self::Reordered, Self::Torn];
}

#[derive(Clone, Debug)]
enum Change {
    Write(usize, Vec<u8>),
    Resize(usize),
}

/// A file apart from its name.
#[derive(Clone, Debug, Default)]
struct Inode {
    kept: Vec<u8>,
    pending: Vec<Change>,
}

/// A disk while a program writes.
#[derive(Clone, Debug, Default)]
pub struct Disk {
    inodes: Vec<Inode>,
    names: BTreeMap<String, usize>,
    kept_names: BTreeMap<String, usize>,
    /// Names made (with their inode) or taken away since the folder was flushed, in order.
    pending_names: Vec<(String, Option<usize>)>,
}

impl Disk {
    /// A disk with these files on it.
    #[must_use]
    pub fn with(files: impl IntoIterator<Item = (String, Vec<u8>)>) -> Self {
        let mut disk = Self::default();
        for (name, kept) in files {
            disk.kept_names.insert(name, disk.inodes.len());
            disk.inodes.push(Inode { kept, pending: Vec::new() });
        }
        disk.names.clone_from(&disk.kept_names);
        disk
    }

    /// Something happens.
    ///
    /// # Panics
    /// When a file is touched that was never made.
    pub fn step(&mut self, event: &Event) {
        match event {
            Event::Make(name) => {
                if !self.names.contains_key(name) {
                    self.names.insert(name.clone(), self.inodes.len());
                    self.pending_names.push((name.clone(), Some(self.inodes.len())));
                    self.inodes.push(Inode::default());
                }
            }
            Event::Write(name, at, bytes) => {
                self.inode(name).pending.push(Change::Write(*at, bytes.clone()));
            }
            Event::Resize(name, size) => self.inode(name).pending.push(Change::Resize(*size)),
            Event::Unlink(name) => {
                self.names.remove(name);
                self.pending_names.push((name.clone(), None));
            }
            Event::Sync(name) => {
                let inode = self.inode(name);
                for change in std::mem::take(&mut inode.pending) {
                    apply(&mut inode.kept, &change);
                }
            }
            Event::SyncFolder => {
                self.kept_names.clone_from(&self.names);
                self.pending_names.clear();
            }
            Event::Said(_) => {}
        }
    }

    fn inode(&mut self, name: &str) -> &mut Inode {
        let at = *self.names.get(name).unwrap_or_else(|| panic!("{name} was never made"));
        &mut self.inodes[at]
    }

    /// The files as they may be found when the power fails now.
    #[must_use]
    pub fn after_cut(&self, fate: Fate, rng: &mut Rng) -> BTreeMap<String, Vec<u8>> {
        let mut names = self.kept_names.clone();
        for (name, inode) in &self.pending_names {
            let happened = match fate {
                Fate::Lost => false,
                Fate::Kept => true,
                Fate::Mixed | Fate::Reordered | Fate::Torn => rng.coin(),
            };
            match inode {
                Some(inode) if happened => drop(names.insert(name.clone(), *inode)),
                None if happened => drop(names.remove(name)),
                _ => {}
            }
        }
        names.into_iter().map(|(name, inode)| (name, self.inodes[inode].after_cut(fate, rng))).collect()
    }
}

impl Inode {
    fn after_cut(&self, fate: Fate, rng: &mut Rng) -> Vec<u8> {
        let mut found = self.kept.clone();
        let mut changes: Vec<&Change> = self.pending.iter().collect();
        if fate == Fate::Reordered {
            for last in (1..changes.len()).rev() {
                changes.swap(last, rng.below(last + 1));
            }
        }
        for change in changes {
            match (fate, change) {
                (Fate::Lost, _) => {}
                (Fate::Kept, change) => apply(&mut found, change),
                (Fate::Torn, Change::Write(at, bytes)) => tear(&mut found, *at, bytes, rng),
                (Fate::Mixed | Fate::Reordered | Fate::Torn, change) => {
                    if rng.coin() {
                        apply(&mut found, change);
                    }
                }
            }
        }
        found
    }
}

fn apply(file: &mut Vec<u8>, change: &Change) {
    match change {
        Change::Write(at, bytes) => {
            let end = at + bytes.len();
            if file.len() < end {
                file.resize(end, 0);
            }
            file[*at..end].copy_from_slice(bytes);
        }
        Change::Resize(size) => file.resize(*size, 0),
    }
}

/// Sectors are those of the file, not of the write. One in eight of the lost ones is garbage within what was written.
fn tear(file: &mut Vec<u8>, at: usize, bytes: &[u8], rng: &mut Rng) {
    let mut from = 0;
    while from < bytes.len() {
        let to = bytes.len().min(from + SECTOR - (at + from) % SECTOR);
        if rng.coin() {
            apply(file, &Change::Write(at + from, bytes[from..to].to_vec()));
        } else if rng.below(8) == 0 {
            let garbage = (from..to).map(|_| rng.bits().to_le_bytes()[0]).collect();
            apply(file, &Change::Write(at + from, garbage));
        }
        from = to;
    }
}

/// Writes files into an empty folder.
///
/// # Panics
/// When they cannot be written.
pub fn lay_out(files: &BTreeMap<String, Vec<u8>>, folder: &Path) {
    let _ = std::fs::remove_dir_all(folder);
    std::fs::create_dir_all(folder).expect("a folder for the files");
    for (name, bytes) in files {
        std::fs::write(folder.join(name), bytes).expect("a file");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(name: &str, text: &str) -> Event {
        Event::Write(name.to_owned(), 0, text.as_bytes().to_vec())
    }

    #[test]
    fn flushed_is_kept_and_the_rest_has_its_fate() {
        let mut disk = Disk::with([("old".to_owned(), b"before".to_vec())]);
        let make = Event::Make("new".to_owned());
        for event in [&make, &write("new", "one"), &Event::Sync("new".to_owned()), &write("new", "two")] {
            disk.step(event);
        }
        let after = |disk: &Disk, fate, name: &str| {
            disk.after_cut(fate, &mut Rng(1))
                .get(name)
                .map(|bytes| String::from_utf8_lossy(bytes).into_owned())
        };
        assert_eq!(after(&disk, Fate::Lost, "new"), None, "its name was not flushed");
        assert_eq!(after(&disk, Fate::Kept, "new").as_deref(), Some("two"));
        disk.step(&Event::SyncFolder);
        assert_eq!(after(&disk, Fate::Lost, "new").as_deref(), Some("one"));
        disk.step(&Event::Unlink("old".to_owned()));
        assert_eq!(after(&disk, Fate::Lost, "old").as_deref(), Some("before"));
        assert_eq!(after(&disk, Fate::Kept, "old"), None);
    }

    #[test]
    fn a_torn_write_changes_nothing_beside_it() {
        let mut disk = Disk::with([("file".to_owned(), vec![7; 4 * SECTOR])]);
        disk.step(&Event::Write("file".to_owned(), SECTOR / 2, vec![9; 2 * SECTOR]));
        let mut seen = std::collections::BTreeSet::new();
        for seed in 0..40 {
            let found = disk.after_cut(Fate::Torn, &mut Rng(seed)).remove("file").unwrap();
            assert_eq!(found.len(), 4 * SECTOR);
            assert!(found[..SECTOR / 2].iter().chain(&found[SECTOR / 2 * 5..]).all(|&byte| byte == 7));
            seen.insert(found);
        }
        assert!(seen.len() > 8, "all ways of tearing three sectors");
    }
}
