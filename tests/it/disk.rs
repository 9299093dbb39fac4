//! A disk that takes no more, or none at all: what is not stored is marked, nothing rests on it, and measuring goes on.

use std::process::Command;

use checks::{Daemon, Folder, Invocation, Leads, Meter, Page, Stream};
use serde_json::{Value, json};

use crate::site;

/// Sets the largest file the process may write from now on (prlimit, util-linux); the soft limit alone, so that it can
/// be lifted again.
fn file_size_limit(pid: u32, bytes: &str) {
    let set =
        Command::new("prlimit").args(["--pid", &pid.to_string(), &format!("--fsize={bytes}:")]).status();
    assert!(set.expect("prlimit from util-linux").success());
}

/// The daemon with these arguments; a write beyond a limit gives it an error instead of the signal XFSZ.
fn start(args: &[&str]) -> Daemon {
    let inner = Invocation::new(args.iter().copied()).command();
    let mut command = Command::new("bash");
    command.args(["-c", "trap '' XFSZ; exec \"$0\" \"$@\""]).arg(inner.get_program()).args(inner.get_args());
    Daemon::start(command)
}

/// The line without the mark of a verdict that was not stored when it was shown.
fn unmarked(line: &str) -> String {
    line.replacen("\"unsaved\":true,", "", 1)
}

fn is_unsaved(line: &str) -> bool {
    serde_json::from_str::<Value>(line).unwrap()["unsaved"] == true
}

fn typed_verdict(page: &Page, text: &str) {
    page.confirm(&site::HOLD_POINTS);
    page.done(&json!({"do": "type", "point": "capacitance", "text": text}));
}

/// A verdict is shown when it is stored, or some seconds later with the mark UNSAVED; when the disk takes writes again, all
/// are stored in their order, and the recording goes on where it stopped.
#[test]
fn not_stored_is_not_shown_as_if_it_were() {
    let folder = Folder::new("disk");
    let meter = Meter::plug_in(&folder.join("meter"), Leads::Open);
    let site = site::write(&folder, &site::device("meter", &meter.selector()), 3);
    let recording = folder.join("visit.jsonl").display().to_string();
    let daemon = start(&["run", &site.display().to_string(), "--format", "json", "--record", &recording]);
    let page = daemon.page();

    let first = site::measure(&daemon, &page, &meter, 12.46);
    assert_eq!(site::word(&first), "pass", "{first}");
    page.done(&json!({"do": "next"}));
    page.confirm(&site::HOLD_POINTS);
    site::lift(&page, &meter);
    file_size_limit(daemon.pid(), "1024");
    meter.show(Leads::microfarads(10.02));
    let view = page.view_until("a fault", |view| view["faults"].to_string().contains("NOT SAVED"));
    assert!(view["verdict"] == Value::Null || view["verdict"]["unsaved"] == true, "{view:#}");
    daemon.wait(Stream::Err, "it is tried again, and measuring goes on");

    // Measuring goes on: readings are counted and the live value follows the leads.
    let readings = view["devices"][0]["readings"].as_u64().unwrap();
    meter.show(Leads::microfarads(0.0));
    page.view_until("further readings", |view| {
        view["devices"][0]["readings"].as_u64() > Some(readings + 5) && view["live"]["shown"] == "0.00 uF"
    });
    // It comes after some seconds, marked everywhere, and is not evidence for anything.
    let second = daemon.wait_data(2)[1].clone();
    assert!(is_unsaved(&second) && site::word(&second) == "fail", "{second}");
    let view = page.view_until("the mark", |view| view["verdict"]["unsaved"] == true);
    assert_eq!(view["recent"][0]["unsaved"], true, "{view:#}");

    // So does the round: a further check has its verdict, which waits behind the first.
    page.done(&json!({"do": "next"}));
    typed_verdict(&page, "12.61 uF");
    page.view_until("two that wait", |view| view["faults"].to_string().contains("2 verdict(s)"));
    let faults = page.view_until("a recording that waits too", |view| {
        view["faults"].to_string().contains("visit.jsonl cannot be written now")
    });
    assert!(faults["faults"].as_array().unwrap().len() >= 2, "{faults:#}");

    file_size_limit(daemon.pid(), "unlimited");
    page.view_until("the faults gone", |view| {
        view["faults"].as_array().is_some_and(Vec::is_empty)
            && view["recent"].as_array().is_some_and(|recent| {
                recent.len() == 3 && recent.iter().all(|verdict| verdict["unsaved"] == false)
            })
    });
    daemon.wait(Stream::Err, "verdict 2 of this round, shown as UNSAVED, is saved now");
    let (code, printed) = daemon.terminate();
    assert_eq!(code, Some(0));
    let words = site::words(&printed);
    assert_eq!(words, ["pass", "fail", "pass"], "in the order of the round");
    let stored = site::stored(&folder.join("history.sqlite"));
    assert_eq!(stored, printed.iter().map(|line| unmarked(line)).collect::<Vec<_>>());
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert_eq!(replayed.lines(), stored, "{}", replayed.err);
}

/// What is not stored at the end is printed as UNSAVED, and the exit code says so.
#[test]
fn what_is_unsaved_at_the_end_is_said() {
    let folder = Folder::new("unsaved");
    let site = site::write(&folder, site::TYPED, 2);
    let daemon = start(&["run", &site.display().to_string(), "--format", "json"]);
    let page = daemon.page();
    typed_verdict(&page, "12.61 uF");
    daemon.wait_data(1);
    file_size_limit(daemon.pid(), "1024");
    page.done(&json!({"do": "again"}));
    page.done(&json!({"do": "type", "point": "capacitance", "text": "10.05 uF"}));
    page.view_until("a fault", |view| view["faults"].to_string().contains("NOT SAVED"));
    let mut daemon = daemon;
    daemon.signal("TERM");
    let (code, printed) = daemon.ended();
    assert_eq!(code, Some(2), "{}", daemon.told());
    assert!(printed.len() == 2 && !is_unsaved(&printed[0]) && is_unsaved(&printed[1]), "{printed:#?}");
    assert!(daemon.told().contains("1 verdict(s) of this round are UNSAVED"), "{}", daemon.told());
    assert_eq!(site::stored(&folder.join("history.sqlite")), printed[..1]);
}

/// It starts and measures although there is no folder for the history; when the folder comes, all is stored.
#[test]
fn a_history_that_comes_late_gets_everything() {
    let folder = Folder::new("late");
    let text = std::fs::read_to_string(site::write(&folder, site::TYPED, 1)).unwrap();
    let site = folder.write("site.toml", text.replace("\"history.sqlite\"", "\"not/yet/history.sqlite\""));
    let daemon = start(&["run", &site.display().to_string(), "--format", "json"]);
    let page = daemon.page();
    let why = daemon.wait(Stream::Err, "the history cannot be used");
    assert!(why.contains("not/yet/history.sqlite") && why.contains("measuring goes on"), "{why}");
    typed_verdict(&page, "12.61 uF");
    let shown = daemon.wait_data(1)[0].clone();
    assert!(is_unsaved(&shown), "{shown}");
    std::fs::create_dir_all(folder.join("not/yet")).unwrap();
    daemon.wait(Stream::Err, "verdict 1 of this round, shown as UNSAVED, is saved now");
    page.view_until("no fault", |view| view["faults"].as_array().is_some_and(Vec::is_empty));
    assert_eq!(daemon.terminate().0, Some(0));
    assert_eq!(site::stored(&folder.join("not/yet/history.sqlite")), [unmarked(&shown)]);
    // The old way: it does not start.
    let strict = folder.write("strict.toml", text.replace("\"history.sqlite\"", "\"never/history.sqlite\""));
    let ended = Invocation::new(["run", &strict.display().to_string(), "--strict"]).run();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.err.contains("never/history.sqlite"), "{ended:?}");
}

/// A site's file with damage is named, and a history that is none is named, left as it is, and stops no measuring.
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
    let history = folder.write("history.sqlite", "no database, but somebody's file\n".repeat(200));
    let before = std::fs::read(&history).unwrap();
    let daemon = start(&["run", &site.display().to_string(), "--format", "json"]);
    let page = daemon.page();
    assert!(daemon.wait(Stream::Err, "the history cannot be used").contains("history.sqlite"));
    typed_verdict(&page, "12.61 uF");
    let shown = daemon.wait_data(1)[0].clone();
    assert!(is_unsaved(&shown), "{shown}");
    page.view_until("the fault", |view| view["faults"].to_string().contains("history.sqlite"));
    assert_eq!(daemon.terminate().0, Some(2));
    assert_eq!(std::fs::read(&history).unwrap(), before);
    let ended = Invocation::new(["run", &site.display().to_string(), "--strict"]).run();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.err.contains("history.sqlite"), "{ended:?}");
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
