//! The command line as data (`tables/*.txt`), and what a table cannot say: terminals, closed pipes, bytes that are no
//! text.

use std::ffi::OsString;
use std::io::Read as _;
use std::os::unix::ffi::OsStringExt as _;
use std::process::{Command, Stdio};

use checks::{Folder, Invocation, check_table, program, root};

fn table(name: &str) {
    check_table(&root().join("tests/it/tables").join(name));
}

#[test]
fn judge_as_the_table_says() {
    table("judge.txt");
}

#[test]
fn commands_as_the_table_says() {
    table("commands.txt");
}

#[test]
fn replay_as_the_table_says() {
    table("replay.txt");
}

const GOOD: [&str; 8] = [
    "judge",
    "run-capacitor",
    "--plate",
    "capacitance=40uF",
    "--reading",
    "capacitance=39.4uF",
    "--confirm",
    "all",
];

/// no-color.org: no colour where NO_COLOR is set and not empty. A terminal from `script` (util-linux).
#[test]
fn colour_only_on_a_terminal_that_wants_it() {
    let on_a_terminal = |no_color: Option<&str>| {
        let line = format!("{} {}", program().display(), GOOD.join(" "));
        let mut command = Command::new("script");
        command.args(["-qefc", &line, "/dev/null"]).stdin(Stdio::null()).current_dir(root());
        match no_color {
            Some(value) => command.env("NO_COLOR", value),
            None => command.env_remove("NO_COLOR"),
        };
        let output = command.output().expect("script(1) from util-linux");
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    let coloured = on_a_terminal(None);
    assert!(coloured.contains("\x1b[1mPASS\x1b[0m"), "{coloured:?}");
    assert!(on_a_terminal(Some("")).contains('\x1b'));
    let plain = on_a_terminal(Some("1"));
    assert!(plain.contains("PASS") && !plain.contains('\x1b'), "{plain:?}");
}

#[test]
fn no_escape_codes_into_a_pipe() {
    for args in [
        &GOOD[..],
        &["--help"],
        &["judge", "nonsense"],
        &["rules", "check", "tests/it/fixtures/broken-rules"],
    ] {
        let ended = Invocation::new(args.iter().copied()).run();
        assert!(!ended.out.contains('\x1b') && !ended.err.contains('\x1b'), "{args:?}: {ended:?}");
        assert!(!(ended.out.is_empty() && ended.err.is_empty()), "{args:?} said nothing");
    }
}

/// `cliplead ... | head -1`: that nobody reads any more is no fault. Here the reader is gone before the first byte.
#[test]
fn a_closed_pipe_is_no_fault() {
    for args in [
        &["rules", "list"][..],
        &["rules", "list", "--format", "json"],
        &["replay", "tests/it/fixtures/recordings/small.jsonl"],
        &["devices", "list"],
        &["--help"],
        &["judge", "--help"],
    ] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let mut child = Invocation::new(args.iter().copied())
            .command()
            .stdin(Stdio::null())
            .stdout(writer)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut err = String::new();
        child.stderr.take().unwrap().read_to_string(&mut err).unwrap();
        assert_eq!(child.wait().unwrap().code(), Some(0), "{args:?}: {err}");
        assert!(!err.contains("panicked"), "{args:?}: {err}");
    }
}

/// A full disk under stdout is a fault: exit 2, never a silent success.
#[test]
fn a_full_stdout_is_told() {
    for args in [&GOOD[..], &["rules", "list"], &["replay", "tests/it/fixtures/recordings/small.jsonl"]] {
        let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
        let output = Invocation::new(args.iter().copied())
            .command()
            .stdout(full)
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let err = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {err}");
        assert!(err.contains("No space left"), "{args:?}: {err}");
    }
}

/// Bytes that are no text end in exit 2 and a sentence, in every place where an argument stands.
#[test]
fn arguments_that_are_no_text_do_not_panic() {
    let odd = || OsString::from_vec(b"/nowhere/\xff\xfe".to_vec());
    let text = |word: &str| OsString::from(word);
    for args in [
        vec![odd()],
        vec![text("judge"), odd()],
        vec![text("judge"), text("run-capacitor"), text("--plate"), odd()],
        vec![text("judge"), text("run-capacitor"), text("--rules"), odd()],
        vec![text("replay"), odd()],
        vec![text("replay"), text("tests/it/fixtures/recordings/small.jsonl"), text("--expect"), odd()],
        vec![text("run"), odd()],
        vec![text("rules"), text("check"), odd()],
        vec![text("rules"), text("test"), odd()],
        vec![text("devices"), text("watch"), odd()],
    ] {
        let ended = Invocation::new(args.clone()).run();
        assert_eq!(ended.code, Some(2), "{args:?}: {ended:?}");
        assert!(!ended.err.contains("panicked") && !ended.err.is_empty(), "{args:?}: {ended:?}");
    }
}

/// A recording with any one byte changed or missing ends with a word of the contract, never otherwise.
#[test]
fn a_damaged_recording_never_panics() {
    let folder = Folder::new("damaged");
    let whole = std::fs::read(root().join("tests/it/fixtures/recordings/small.jsonl")).unwrap();
    // Every 37th place (a prime, so that all keys and values are met), three damages each.
    for place in (0..whole.len()).step_by(37) {
        let cut = whole[..place].to_vec();
        let mut flipped = whole.clone();
        flipped[place] ^= 0x20;
        let mut without = whole.clone();
        without.remove(place);
        for (what, bytes) in [("cut", cut), ("flipped", flipped), ("without", without)] {
            let path = folder.write("damaged.jsonl", &bytes);
            let ended = Invocation::new([OsString::from("replay"), path.into()]).run();
            assert!(matches!(ended.code, Some(0..=3)), "{what} at {place}: {ended:?}");
            assert!(!ended.err.contains("panicked"), "{what} at {place}: {ended:?}");
            assert!(
                ended.code != Some(2) || !ended.err.is_empty(),
                "{what} at {place}: refused without a word"
            );
        }
    }
}
