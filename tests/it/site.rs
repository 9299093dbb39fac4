//! What the checks of the daemon share: a site's file, a check walked to its verdict, the history read back.

use std::path::Path;

use checks::{Daemon, Folder, Leads, Meter, Page};
use history::Reader;

/// Hold points of the capacitor rules, in their order.
pub(crate) const HOLD_POINTS: [&str; 5] =
    ["locked out", "leads proved", "proved dead", "discharged", "one lead off"];

/// Writes `site.toml`: these lines, a page on a free port, `history.sqlite`, and run capacitors of 12.5 uF as the route.
pub(crate) fn write(folder: &Folder, more: &str, checks: usize) -> std::path::PathBuf {
    let mut text = format!(
        "site = \"Quarry Lane (made up)\"\nhistory = \"history.sqlite\"\ndashboard = \"127.0.0.1:0\"\n{more}\n"
    );
    for number in 1..=checks {
        text.push_str(&format!(
            "[[check]]\nunit = \"RTU-0{number}\"\ncomponent = \"fan run capacitor\"\nrule = \"run-capacitor\"\n\
             plate = {{ capacitance = \"12.5 uF\", tolerance = \"6 %\" }}\n"
        ));
    }
    folder.write("site.toml", text)
}

/// The lines of a device with the generic profile.
pub(crate) fn device(name: &str, selector: &str) -> String {
    device_as("generic-line-meter", name, selector)
}

/// The lines of a device of this class.
pub(crate) fn device_as(class: &str, name: &str, selector: &str) -> String {
    format!("[[device]]\nname = \"{name}\"\nselector = \"{selector}\"\nprofile = \"{class}\"\n")
}

/// The lines of a person who types on stdin.
pub(crate) const TYPED: &str = "[[device]]\nname = \"typed\"\nselector = \"stdin:\"\n";

/// Confirms what the check asks for, lifts the leads, clips them on and waits for the verdict; gives its line.
pub(crate) fn measure(daemon: &Daemon, page: &Page, meter: &Meter, value: f64) -> String {
    let before = daemon.verdicts().len();
    page.confirm(&HOLD_POINTS);
    lift(page, meter);
    meter.show(Leads::microfarads(value));
    daemon.wait_data(before + 1)[before].clone()
}

/// Leads in the air on the capacitance range, until the daemon has seen it.
pub(crate) fn lift(page: &Page, meter: &Meter) {
    meter.show(Leads::microfarads(0.0));
    page.view_until("leads in the air", |view| {
        view.pointer("/live/shown").is_some_and(|shown| shown == "0.00 uF")
    });
}

/// The verdict's word in a line of JSON.
pub(crate) fn word(line: &str) -> String {
    let value: serde_json::Value = serde_json::from_str(line).expect("a verdict line");
    value["verdict"].as_str().expect("a word").to_owned()
}

/// The words of the verdicts among these lines of JSON; figures and amendments have none.
pub(crate) fn words(lines: &[impl AsRef<str>]) -> Vec<String> {
    let is_verdict = |line: &&str| !line.contains("\"event\":\"");
    lines.iter().map(AsRef::as_ref).filter(is_verdict).map(word).collect()
}

/// The stored verdicts as they were shown, each with what follows it, in the order of their commits. The whole file is checked on the way.
pub(crate) fn stored(history: &Path) -> Vec<String> {
    let reader = Reader::open(history).expect("the history");
    reader.integrity().expect("a sound history");
    let newest_first = reader.recent(100_000).expect("the verdicts");
    newest_first
        .iter()
        .rev()
        .flat_map(|summary| {
            let verdict = reader.verdict_json(summary.id).expect("a verdict").expect("it is there");
            let behind = reader.follow_ups(summary.id).expect("what follows it");
            std::iter::once(verdict).chain(behind.into_iter().map(|row| row.json))
        })
        .collect()
}
