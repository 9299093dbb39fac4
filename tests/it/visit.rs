//! A visit outlives the program: killed at every event (SIGKILL) and started again, what is owed, found and judged is there, once, and
//! every hold point is open. A resumed day replays; another machine may take a visit over.
//! The page cache survives a kill, so this shows order and atomicity, not that the disk has it; `tests/power` shows that.

use std::path::{Path, PathBuf};

use checks::{Daemon, Folder, Invocation, Stream};
use history::{Reader, StoredVisitEvent, Visit};

use crate::site;

const SITE: &str = "Quarry Lane (made up)";

/// Two capacitors of one unit and one of another, as one machine has them.
fn write(folder: &Folder, machine: &str) -> PathBuf {
    let mut text = format!(
        "site = \"{SITE}\"\nmachine = \"{machine}\"\nhistory = \"history.sqlite\"\ndashboard = \"127.0.0.1:0\"\n{}",
        site::TYPED
    );
    for (unit, component) in [("RTU-01", "fan 1"), ("RTU-01", "fan 2"), ("RTU-02", "fan 1")] {
        text.push_str(&format!(
            "[[check]]\nunit = \"{unit}\"\ncomponent = \"{component}\"\nrule = \"run-capacitor\"\n\
             plate = {{ capacitance = \"12.5 uF\", tolerance = \"6 %\" }}\n"
        ));
    }
    folder.write(&format!("{machine}.toml"), text)
}

/// What must be there after an event, and before the next one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Stands {
    /// Visits begun, and those that are open.
    visits: usize,
    open: usize,
    owed: usize,
    findings: usize,
    skipped: usize,
    verdicts: usize,
}

/// What is typed, what is told when it is done, and what it adds.
type Step = (&'static str, Stream, &'static str, fn(&mut Stands));

const STEPS: [Step; 12] = [
    ("confirm locked out", Stream::Err, "visit at RTU-01 begins", |s| (s.visits, s.open) = (1, 1)),
    ("confirm leads proved", Stream::Err, "leads proved: confirmed", |_| ()),
    ("confirm proved dead", Stream::Err, "proved dead: confirmed", |_| ()),
    ("confirm discharged", Stream::Err, "discharged: confirmed", |_| ()),
    ("confirm one lead off", Stream::Err, "TO PUT BACK on RTU-01: fan 1", |s| s.owed = 1),
    ("finding coil fouled", Stream::Err, "as found, RTU-01 / fan 1: coil fouled", |s| s.findings = 1),
    ("capacitance=12.45uF; 1.9% + 2", Stream::Out, "\"verdict\":\"pass\"", |s| s.verdicts = 1),
    ("next\nskip no ladder", Stream::Err, "check 2 skipped: no ladder", |s| s.skipped = 1),
    ("as left door shut", Stream::Err, "as left, RTU-02 / fan 1: door shut", |s| {
        (s.visits, s.open, s.findings) = (2, 2, 2);
    }),
    ("pause\nresume\nunit RTU-01\nfinding it hums", Stream::Err, "RTU-01 / fan 2: it hums", |s| {
        s.findings = 3
    }),
    ("restored one lead off", Stream::Err, "put back on RTU-01: fan 1", |s| s.owed = 0),
    ("power back\nclose no gas today", Stream::Err, "visit at RTU-01 closed: no gas today", |s| s.open = 1),
];

/// What the history holds, sound throughout.
struct Kept {
    visits: Vec<Visit>,
    events: Vec<StoredVisitEvent>,
    verdicts: usize,
}

impl Kept {
    fn of(folder: &Folder) -> Self {
        let reader = Reader::open(&folder.join("history.sqlite")).expect("the history");
        let verdicts = reader.integrity().expect("a sound history");
        let visits = reader.visits().expect("the visits");
        let events = visits.iter().flat_map(|of| reader.visit_events(&of.uid).expect("its events")).collect();
        Self { visits, events, verdicts: usize::try_from(verdicts).unwrap() }
    }

    fn count(&self, kind: &str) -> usize {
        self.events.iter().filter(|stored| stored.event.kind == kind).count()
    }

    fn stands(&self) -> Stands {
        Stands {
            visits: self.count("opened"),
            open: self.visits.iter().filter(|visit| visit.closed_wall_ms.is_none()).count(),
            owed: self.count("owed") - self.count("restored"),
            findings: self.count("finding"),
            skipped: self.count("skipped"),
            verdicts: self.verdicts,
        }
    }

    /// Whether the first unit was locked out.
    fn locked_out(&self) -> bool {
        let of_unit = |stored: &&StoredVisitEvent| stored.event.unit_tag == "RTU-01";
        self.events.iter().filter(of_unit).any(|stored| stored.event.kind == "locked out")
    }
}

/// Starts again and looks: told at the start, on the page, in the history. Gives the new daemon.
fn look(site: &Path, folder: &Folder, stands: Stands, at: &str) -> Daemon {
    let before = Kept::of(folder);
    let resumed = before.visits.iter().filter(|visit| visit.closed_wall_ms.is_none()).count();
    let daemon = Daemon::run(site, &[]);
    let told = daemon.told();
    assert_eq!(told.matches("every hold point must be shown again").count(), resumed, "{at}: {told}");
    assert_eq!(told.matches("still to put back: fan 1: wires back on").count(), stands.owed, "{at}: {told}");
    let page = daemon.page();
    let view = page.view_until("a check", |view| view.pointer("/check/number").is_some());
    let hold_points = view["check"]["hold_points"].as_array().expect("hold points");
    assert_eq!(hold_points.len(), site::HOLD_POINTS.len());
    assert!(hold_points.iter().all(|of| of["state"] != "shown"), "{at}: {hold_points:?}");
    let unit = view["check"]["unit"].as_str().expect("a unit");
    let owed = view["owed"].as_array().map_or(0, Vec::len);
    assert_eq!(owed, if unit == "RTU-01" { stands.owed } else { 0 }, "{at}");
    if stands.verdicts > 0 && stands.open > 0 {
        assert!(told.contains("1 check(s) judged") || unit == "RTU-02", "{at}: {told}");
        assert_ne!((unit, &view["check"]["component"]), ("RTU-01", &"fan 1".into()), "{at}: judged already");
    }
    daemon
}

/// Killed behind each event in turn: all that was said is there, once.
#[test]
fn killed_at_every_event_a_visit_goes_on() {
    for until in 1..=STEPS.len() {
        let folder = Folder::new("visit");
        let site = write(&folder, "van 1");
        let mut daemon = Daemon::run(&site, &[]);
        let mut stands = Stands::default();
        for (lines, stream, done, adds) in &STEPS[..until] {
            daemon.type_line(lines);
            daemon.wait(*stream, done);
            adds(&mut stands);
        }
        let printed = daemon.kill().len();
        let at = format!("killed behind {:?}", STEPS[until - 1].2);
        assert_eq!(printed, stands.verdicts, "{at}");
        assert_eq!(Kept::of(&folder).stands(), stands, "{at}");
        let mut daemon = look(&site, &folder, stands, &at);
        if stands.open == 2 || (stands.open == 1 && until < STEPS.len()) {
            // The visit was locked out, so it does not close without a reason; that is remembered too.
            if Kept::of(&folder).locked_out() {
                daemon.type_line("unit RTU-01\nclose");
                daemon.wait(Stream::Err, "refused: RTU-01 stays open: ");
            }
        }
        drop(daemon.kill());
        // A second kill, and nothing is doubled.
        assert_eq!(Kept::of(&folder).stands(), stands, "{at}");
        drop(look(&site, &folder, stands, &at).kill());
    }
}

/// Everything is typed at once, and the kill comes at any moment: what was told is stored, in its order and once.
#[test]
fn killed_at_any_moment_what_was_told_is_there() {
    for (_, stream, done, _) in STEPS {
        let folder = Folder::new("visit-any");
        let site = write(&folder, "van 1");
        let mut daemon = Daemon::run(&site, &[]);
        let all: Vec<&str> = STEPS.iter().map(|step| step.0).collect();
        daemon.type_text(&format!("{}\n", all.join("\n")));
        daemon.wait(stream, done);
        daemon.signal("KILL");
        let (_, printed) = daemon.ended();
        let told = daemon.told();
        let kept = Kept::of(&folder).stands();
        let mut least = Stands::default();
        let (mut closed, mut restored, mut full) = (0, 0, Stands::default());
        for (_, stream, done, adds) in STEPS {
            adds(&mut full);
            let line = if stream == Stream::Out { printed.concat() } else { told.clone() };
            if line.contains(done) {
                adds(&mut least);
                closed += usize::from(done.contains("closed"));
                restored += usize::from(done.contains("put back on"));
            }
        }
        assert!(
            kept.verdicts >= least.verdicts && kept.verdicts <= full.verdicts,
            "{done}: {kept:?} {least:?}"
        );
        assert!(
            kept.findings >= least.findings && kept.findings <= full.findings,
            "{done}: {kept:?} {least:?}"
        );
        assert!(kept.skipped >= least.skipped && kept.visits >= least.visits, "{done}: {kept:?} {least:?}");
        assert!(kept.visits <= 2 && kept.skipped <= 1 && kept.owed <= 1, "{done}: {kept:?}");
        assert!(closed == 0 || kept.open == 1, "{done}: {kept:?}");
        assert!(restored == 0 || kept.owed == 0, "{done}: {kept:?}");
        drop(look(&site, &folder, kept, done).kill());
    }
}

/// Stopped at lunch and begun again: the second recording alone gives the verdicts of the afternoon.
#[test]
fn a_resumed_day_replays_to_the_same_verdicts() {
    let folder = Folder::new("visit-resumed");
    let site = write(&folder, "van 1");
    let confirmed = site::HOLD_POINTS.map(|name| format!("confirm {name}\n")).concat();
    let recording = |name: &str| folder.join(name).display().to_string();
    let (morning, afternoon) = (recording("morning.jsonl"), recording("afternoon.jsonl"));
    let mut daemon = Daemon::run(&site, &["--record", &morning]);
    daemon.type_line(&format!("{confirmed}capacitance=12.45uF; 1.9% + 2"));
    daemon.wait_data(1);
    daemon.signal("TERM");
    let (code, _) = daemon.ended();
    assert_eq!(code, Some(0));
    let told = daemon.told();
    assert!(told.contains("the next start goes on with the visit at RTU-01"), "{told}");
    assert!(told.contains("STILL TO PUT BACK on RTU-01: fan 1"), "{told}");

    let mut daemon = Daemon::run(&site, &["--record", &afternoon]);
    daemon.wait(Stream::Err, "check 1: RTU-01 / fan 2");
    daemon.type_line(&format!("{confirmed}capacitance=10.12uF; 1.9% + 2"));
    assert_eq!(site::words(&daemon.wait_data(1)), ["fail"]);
    daemon.type_line("restored fan 1: wires back on, each where it was, spades tight (one lead off)\nrestored one lead off");
    daemon.wait(Stream::Err, "put back on RTU-01: fan 2");
    let (code, printed) = daemon.terminate();
    assert_eq!((code, printed.len()), (Some(0), 1));
    let text = std::fs::read_to_string(folder.join("afternoon.jsonl")).expect("the recording");
    assert!(text.contains("\"event\":\"recalled\"") && text.contains("\"service\":\"locked out\""), "{text}");
    let replayed = Invocation::new(["replay", &afternoon, "--format", "json"]).run();
    assert_eq!(replayed.lines(), printed, "{replayed:?}");
    let verdicts = Kept::of(&folder).verdicts;
    assert_eq!(verdicts, 2);
}

/// Two machines share a history. Each has its own visit at the unit; one takes the other's over, with what it owes, and the other adds
/// nothing more to it.
#[test]
fn a_visit_is_taken_over_by_another_machine() {
    let folder = Folder::new("visit-taken");
    let (first, second) = (write(&folder, "van 1"), write(&folder, "van 2"));
    let confirmed = site::HOLD_POINTS.map(|name| format!("confirm {name}\n")).concat();
    let mut van_1 = Daemon::run(&first, &[]);
    van_1.type_line(&confirmed);
    van_1.wait(Stream::Err, "TO PUT BACK on RTU-01: fan 1");

    let mut van_2 = Daemon::run(&second, &[]);
    van_2.wait(Stream::Err, "RTU-01: a visit by \"van 1\" is open since");
    van_2.type_line("finding belt worn\ntake over RTU-01");
    van_2.wait(Stream::Err, "visit at RTU-01 begins");
    van_2.wait(
        Stream::Err,
        "refused: nothing to take over: a visit at RTU-01 is open here already; close it first",
    );
    van_2.type_line("close\ntake over rtu-01\nnext");
    let line = van_2.wait(Stream::Err, "RTU-01: visit open since");
    assert!(line.contains("still to put back: fan 1: wires back on"), "{line}");
    van_2.wait(Stream::Err, "check 2: RTU-01 / fan 1");
    let page = van_2.page();
    let view =
        page.view_until("what is owed", |view| view["owed"].as_array().is_some_and(|owed| owed.len() == 1));
    let hold_points = view["check"]["hold_points"].as_array().expect("hold points");
    assert!(hold_points.iter().all(|of| of["state"] != "shown"), "{hold_points:?}");
    van_2.type_line("restored one lead off");
    van_2.wait(Stream::Err, "put back on RTU-01: fan 1");

    van_1.type_line("finding coil fouled");
    van_1.wait(Stream::Err, "UNSAVED     as found, RTU-01 / fan 1: coil fouled");
    assert_eq!(van_1.terminate().0, Some(2), "not all of it is stored");
    assert_eq!(van_2.terminate().0, Some(0));

    let kept = Kept::of(&folder);
    let held: Vec<(&str, bool)> =
        kept.visits.iter().map(|visit| (visit.machine.as_str(), visit.closed_wall_ms.is_some())).collect();
    assert_eq!(held, [("van 2", false), ("van 2", true)]);
    let taken: Vec<_> = kept.events.iter().filter(|stored| stored.event.kind == "taken over").collect();
    let [taken] = taken[..] else { panic!("{taken:?}") };
    let by = (taken.event.text.as_deref(), taken.event.machine.as_str(), taken.event.by.as_deref());
    assert_eq!(by, (Some("van 1"), "van 2", Some("device typed")));
    assert_eq!((kept.count("restored"), kept.count("finding")), (1, 1));
}
