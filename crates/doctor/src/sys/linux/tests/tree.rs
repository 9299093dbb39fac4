//! Made-up machines from a table. Plants a tree in the folder for temporary files and takes it away at the end.
//!
//! ```text
//! == name of the case
//! account UID NAME GID...          who runs the program; also in the passwd file
//! group NAME GID MEMBER,...        a line of the group file
//! usb NAME VENDOR PRODUCT SERIAL   a USB port with its by-id link ("-": without serial number and link)
//! builtin NAME                     a port of the machine itself
//! owner PATH UID GID MODE          of a planted file
//! run NAME PID                     a process that may be looked into
//! hidden NAME PID                  a process that may not
//! open PID PATH                    it has this open
//! lock PID PATH                    it has this locked
//! file PATH TEXT                   `\n` is a new line
//! link PATH TARGET
//! dir PATH
//! home NAME PATH                   of an account that is not the caller's; the caller's own is /home/NAME
//! site REST                        a site is known, and a device of it names this serial place ("-": none does)
//! history PATH                     where the site keeps its history
//! want TEXT                        some line of the answer holds TEXT
//! no TEXT                          none does
//! ```

use std::fs;
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _, symlink};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use crate::Machine;

pub(crate) struct Case {
    pub(crate) name: String,
    lines: Vec<String>,
    pub(crate) wants: Vec<String>,
    pub(crate) unwanted: Vec<String>,
}

pub(crate) fn parse(text: &str) -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    for line in text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')) {
        if let Some(name) = line.strip_prefix("== ") {
            cases.push(Case { name: name.to_owned(), lines: vec![], wants: vec![], unwanted: vec![] });
            continue;
        }
        let case = cases.last_mut().expect("a case begins with ==");
        if let Some(want) = line.strip_prefix("want ") {
            case.wants.push(want.to_owned());
        } else if let Some(unwanted) = line.strip_prefix("no ") {
            case.unwanted.push(unwanted.to_owned());
        } else {
            case.lines.push(line.to_owned());
        }
    }
    assert!(cases.iter().all(|case| !case.wants.is_empty()), "a case without want");
    cases
}

pub(crate) struct Tree {
    pub(crate) root: PathBuf,
    pub(crate) machine: Machine,
    /// The serial places of a site, where one is known.
    pub(crate) named: Option<Vec<link::SerialPlace>>,
    pub(crate) history: Option<PathBuf>,
}

static NUMBER: AtomicU32 = AtomicU32::new(0);

impl Tree {
    pub(crate) fn plant(case: &Case) -> Self {
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let root = std::env::temp_dir().join(format!("cliplead-doctor-{}-{number}", std::process::id()));
        remove(&root);
        fs::create_dir_all(root.join("sys/class/tty")).unwrap();
        let root = fs::canonicalize(root).unwrap();
        let mut tree = Self { machine: Machine::under(&root, None), root, named: None, history: None };
        for line in &case.lines {
            tree.line(line);
        }
        tree.look_again();
        tree
    }

    /// Reads the account anew and keeps the owners.
    pub(crate) fn look_again(&mut self) {
        let owners = std::mem::take(&mut self.machine.owners);
        self.machine = Machine::under(&self.root, None);
        self.machine.owners = owners;
    }

    fn line(&mut self, line: &str) {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            ["account", uid, name, gid, more @ ..] => {
                let more = more.join(" ");
                let status = format!(
                    "Uid:\t{uid}\t{uid}\t{uid}\t{uid}\nGid:\t{gid}\t{gid}\t{gid}\t{gid}\nGroups:\t{more}\n"
                );
                self.file("proc/self/status", &status);
                self.append("etc/passwd", &format!("{name}:x:{uid}:{gid}::/home/{name}:/bin/sh\n"));
            }
            ["home", name, path] => self.append("etc/passwd", &format!("{name}:x:1:1::{path}:/bin/sh\n")),
            ["site", rest] => {
                let named = self.named.get_or_insert_default();
                if *rest != "-" {
                    named.push(link::SerialPlace::parse(rest).unwrap());
                }
            }
            ["history", path] => self.history = Some(self.root.join(path)),
            ["group", name, gid, members @ ..] => {
                self.append("etc/group", &format!("{name}:x:{gid}:{}\n", members.join("")));
            }
            ["usb", name, vendor, product, serial] => self.usb(name, vendor, product, serial),
            ["builtin", name] => {
                self.file(&format!("sys/devices/pnp/{name}/x"), "");
                self.file(&format!("sys/class/tty/{name}/type"), "4\n");
                self.link(&format!("sys/class/tty/{name}/device"), &format!("sys/devices/pnp/{name}"));
                self.file(&format!("dev/{name}"), "");
            }
            ["owner", path, uid, gid, mode] => {
                let mode = u32::from_str_radix(mode, 8).unwrap();
                fs::set_permissions(self.root.join(path), fs::Permissions::from_mode(mode)).unwrap();
                self.machine.owners.insert(format!("/{path}"), (uid.parse().unwrap(), gid.parse().unwrap()));
            }
            ["run", name, pid] => {
                self.file(&format!("proc/{pid}/comm"), &format!("{name}\n"));
                fs::create_dir_all(self.root.join(format!("proc/{pid}/fd"))).unwrap();
            }
            // A folder that cannot be listed, also by root: it is none.
            ["hidden", name, pid] => {
                self.file(&format!("proc/{pid}/comm"), &format!("{name}\n"));
                self.file(&format!("proc/{pid}/fd"), "");
            }
            ["open", pid, path] => {
                symlink(format!("/{path}"), self.root.join(format!("proc/{pid}/fd/7"))).unwrap();
            }
            ["lock", pid, path] => {
                let meta = fs::metadata(self.root.join(path)).unwrap();
                // As proc(5) writes it: device in hex, inode in decimal.
                let (major, minor) =
                    ((meta.dev() >> 8) & 0xfff, (meta.dev() & 0xff) | ((meta.dev() >> 12) & 0xfff00));
                let line =
                    format!("1: FLOCK  ADVISORY  WRITE {pid} {major:02x}:{minor:02x}:{} 0 EOF\n", meta.ino());
                self.append("proc/locks", &line);
            }
            ["link", path, target] => {
                fs::create_dir_all(self.root.join(path).parent().unwrap()).unwrap();
                symlink(target, self.root.join(path)).unwrap();
            }
            ["dir", path] => fs::create_dir_all(self.root.join(path)).unwrap(),
            ["file", path, ..] => {
                let text = line.splitn(3, ' ').nth(2).unwrap_or_default().replace("\\n", "\n");
                self.file(path, &text);
            }
            _ => panic!("no such line: {line}"),
        }
    }

    fn usb(&mut self, name: &str, vendor: &str, product: &str, serial: &str) {
        let number: u32 = name.trim_start_matches(|c: char| c.is_alphabetic()).parse().unwrap_or(0);
        let usb = format!("sys/devices/usb{}", if number == 0 { String::new() } else { number.to_string() });
        self.file(&format!("{usb}/idVendor"), vendor);
        self.file(&format!("{usb}/idProduct"), product);
        self.file(&format!("{usb}/interface/{name}/x"), "");
        self.file(&format!("sys/class/tty/{name}/dev"), &format!("188:{number}\n"));
        self.link(&format!("sys/class/tty/{name}/device"), &format!("{usb}/interface/{name}"));
        self.file(&format!("dev/{name}"), "");
        if serial != "-" {
            self.file(&format!("{usb}/serial"), serial);
            self.link(&format!("dev/serial/by-id/usb-{serial}"), &format!("dev/{name}"));
        }
    }

    fn file(&self, path: &str, text: &str) {
        let path = self.root.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    fn append(&self, path: &str, text: &str) {
        let before = fs::read_to_string(self.root.join(path)).unwrap_or_default();
        self.file(path, &(before + text));
    }

    /// A link to a place within the tree.
    fn link(&self, path: &str, target: &str) {
        let path = self.root.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        symlink(self.root.join(target), path).unwrap();
    }
}

impl Drop for Tree {
    fn drop(&mut self) {
        remove(&self.root);
    }
}

/// Takes away whatever stands there.
pub(crate) fn remove(path: &Path) {
    match fs::symlink_metadata(path) {
        Ok(meta) if meta.is_dir() => fs::remove_dir_all(path).unwrap(),
        Ok(_) => fs::remove_file(path).unwrap(),
        Err(_) => {}
    }
}
