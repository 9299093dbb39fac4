//! Which programs have a device open or locked, from `/proc/*/fd` and `/proc/locks`. Reports how many processes could
//! not be examined. A port taken with `TIOCEXCL` leaves no trace of its own in `/proc`.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::os::unix::fs::MetadataExt as _;

use super::Machine;

/// The most open files examined per process.
const FILES_MAX: usize = 4096;

/// Open devices of all processes.
#[derive(Debug, Default)]
pub(crate) struct Holders {
    names: BTreeMap<u32, String>,
    /// Device path as the kernel names it, and who has it open.
    open: BTreeMap<String, BTreeSet<u32>>,
    /// Lock: file system, inode, and who holds it.
    locks: BTreeMap<(u32, u32, u64), BTreeSet<u32>>,
    /// Processes whose open files cannot be seen.
    pub(crate) unseen: usize,
    /// Whether anything could be examined.
    pub(crate) seen_any: bool,
}

impl Holders {
    pub(crate) fn scan(machine: &Machine) -> Self {
        let Some(names) = machine.processes() else { return Self::default() };
        let mut found = Self { seen_any: true, ..Self::default() };
        for pid in names.keys() {
            let Ok(files) = fs::read_dir(machine.at(&format!("proc/{pid}/fd"))) else {
                found.unseen += 1;
                continue;
            };
            for file in files.take(FILES_MAX).flatten() {
                let Ok(target) = fs::read_link(file.path()) else { continue };
                if let Some(path) = target.to_str().filter(|path| path.starts_with("/dev/")) {
                    found.open.entry(path.to_owned()).or_default().insert(*pid);
                }
            }
        }
        for line in machine.text("proc/locks").unwrap_or_default().lines() {
            if let Some((file, pid)) = lock(line) {
                found.locks.entry(file).or_default().insert(pid);
            }
        }
        found.names = names;
        found
    }

    /// Who has this device open, by number and name, without this program itself.
    pub(crate) fn of(&self, device: &str, meta: &fs::Metadata) -> Vec<String> {
        let file = (major(meta.dev()), minor(meta.dev()), meta.ino());
        let open = self.open.get(device).into_iter().flatten();
        let pids: BTreeSet<u32> = open.chain(self.locks.get(&file).into_iter().flatten()).copied().collect();
        let own = std::process::id();
        let name = |pid: &u32| {
            self.names.get(pid).map_or_else(|| format!("process {pid}"), |name| format!("{name} ({pid})"))
        };
        pids.iter().filter(|pid| **pid != own).map(name).collect()
    }
}

/// `1: FLOCK  ADVISORY  WRITE 1234 00:05:321 0 EOF`, see proc(5). Waiters (`->`) hold nothing.
fn lock(line: &str) -> Option<((u32, u32, u64), u32)> {
    let mut words = line.split_whitespace();
    let pid = words.nth(4)?.parse().ok()?;
    let mut file = words.next()?.split(':');
    let major = u32::from_str_radix(file.next()?, 16).ok()?;
    let minor = u32::from_str_radix(file.next()?, 16).ok()?;
    Some(((major, minor, file.next()?.parse().ok()?), pid))
}

/// The parts of a device number as glibc's `makedev` packs them (sys/sysmacros.h).
fn major(dev: u64) -> u32 {
    u32::try_from(((dev >> 8) & 0xfff) | ((dev >> 32) & 0xffff_f000)).unwrap_or(u32::MAX)
}

fn minor(dev: u64) -> u32 {
    u32::try_from((dev & 0xff) | ((dev >> 12) & 0xffff_ff00)).unwrap_or(u32::MAX)
}
