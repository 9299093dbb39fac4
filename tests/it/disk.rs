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
    let site = site::write(&folder, &site::device("meter", &meter.selector()), 2);
    let inner = Invocation::new(["run", &site.display().to_string(), "--format", "json"]).command();
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
    assert_eq!(daemon.lines(Stream::Out), [first.clone()], "printed but not stored");

    file_size_limit(daemon.pid(), "unlimited");
    let printed = daemon.wait_data(2);
    assert_eq!(site::word(&printed[1]), "fail", "{printed:?}");
    page.view_until("the fault gone", |view| {
        view["faults"].as_array().is_some_and(Vec::is_empty) && view["recent"][0]["verdict"] == "fail"
    });
    let (code, printed) = daemon.terminate();
    assert_eq!(code, Some(0));
    assert_eq!(site::stored(&folder.join("history.sqlite")), printed);
}

/// A recording that cannot be written ends, is told once, and stops nothing.
#[test]
fn a_recording_that_cannot_go_on_is_told() {
    let folder = Folder::new("tape");
    let site = site::write(&folder, "[[device]]\nname = \"typed\"\nselector = \"stdin:\"\n", 1);
    let full = ["run", &site.display().to_string(), "--record", "/dev/full"].map(str::to_owned);
    // An existing file is never overwritten, so a device node is refused at the start.
    let ended = Invocation::new(full).run();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.err.contains("it must be a new file"), "{ended:?}");
}
