//! What a program does to the files of one folder, in order, as strace saw it. Does not judge it.

use std::path::Path;
use std::process::{Command, Stdio};

/// One thing that happened. A name is that of a file in the folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// Opened, and made if it was not there.
    Make(String),
    /// Bytes written at this offset.
    Write(String, usize, Vec<u8>),
    /// Cut or lengthened to this size.
    Resize(String, usize),
    /// Its name taken away.
    Unlink(String),
    /// The disk has everything written to it so far.
    Sync(String),
    /// The disk has all names of the folder as they are.
    SyncFolder,
    /// Text written to stdout.
    Said(String),
}

/// The calls that [`Event`]s are made of.
const KNOWN: &[&str] =
    &["openat", "pwrite64", "write", "fsync", "fdatasync", "ftruncate", "unlink", "unlinkat"];
/// Calls that would change a file behind the events' back; none may touch the folder.
const UNKNOWN: &[&str] = &[
    "open",
    "creat",
    "pwritev",
    "pwritev2",
    "writev",
    "truncate",
    "fallocate",
    "sendfile",
    "copy_file_range",
    "rename",
    "renameat",
    "renameat2",
    "link",
    "linkat",
    "sync_file_range",
    "msync",
];

/// Whether strace is there.
#[must_use]
pub fn has_strace() -> bool {
    let found = Command::new("strace").arg("-V").stdout(Stdio::null()).stderr(Stdio::null()).status();
    found.is_ok_and(|status| status.success())
}

/// Runs a command to its end and gives what it did to the folder and said on stdout. Only one of its threads may touch
/// the folder.
///
/// # Panics
/// When it fails, when strace is missing, or when the folder was touched by a call that is not followed.
#[must_use]
pub fn trace(command: &Command, folder: &Path, log: &Path) -> Vec<Event> {
    let folder = folder.canonicalize().expect("the folder to follow");
    let mut strace = Command::new("strace");
    // -xx: every text in hexadecimal digits; -y: a descriptor with its path; -s: no text is cut.
    strace.args(["-f", "-y", "-xx", "-s", "10000000", "-e"]);
    strace.arg(format!("trace={},?{}", KNOWN.join(","), UNKNOWN.join(",?"))).arg("-o").arg(log);
    strace.arg(command.get_program()).args(command.get_args());
    strace.envs(command.get_envs().filter_map(|(name, value)| Some((name, value?))));
    let ended = strace.stdin(Stdio::null()).output().expect("strace");
    assert!(ended.status.success(), "{strace:?}: {}", String::from_utf8_lossy(&ended.stderr));
    let text = std::fs::read_to_string(log).expect("the log of strace");
    let folder = folder.display().to_string();
    text.lines().filter_map(|line| event(line, &folder)).collect()
}

/// Reads `PID CALL(ARGUMENTS) = RESULT`.
fn event(line: &str, folder: &str) -> Option<Event> {
    let (_, line) = line.split_once(' ').expect("a process number");
    let (call, args) = line.trim_start().split_once('(')?;
    let texts = texts(args);
    let inside = |text: &[u8]| -> Option<String> {
        let text = String::from_utf8_lossy(text);
        let name = text.strip_prefix(folder)?;
        Some(name.trim_start_matches('/').to_owned())
    };
    let first = texts.first().and_then(|text| inside(text));
    if call == "write" && args.starts_with("1<") {
        return Some(Event::Said(String::from_utf8_lossy(texts.get(1)?).into_owned()));
    }
    let touched = texts.iter().any(|text| inside(text).is_some());
    if !touched {
        return None;
    }
    let (args, result) = args.rsplit_once(") = ").unwrap_or_else(|| panic!("cut off: {call}, two threads?"));
    if result.starts_with('-') {
        return None;
    }
    let number = |from_end: usize| -> usize {
        args.rsplit(", ").nth(from_end).and_then(|n| n.parse().ok()).expect("a number")
    };
    match call {
        "openat" if args.contains("O_CREAT") => {
            assert!(!args.contains("O_TRUNC"), "opened and emptied: {args}");
            Some(Event::Make(inside(&texts[1])?))
        }
        "openat" => None,
        "pwrite64" => {
            let done: usize = result.parse().expect("a count");
            Some(Event::Write(first?, number(0), texts[1][..done].to_vec()))
        }
        "ftruncate" => Some(Event::Resize(first?, number(0))),
        "fsync" | "fdatasync" => Some(match first?.as_str() {
            "" => Event::SyncFolder,
            name => Event::Sync(name.to_owned()),
        }),
        "unlink" => Some(Event::Unlink(first?)),
        other => panic!("{other} touched the folder, and the events do not know it"),
    }
}

/// The texts of a line in their order: paths in `<>` behind a descriptor and strings in quotes, all as `\xHH`.
fn texts(args: &str) -> Vec<Vec<u8>> {
    let mut found = Vec::new();
    let mut rest = args.as_bytes();
    while let Some(start) = rest.windows(2).position(|pair| pair == b"<\\" || pair == b"\"\\") {
        rest = &rest[start + 1..];
        let mut text = Vec::new();
        while let [b'\\', b'x', high, low, further @ ..] = rest {
            text.push(digit(*high) << 4 | digit(*low));
            rest = further;
        }
        found.push(text);
    }
    found
}

fn digit(byte: u8) -> u8 {
    match byte {
        b'0'..=b'9' => byte - b'0',
        b'a'..=b'f' => byte - b'a' + 10,
        other => panic!("{} is no hexadecimal digit", char::from(other)),
    }
}
