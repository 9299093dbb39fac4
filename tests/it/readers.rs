//! Whoever reads stdout or stderr is gone, or does not read: measuring goes on, and every signal ends the program.

use std::process::Command;

use checks::{Daemon, Folder, Invocation, Stream};
use serde_json::json;

use crate::site;

/// The daemon, its streams led elsewhere by the shell: `$0 "$@"` is the program.
fn start(script: &str, args: &[&str]) -> Daemon {
    let inner = Invocation::new(args.iter().copied()).command();
    let mut command = Command::new("bash");
    command.args(["-c", script]).arg(inner.get_program()).args(inner.get_args());
    Daemon::start(command)
}

/// Further lines for a check whose hold points are confirmed: a verdict each.
fn values(from: usize, count: usize) -> String {
    (from..from + count).map(|number| format!("again\ncapacitance=12.{:02}uF\n", number % 40 + 10)).collect()
}

fn confirmations() -> String {
    site::HOLD_POINTS.iter().map(|name| format!("confirm {name}\n")).collect()
}

/// Verdicts go on to the history and the page.
#[test]
fn nobody_reads_stdout_any_more() {
    let folder = Folder::new("unread");
    let site = site::write(&folder, site::TYPED, 1);
    // The reader ends at once; the daemon's stdout is a pipe without a reader from then on.
    let mut daemon = start("exec \"$0\" \"$@\" > >(exec true)", &["run", &site.display().to_string()]);
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
    page.view_until("the fault", |view| view["faults"].to_string().contains("stdout takes no lines now"));
    assert_eq!(daemon.terminate().0, Some(0), "the history has them all");
    assert_eq!(site::stored(&folder.join("history.sqlite")).len(), 4);
}

/// A pipe that is full: 64 KiB (pipe(7)), some 40 verdicts as JSON. The reader never reads and never ends.
#[test]
fn a_reader_of_stdout_that_does_not_read_stops_nothing() {
    const VERDICTS: usize = 150;
    let folder = Folder::new("stuck-out");
    let site = site::write(&folder, site::TYPED, 1);
    let script = "exec \"$0\" \"$@\" > >(exec sleep 200)";
    let mut daemon = start(script, &["run", &site.display().to_string(), "--format", "json"]);
    let page = daemon.page();
    let mut text = confirmations();
    text.push_str(&values(0, VERDICTS));
    daemon.type_text(&text);
    let view =
        page.view_until("all verdicts", |view| view["recent"][0]["number"].as_u64() == Some(VERDICTS as u64));
    assert_eq!(view["saving"], 0, "{view:#}");
    daemon.signal("TERM");
    assert_eq!(daemon.code(), Some(0), "{}", daemon.told());
    assert_eq!(site::stored(&folder.join("history.sqlite")).len(), VERDICTS);
}

/// The same with stderr, filled by lines that are refused; without a reader at all; and on a full device.
#[test]
fn stderr_that_takes_nothing_stops_nothing() {
    for (name, script) in [
        ("stuck-err", "exec \"$0\" \"$@\" 2> >(exec sleep 200)"),
        ("gone-err", "exec \"$0\" \"$@\" 2> >(exec true)"),
        ("full-err", "exec \"$0\" \"$@\" 2> /dev/full"),
        ("closed-err", "exec \"$0\" \"$@\" 2>&-"),
    ] {
        let folder = Folder::new(name);
        let site = site::write(&folder, site::TYPED, 1);
        let mut daemon = start(script, &["run", &site.display().to_string(), "--format", "json", "-vv"]);
        let mut text = "what is this line for?\n".repeat(5_000);
        text.push_str(&confirmations());
        text.push_str(&values(0, 20));
        daemon.type_text(&text);
        let printed = daemon.wait_data(20);
        daemon.signal("TERM");
        assert_eq!(daemon.code(), Some(0), "{name}: {}", daemon.told());
        assert_eq!(site::stored(&folder.join("history.sqlite")), printed, "{name}");
    }
}

/// A terminal that hangs up, as a dropped connection does: the round ends as with any other signal. Under nohup it goes on.
#[test]
fn a_terminal_that_hangs_up_ends_the_round_in_order() {
    let folder = Folder::new("hangup");
    let site = site::write(&folder, site::TYPED, 1);
    let daemon = Daemon::run(&site, &[]);
    let (code, printed) = daemon.end_by("HUP");
    assert_eq!(code, Some(0));
    assert_eq!(site::word(&printed[0]), "no verdict", "the open check ends with a word");
    assert_eq!(site::stored(&folder.join("history.sqlite")), printed);

    let folder = Folder::new("nohup");
    let site = site::write(&folder, site::TYPED, 1);
    let mut daemon =
        start("trap '' HUP; exec \"$0\" \"$@\"", &["run", &site.display().to_string(), "--format", "json"]);
    let page = daemon.page();
    daemon.signal("HUP");
    page.confirm(&site::HOLD_POINTS);
    daemon.type_line("capacitance=12.3uF");
    assert_eq!(site::word(&daemon.wait_data(1)[0]), "pass");
    assert_eq!(daemon.terminate().0, Some(0));
}

/// Rubbish without end on stdin: what is said about it is counted, not repeated.
#[test]
fn refusals_in_floods_are_counted() {
    let folder = Folder::new("flood-of-refusals");
    let site = site::write(&folder, site::TYPED, 1);
    let mut daemon = Daemon::run(&site, &[]);
    let rubbish = "what is this line for?\n".repeat(20_000);
    daemon.type_text(&format!("{rubbish}{}capacitance=12.3uF\n", confirmations()));
    daemon.wait_data(1);
    daemon.signal("TERM");
    assert_eq!(daemon.code(), Some(0));
    let said = daemon.lines(Stream::Err);
    assert!(said.len() < 200, "{} lines", said.len());
    let summary =
        said.iter().find(|line| line.contains("typed lines that were not taken")).expect("the count");
    assert!(summary.contains("typed lines that were not taken 20000"), "{summary}");
}
