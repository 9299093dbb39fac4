//! Kill -9 at random points: a child commits, then shows; whatever it showed is in the file.
//! It does not test a power cut: the page cache outlives a killed process.
//!
//! `HISTORY_KILLS=1000` sets the number of kills. `HISTORY_KILL_CONTROL=1` lets the child show before its commit; then
//! the same check must see a loss, which shows that it can.

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;

use super::{Folder, Rng, child, round, verdict};
use crate::{History, HistoryError, RawReading, Verdict, VisitEvent};

const CHILD: &str = "tests::kill::every_shown_id_is_stored_without_a_kill";

/// What the child does: verdicts, raw readings and events of a visit, `count` of each, an id shown for each verdict and event.
pub(super) fn workload(
    path: &Path,
    show_first: bool,
    count: u32,
    out: &mut impl Write,
) -> Result<(), HistoryError> {
    let mut history = History::open(path)?;
    let uid = format!("round-{}", history.reader().rounds()?.len());
    let id = history.begin_round(&round(&uid))?;
    for check in 1..=count {
        let event = event(&uid, check);
        let shown = format!("shown {}\n", event.uid);
        if show_first {
            out.write_all(shown.as_bytes()).unwrap();
        }
        history.commit_visit_event(id, &event)?;
        if !show_first {
            out.write_all(shown.as_bytes()).unwrap();
        }
        let v = Verdict { uid: format!("{uid}/{check}"), ..verdict(check) };
        let shown = format!("shown {}\n", v.uid);
        let raw: Vec<RawReading> = (0..5).map(|n| raw_reading(v.at_us + n)).collect();
        history.append_readings(id, &raw)?;
        if show_first {
            out.write_all(shown.as_bytes()).unwrap();
        }
        let committed = history.commit_verdict(id, &v)?;
        if !show_first {
            out.write_all(format!("shown {}\n", committed.uid).as_bytes()).unwrap();
        }
        out.flush().unwrap();
    }
    Ok(())
}

/// A visit of three events for each three checks.
fn event(round: &str, check: u32) -> VisitEvent {
    let kind = ["opened", "finding", "closed"][(check as usize - 1) % 3];
    VisitEvent {
        uid: format!("{round}/event {check}"),
        visit: (kind == "opened").then(|| format!("{round}/visit {check}")),
        unit_tag: format!("unit of {round}"),
        machine: "this machine".to_owned(),
        kind: kind.to_owned(),
        as_left: (kind == "finding").then_some(false),
        ..VisitEvent::default()
    }
}

fn raw_reading(at_us: u64) -> RawReading {
    RawReading {
        device: "meter".to_owned(),
        at_us,
        value: Some(39.4),
        unit: "uF".to_owned(),
        standard_uncertainty: Some(0.45),
        shown: Some("39.40".to_owned()),
        state: "value".to_owned(),
    }
}

/// The id in a line of the child; the test harness may have written before it on the same line.
fn shown_in(line: &str) -> Option<String> {
    line.split_once("shown ").map(|(_, uid)| uid.trim_end().to_owned())
}

pub(super) fn stored_in(history: &History) -> BTreeSet<String> {
    let reader = history.reader();
    let events = reader.visits().unwrap().into_iter().flat_map(|of| reader.visit_events(&of.uid).unwrap());
    let verdicts = reader.recent(u32::MAX).unwrap().into_iter().map(|v| v.uid);
    verdicts.chain(events.map(|stored| stored.event.uid)).collect()
}

/// By itself: every shown id is stored. With a role in the environment: the child of the tests below and in `failing`.
#[test]
fn every_shown_id_is_stored_without_a_kill() {
    if let (Ok(role), Ok(path)) = (std::env::var("HISTORY_TEST_ROLE"), std::env::var("HISTORY_TEST_FILE")) {
        // Ends at the latest when nobody reads any more.
        let count = if role == "sixty" { 60 } else { u32::MAX };
        match workload(Path::new(&path), role == "show first", count, &mut std::io::stdout().lock()) {
            Ok(()) => println!("finished"),
            Err(error) => println!("refused {error:?}"),
        }
        return;
    }
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let mut out = Vec::new();
    workload(&path, false, 40, &mut out).unwrap();
    let shown: BTreeSet<String> = String::from_utf8(out).unwrap().lines().filter_map(shown_in).collect();
    assert_eq!(shown.len(), 80);
    assert_eq!(stored_in(&History::open(&path).unwrap()), shown);
}

#[test]
#[cfg(unix)]
fn what_was_shown_survives_a_kill() {
    let kills: u32 = std::env::var("HISTORY_KILLS").map_or(20, |n| n.parse().unwrap());
    let control = std::env::var("HISTORY_KILL_CONTROL").is_ok();
    let seed: u64 = std::env::var("HISTORY_SEED").map_or(20_260_301, |n| n.parse().unwrap());
    let mut rng = Rng(seed);
    let (mut shown_total, mut lost_total) = (0, 0);
    let mut folder = Folder::new();
    for kill in 0..kills {
        // A file is killed ten times over, then a new one: recovery from recovered files and from new ones.
        if kill % 10 == 0 {
            folder = Folder::new();
        }
        let path = folder.file("history.sqlite");
        let role = if control { "show first" } else { "commit first" };
        let mut process = child(&std::env::current_exe().unwrap(), CHILD, role, &path).spawn().unwrap();
        let mut lines = BufReader::new(process.stdout.take().unwrap()).lines();
        let mut shown = BTreeSet::new();
        let wanted = 1 + rng.below(60);
        while shown.len() < wanted {
            let line = lines.next().expect("the child ended by itself").unwrap();
            shown.extend(shown_in(&line));
        }
        for _ in 0..rng.below(200_000) {
            std::hint::spin_loop();
        }
        process.kill().unwrap();
        process.wait().unwrap();
        shown.extend(lines.map_while(Result::ok).filter_map(|line| shown_in(&line)));

        let history = History::open(&path).unwrap();
        history.reader().integrity().unwrap_or_else(|e| panic!("seed {seed}, kill {kill}: {e}"));
        let stored = stored_in(&history);
        let lost: Vec<_> = shown.difference(&stored).collect();
        assert!(control || lost.is_empty(), "seed {seed}, kill {kill}: lost {lost:?}");
        shown_total += shown.len();
        lost_total += lost.len();
    }
    println!("{kills} kills, {shown_total} shown, {lost_total} lost (control: {control}, seed {seed})");
    assert_eq!(control, lost_total > 0, "the control must lose some, the real order none");
}
