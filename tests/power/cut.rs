//! Power cuts: the writes and flushes of real commits are recorded, the disk is rebuilt as a cut may leave it at any
//! point, and the history is opened on it. A verdict whose commit had returned must be there, whole, and so must be the figure that
//! followed it; nothing is damaged.
//!
//! `POWER_CUTS=5000` sets the number of cuts for each run, `POWER_SEED` the seed.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

use checks::{Disk, Event, Fate, Folder, Rng, lay_out, trace};
use history::{
    FollowUp, History, HistoryError, HoldPoint, Judgement, NewRound, PlateValue, RawReading, Verdict,
    VerdictReading, VisitEvent,
};

const CHILD: &str = "cut::the_writer_by_itself";
/// Verdicts in each of the two rounds: enough that the log is moved to the file while the round runs.
const VERDICTS: u32 = 75;
/// A figure follows every fifth verdict.
const FIGURE_EVERY: u32 = 5;
/// What is committed and said in each of the rounds.
const SAID: u32 = VERDICTS + 2 * (VERDICTS / FIGURE_EVERY);
/// Raw readings before every second verdict.
const READINGS: u64 = 200;
/// Raw readings of a round.
const READINGS_OF_ROUND: u64 = READINGS * (VERDICTS as u64).div_ceil(2);
/// Written by the first released form of the file: four verdicts and two raw readings.
const VERSION_1: &[u8] = include_bytes!("../../crates/history/src/tests/frozen/version-1.db");
const FILE: &str = "history.sqlite";

pub(crate) fn round(number: u32) -> NewRound {
    NewRound {
        uid: format!("round-{number}"),
        site: "Mill Yard".to_owned(),
        started_wall_ms: 1_790_000_000_000,
        rules_hash: "5f0c".repeat(16),
        decision_rule: "guarded, w = U (k = 2)".to_owned(),
        program_version: "0.1.0".to_owned(),
    }
}

/// A verdict that its id alone determines.
pub(crate) fn verdict(round: u32, check: u32) -> Verdict {
    let value = f64::from(check).mul_add(0.01, 39.0);
    let word = "pass".to_owned();
    let (unit, name, source) =
        ("uF".to_owned(), "capacitance".to_owned(), "unit nameplate; 6 % when none is printed".to_owned());
    let mut rng = Rng(u64::from(round * 1_000 + check));
    let padding: String = (0..60).map(|_| format!("{:016x}", rng.bits())).collect();
    let mut hold_points = Vec::new();
    for name in ["locked out", "leads proved", "proved dead", "discharged", "one lead off"] {
        let how = Some("confirmed".to_owned());
        hold_points.push(HoldPoint { name: name.to_owned(), shown: true, how, at_us: Some(1_000_000) });
    }
    Verdict {
        visit: None,
        uid: format!("verdict-{round}-{check}"),
        seq: check.into(),
        check,
        unit_tag: format!("RTU-0{}", check % 7),
        component: format!("fan {} run capacitor", check % 5),
        rule: "run-capacitor".to_owned(),
        title: "Run capacitor".to_owned(),
        rule_hash: "ab12".repeat(16),
        word: word.clone(),
        reason: None,
        advice: Some("good".to_owned()),
        decision_rule: "guarded, w = U (k = 2)".to_owned(),
        at_us: u64::from(check) * 1_000_000,
        wall_ms: 1_790_000_000_000 + i64::from(check) * 1_000,
        readings: vec![VerdictReading {
            point: name.clone(),
            label: "Capacitance".to_owned(),
            device: "meter".to_owned(),
            value: Some(value),
            unit: unit.clone(),
            standard_uncertainty: Some(0.45),
            shown: Some(format!("{value:.2}")),
            count: 5,
            settled: true,
            at_least: None,
            at_most: None,
            at_us: u64::from(check) * 1_000_000,
        }],
        judgements: vec![Judgement {
            name: name.clone(),
            word,
            value: Some(value),
            unit: unit.clone(),
            low: Some(37.6),
            high: Some(42.4),
            standard_uncertainty: Some(0.45),
            probability_of_conformance: Some(0.9997),
            guard: Some(0.9),
            meter_too_coarse: false,
            advice: Some("good".to_owned()),
            source: source.clone(),
            source_class: "nameplate".to_owned(),
        }],
        plate: vec![PlateValue { name, value: 40.0, unit, source }],
        hold_points,
        json: format!("{{\"check\": {check}, \"padding\": \"{padding}\"}}"),
    }
}

/// The figure of such a verdict.
fn figure(round: u32, check: u32) -> FollowUp {
    let of = verdict(round, check);
    FollowUp {
        uid: format!("figure-{round}-{check}"),
        verdict_uid: of.uid,
        seq: check.into(),
        kind: "completed".to_owned(),
        word: None,
        reading: of.readings.into_iter().next().expect("it has one"),
        at_us: of.at_us + 400_000,
        wall_ms: of.wall_ms + 400,
        json: format!("{{\"event\": \"completed\", \"check\": {check}}}"),
    }
}

/// What happens in a visit behind the figure of this check: a visit of three events each time.
fn event(round: u32, check: u32) -> VisitEvent {
    let kind = ["opened", "finding", "closed"][(check / FIGURE_EVERY - 1) as usize % 3];
    VisitEvent {
        uid: format!("event-{round}-{check}"),
        visit: (kind == "opened").then(|| format!("visit-{round}-{check}")),
        unit_tag: format!("RTU-{round}"),
        machine: "this machine".to_owned(),
        kind: kind.to_owned(),
        text: Some("coil fouled".to_owned()),
        as_left: (kind == "finding").then_some(false),
        at_us: u64::from(check) * 1_000_000,
        wall_ms: 1_790_000_000_000,
        ..VisitEvent::default()
    }
}

fn reading(n: u64) -> RawReading {
    RawReading {
        device: format!("meter {}", n % 4),
        at_us: n * 25_000,
        value: Some(39.4),
        unit: "uF".to_owned(),
        standard_uncertainty: Some(0.45),
        shown: Some("39.40".to_owned()),
        state: "value".to_owned(),
    }
}

/// Two rounds, the file closed between them; says the id of each verdict when its commit has returned.
fn write(path: &Path, said: impl Fn(&str)) -> Result<(), HistoryError> {
    for number in 1..=2 {
        let mut history = History::open(path)?;
        let id = history.begin_round(&round(number))?;
        for check in 1..=VERDICTS {
            if check % 2 == 1 {
                let batch: Vec<RawReading> = (0..READINGS).map(reading).collect();
                history.append_readings(id, &batch)?;
            }
            said(&history.commit_verdict(id, &verdict(number, check))?.uid);
            if check % FIGURE_EVERY == 0 {
                let figure = figure(number, check);
                history.commit_follow_up(id, &figure)?;
                said(&figure.uid);
                let event = event(number, check);
                history.commit_visit_event(id, &event)?;
                said(&event.uid);
            }
        }
        history.end_round(id, 1_790_000_100_000)?;
    }
    Ok(())
}

/// By itself: all is stored without a cut. With a file in the environment: the program that is traced.
#[test]
fn the_writer_by_itself() {
    if let Ok(path) = std::env::var("POWER_TEST_FILE") {
        write(Path::new(&path), |uid| println!("committed {uid}.")).unwrap();
        return;
    }
    let folder = Folder::new("power");
    let path = folder.join(FILE);
    write(&path, |_| {}).unwrap();
    let history = History::open(&path).unwrap();
    assert_eq!(history.reader().integrity().unwrap(), u64::from(2 * VERDICTS));
}

/// What a run did to its files, from the first byte to the last.
struct Run {
    before: BTreeMap<String, Vec<u8>>,
    events: Vec<Event>,
}

fn record(folder: &Folder, before: BTreeMap<String, Vec<u8>>) -> Run {
    let inner = folder.join("disk");
    lay_out(&before, &inner);
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["--exact", CHILD, "--nocapture", "--test-threads=1"]);
    command.env("POWER_TEST_FILE", inner.join(FILE));
    let events = trace(&command, &inner, &folder.join("strace.log"));
    let run = Run { before, events };
    let count = |what: fn(&Event) -> bool| run.events.iter().filter(|event| what(event)).count();
    let shown = count(|event| committed(event).is_some());
    assert_eq!(shown, 2 * SAID as usize, "all commits were seen");
    let syncs = count(|event| matches!(event, Event::Sync(_)));
    println!("{} events, {shown} commits, {syncs} flushes of files", run.events.len());
    // Raw readings wait for the verdict: one flush a commit, and some for opening, closing and moving the log.
    assert!(syncs < 2 * SAID as usize + 40, "{syncs} flushes");
    // Whether the log was moved to the file in the middle of the first round, so that a cut can fall there.
    let moved = run
        .events
        .iter()
        .skip_while(|event| committed(event).is_none())
        .take_while(|event| committed(event).as_deref() != Some(&*format!("verdict-1-{VERDICTS}")))
        .any(|event| matches!(event, Event::Write(name, ..) if name == FILE));
    assert!(moved, "the log was not moved to the file while the round ran");
    run
}

fn committed(event: &Event) -> Option<String> {
    let Event::Said(text) = event else { return None };
    Some(text.split_once("committed ")?.1.split_once('.')?.0.to_owned())
}

/// What a cut left.
#[derive(Default)]
struct Tally {
    cuts: usize,
    committed: usize,
    lost: usize,
    damaged: usize,
}

impl Run {
    /// Cuts the power `cuts` times at any point; `hears` says which flushes the disk obeys.
    fn cut(&self, cuts: usize, seed: u64, folder: &Folder, hears: fn(&Event) -> bool) -> Tally {
        let mut rng = Rng(seed);
        let borders: Vec<usize> = (0..self.events.len())
            .filter(|&at| !matches!(self.events[at], Event::Write(..) | Event::Resize(..)))
            .collect();
        // Every second cut falls right before a flush or a word on stdout returns, or right behind it.
        let mut points: Vec<usize> = (0..cuts)
            .map(|n| match n % 2 {
                0 => rng.below(self.events.len() + 1),
                _ => borders[rng.below(borders.len())] + rng.below(2),
            })
            .collect();
        points.sort_unstable();
        let mut disk = Disk::with(self.before.clone());
        let mut shown = BTreeSet::new();
        let mut tally = Tally::default();
        let mut done = 0;
        for (n, point) in points.into_iter().enumerate() {
            for event in &self.events[done..point] {
                if hears(event) {
                    disk.step(event);
                }
                shown.extend(committed(event));
            }
            done = point;
            let fate = Fate::ALL[n % Fate::ALL.len()];
            let mut files = disk.after_cut(fate, &mut rng);
            // The index of the log is mapped memory that nobody flushes: whatever stands there must not count.
            if rng.below(2) == 0 {
                files.insert(format!("{FILE}-shm"), (0..32_768).map(|n| (n % 251) as u8).collect());
            }
            let place = folder.join("cut");
            lay_out(&files, &place);
            tally.cuts += 1;
            tally.committed += shown.len();
            match lost(&place.join(FILE), &shown, !self.before.is_empty()) {
                Ok(lost) => tally.lost += lost,
                Err(why) => {
                    println!("seed {seed}, cut {n} at event {point}, {fate:?}: {why}");
                    tally.damaged += 1;
                }
            }
        }
        tally
    }
}

/// Opens what a cut left, checks all of it, and counts what was committed and is not there.
fn lost(path: &Path, shown: &BTreeSet<String>, from_version_1: bool) -> Result<usize, String> {
    let history = History::open(path).map_err(|error| error.to_string())?;
    let reader = history.reader();
    let sound = reader.integrity().map_err(|error| error.to_string())?;
    let stored: BTreeMap<String, history::VerdictId> =
        reader.recent(u32::MAX).unwrap().into_iter().map(|v| (v.uid, v.id)).collect();
    let (mut new, mut figures) = (0, BTreeSet::new());
    for number in 1..=2 {
        for check in 1..=VERDICTS {
            let expected = verdict(number, check);
            let Some(id) = stored.get(&expected.uid) else { continue };
            new += 1;
            let found = reader.verdict(*id).unwrap().unwrap();
            if (&found.verdict, &found.round) != (&expected, &round(number)) {
                return Err(format!("{} is another than was committed", expected.uid));
            }
            let behind = reader.follow_ups(*id).unwrap();
            if behind.iter().any(|found| *found != figure(number, check)) {
                return Err(format!("what follows {} is another than was committed", expected.uid));
            }
            figures.extend(behind.into_iter().map(|found| found.uid));
        }
    }
    let mut events = BTreeSet::new();
    for visit in reader.visits().unwrap() {
        for stored in reader.visit_events(&visit.uid).map_err(|error| error.to_string())? {
            let number = |part: Option<&str>| part.and_then(|part| part.parse().ok()).unwrap_or_default();
            let mut parts = stored.event.uid.split('-').skip(1);
            if stored.event != event(number(parts.next()), number(parts.next())) {
                return Err(format!("{} is another than was committed", stored.event.uid));
            }
            events.insert(stored.event.uid);
        }
    }
    let old = if from_version_1 { 4 } else { 0 };
    if sound != new + old {
        return Err(format!("{sound} verdicts, of them {new} of this run; {old} were there before"));
    }
    for round in reader.rounds().unwrap() {
        let readings = reader.reading_count(round.id).unwrap();
        let all = if round.new.uid.starts_with("round-") { READINGS_OF_ROUND } else { 2 };
        if readings > all || (all > 2 && readings % READINGS != 0) {
            return Err(format!("{readings} raw readings in {}", round.new.uid));
        }
    }
    Ok(shown
        .iter()
        .filter(|uid| !stored.contains_key(*uid) && !figures.contains(*uid) && !events.contains(*uid))
        .count())
}

fn setting(name: &str, default: u64) -> u64 {
    std::env::var(name).map_or(default, |text| text.parse().expect("a number"))
}

fn nothing_is_lost(name: &str, before: BTreeMap<String, Vec<u8>>) {
    let folder = Folder::new(name);
    let run = record(&folder, before);
    let (cuts, seed) = (setting("POWER_CUTS", 160), setting("POWER_SEED", 20_260_301));
    let all = run.cut(usize::try_from(cuts).unwrap(), seed, &folder, |_| true);
    println!(
        "{name}: {} cuts, {} committed before them, {} lost, {} damaged",
        all.cuts, all.committed, all.lost, all.damaged
    );
    assert_eq!((all.lost, all.damaged), (0, 0), "seed {seed}");

    // The control: the same writes on a disk that flushes the log no more than it likes. The check must see it.
    let deaf = |event: &Event| !matches!(event, Event::Sync(file) if file.ends_with("-wal"));
    let control = run.cut(40, seed, &folder, deaf);
    println!(
        "{name}, control without flushes of the log: {} cuts, {} committed before them, {} lost, {} damaged",
        control.cuts, control.committed, control.lost, control.damaged
    );
    assert!(control.lost > 0, "a disk that does not flush loses verdicts, and this check does not see it");
}

#[test]
fn a_power_cut_loses_no_verdict_of_a_new_file() {
    nothing_is_lost("new file", BTreeMap::new());
}

#[test]
fn a_power_cut_loses_no_verdict_while_an_older_file_is_brought_up_to_date() {
    nothing_is_lost("older file", BTreeMap::from([(FILE.to_owned(), VERSION_1.to_vec())]));
}
