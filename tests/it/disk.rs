//! A disk that takes no more while a round runs: what is not stored is not shown, and measuring goes on.

use std::process::Command;

use checks::{Daemon, Folder, Invocation, Leads, Meter, Stream};
use serde_json::{Value, json};

use crate::site;

/// Sets the largest file the process may write from now on (prlimit, util-linux); the soft limit alone, so that it can
/// be lifted again.
fn file_size_limit(pid: u32, bytes: &str) {
    let set =
        Command::new("prlimit").args(["--pid", &pid.to_string(), &format!("--fsize={bytes}:")]).status();
    assert!(set.expect("prlimit from util-linux").success());
}

/// Invariant 6 and reliability 4: keeps measuring, says "NOT SAVED", shows nothing that is not stored; and when the disk
/// takes writes again, the verdict that waited is stored and shown, in order.
#[test]
fn not_stored_is_not_shown() {
    let folder = Folder::new("disk");
    let meter = Meter::plug_in(&folder.join("meter"), Leads::Open);
    let site = site::write(&folder, &site::device("meter", &meter.selector()), 3);
    let recording = folder.join("visit.jsonl").display().to_string();
    let args = ["run", &site.display().to_string(), "--format", "json", "--record", &recording];
    let inner = Invocation::new(args).command();
    // A write beyond the limit gives an error instead of the signal XFSZ, which would end the process.
    let mut command = Command::new("bash");
    command.args(["-c", "trap '' XFSZ; exec \"$0\" \"$@\""]).arg(inner.get_program()).args(inner.get_args());
    let daemon = Daemon::start(command);
    let page = daemon.page();

    let first = site::measure(&daemon, &page, &meter, 12.46);
    assert_eq!(site::word(&first), "pass", "{first}");
    page.done(&json!({"do": "next"}));
    page.confirm(&site::HOLD_POINTS);
    site::lift(&page, &meter);
    file_size_limit(daemon.pid(), "1024");
    meter.show(Leads::microfarads(10.02));
    let view = page.view_until("a fault", |view| view["faults"].as_array().is_some_and(|f| !f.is_empty()));
    assert!(view["faults"][0].as_str().unwrap().contains("NOT SAVED"), "{view:#}");
    daemon.wait(Stream::Err, "NOT SAVED");
    assert_eq!(view["verdict"], Value::Null, "not stored and on the page: {view:#}");
    assert_eq!(view["recent"].as_array().unwrap().len(), 1, "{view:#}");
    assert_eq!(view["check"]["ruler"], Value::Null, "{view:#}");

    // Measuring goes on: readings are counted and the live value follows the leads.
    let readings = view["devices"][0]["readings"].as_u64().unwrap();
    meter.show(Leads::microfarads(0.0));
    let view = page.view_until("further readings", |view| {
        view["devices"][0]["readings"].as_u64() > Some(readings + 5) && view["live"]["shown"] == "0.00 uF"
    });
    assert_eq!(view["verdict"], Value::Null, "{view:#}");
    assert_eq!(daemon.lines(Stream::Out), std::slice::from_ref(&first), "printed but not stored");

    // So does the round: a further check has its verdict, which waits behind the first.
    page.done(&json!({"do": "next"}));
    page.confirm(&site::HOLD_POINTS);
    page.done(&json!({"do": "type", "point": "capacitance", "text": "12.61 uF"}));
    let view = page.view_until("two that wait", |view| view.to_string().contains("2 verdict(s)"));
    assert_eq!((&view["verdict"], view["recent"].as_array().unwrap().len()), (&Value::Null, 1), "{view:#}");

    // The recording could not go on either: told once.
    let told = daemon.lines(Stream::Err);
    let ends = told
        .iter()
        .filter(|line| line.contains("visit.jsonl ends here") && line.contains("measuring goes on"));
    assert_eq!(ends.count(), 1, "{told:?}");

    file_size_limit(daemon.pid(), "unlimited");
    let printed = daemon.wait_data(3);
    let words: Vec<String> = printed.iter().map(|line| site::word(line)).collect();
    assert_eq!(words, ["pass", "fail", "pass"], "in the order of the round");
    page.view_until("the fault gone", |view| {
        view["faults"].as_array().is_some_and(Vec::is_empty) && view["recent"].as_array().unwrap().len() == 3
    });
    let (code, printed) = daemon.terminate();
    assert_eq!(code, Some(0));
    assert_eq!(site::stored(&folder.join("history.sqlite")), printed);
    // What stands of the recording can be read and gives the verdict that came before its end.
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), [first], "{}", replayed.err);
}

/// Whoever read stdout is gone: verdicts go on to the history and the page.
#[test]
fn nobody_reads_stdout() {
    let folder = Folder::new("unread");
    let site = site::write(&folder, site::TYPED, 1);
    // The reader ends at once; the daemon's stdout is a pipe without a reader from then on.
    let inner = Invocation::new(["run", &site.display().to_string()]).command();
    let mut command = Command::new("bash");
    command.args(["-c", "exec \"$0\" \"$@\" > >(exec true)"]).arg(inner.get_program()).args(inner.get_args());
    let mut daemon = Daemon::start(command);
    let page = daemon.page();
    page.confirm(&site::HOLD_POINTS);
    daemon.type_line("capacitance=12.3uF");
    page.view_until("the verdict", |view| view["verdict"]["verdict"] == "pass");
    // The pipe may have had its reader for the first line; not for a later one.
    for count in 2..=4 {
        page.done(&json!({"do": "again"}));
        daemon.type_line("capacitance=12.3uF");
        // A view with a verdict may still be the one before.
        page.view_until("one verdict more", |view| {
            view["recent"].as_array().is_some_and(|seen| seen.len() == count)
        });
    }
    daemon.wait(Stream::Err, "stdout takes no more lines");
    assert_eq!(daemon.terminate().0, Some(0));
    assert_eq!(site::stored(&folder.join("history.sqlite")).len(), 4);
}

/// Reliability 18: a history or a site's file with damage never brings the program down: it runs, or names the file and
/// ends with 2.
#[test]
fn damaged_files_are_named() {
    let folder = Folder::new("damaged-files");
    let site = site::write(&folder, site::TYPED, 2);
    let whole = std::fs::read(&site).unwrap();
    for place in (0..whole.len()).step_by(7) {
        let mut flipped = whole.clone();
        flipped[place] ^= 0x12;
        let damaged = folder.write("damaged.toml", &flipped);
        // Reads the whole file, then finds no device of this name.
        let args =
            ["devices", "watch", "nobody", "--config", &damaged.display().to_string()].map(str::to_owned);
        let ended = Invocation::new(args).run();
        assert_eq!(ended.code, Some(2), "flipped at {place}: {ended:?}");
        assert!(ended.err.contains("damaged.toml") && !ended.err.contains("panicked"), "{place}: {ended:?}");
    }
    // A history that is none is named and left as it is.
    let history = folder.write("history.sqlite", "no database, but somebody's file\n".repeat(200));
    let before = std::fs::read(&history).unwrap();
    let ended = Invocation::new(["run", &site.display().to_string()]).run();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.err.contains("history.sqlite"), "{ended:?}");
    assert_eq!(std::fs::read(&history).unwrap(), before);
}

/// A recording that cannot be written ends, is told once, and stops nothing.
#[test]
fn a_recording_that_cannot_go_on_is_told() {
    let folder = Folder::new("tape");
    let site = site::write(&folder, site::TYPED, 1);
    let full = ["run", &site.display().to_string(), "--record", "/dev/full"].map(str::to_owned);
    // An existing file is never overwritten, so a device node is refused at the start.
    let ended = Invocation::new(full).run();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.err.contains("it must be a new file"), "{ended:?}");
}
