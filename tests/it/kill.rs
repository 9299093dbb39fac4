//! Killed at any moment (SIGKILL): what was printed is stored, and the recording can be read.
//! The page cache survives a kill, so this shows order and atomicity, not that the disk has it; `tests/power` shows that.
//!
//! `CLIPLEAD_KILLS=300` sets how often it is killed under load, `CLIPLEAD_SEED` the seed.

use std::io::Write as _;
use std::process::ChildStdin;

use checks::{Daemon, Folder, Invocation, Rng};
use serde_json::json;

use crate::site;

/// Times it is killed.
const KILLS: u64 = 8;

/// Invariant I6: a verdict that was shown is stored, 0 lost, 0 corrupt.
#[test]
fn printed_is_stored() {
    let mut total = 0;
    for seed in 0..KILLS {
        // Some place between the 1st and the 23rd verdict; 7 is a generator modulo 23.
        let after = (0..=seed).fold(1, |n, _| n * 7 % 23);
        total += kill_after(seed, usize::try_from(after).unwrap());
    }
    assert!(total as u64 >= KILLS, "{total} verdicts in {KILLS} runs");
}

fn kill_after(seed: u64, verdicts: usize) -> usize {
    let folder = Folder::new("kill");
    let recording = folder.join("visit.jsonl").display().to_string();
    let site = site::write(&folder, site::TYPED, 1);
    let mut daemon = Daemon::run(&site, &["--record", &recording]);
    let page = daemon.page();
    page.confirm(&site::HOLD_POINTS);
    for number in 0..verdicts {
        if number > 0 {
            page.done(&json!({"do": "again"}));
        }
        daemon.type_line(&format!("capacitance=12.{number:02}uF; 1.9% + 2"));
        daemon.wait_data(number + 1);
    }
    // One more is on its way when it is killed: before, in or behind its commit.
    page.done(&json!({"do": "again"}));
    daemon.type_line("capacitance=11.02uF; 1.9% + 2");
    let printed = daemon.kill();

    let stored = site::stored(&folder.join("history.sqlite"));
    assert!(printed.len() >= verdicts, "seed {seed}");
    assert!(
        stored.len() <= printed.len() + 1,
        "seed {seed}: {} stored, {} printed",
        stored.len(),
        printed.len()
    );
    assert_eq!(stored.get(..printed.len()), Some(&printed[..]), "seed {seed}: printed but not stored");

    // The recording is flushed behind each verdict's line: at most the last one is missing.
    let replayed = Invocation::new(["replay", &recording, "--format", "json"]).run();
    assert!(matches!(replayed.code, Some(0 | 1)), "seed {seed}: {replayed:?}");
    let again = replayed.lines();
    assert!(
        again.len() + 1 >= printed.len() && again.len() <= stored.len() + 1,
        "seed {seed}: {}",
        again.len()
    );
    let both = again.len().min(stored.len());
    assert_eq!(again[..both], stored[..both], "seed {seed}: the replay differs");
    printed.len()
}

/// Kills after which a new history begins; before, the program recovers a file that was killed already.
const KILLS_OF_A_FILE: u64 = 5;

/// Lines come as fast as the program takes them, and it is killed at a random one of its verdicts: each that was printed
/// is stored, byte for byte.
#[test]
fn printed_under_load_is_stored() {
    let setting = |name: &str, default: u64| -> u64 {
        std::env::var(name).map_or(default, |text| text.parse().expect("a number"))
    };
    let (kills, seed) = (setting("CLIPLEAD_KILLS", 25), setting("CLIPLEAD_SEED", 20_260_301));
    let mut rng = Rng(seed);
    let (mut folder, mut before, mut total, mut unseen) = (Folder::new("load"), 0, 0, 0);
    for kill in 0..kills {
        if kill % KILLS_OF_A_FILE == 0 {
            (folder, before) = (Folder::new("load"), 0);
        }
        let printed = kill_under_load(&folder, 1 + rng.below(60));
        let stored = site::stored(&folder.join("history.sqlite"));
        let of_this_run = stored.get(before..).unwrap_or_default();
        assert_eq!(
            of_this_run.get(..printed.len()),
            Some(&printed[..]),
            "seed {seed}, kill {kill}: {} stored, so printed but not stored",
            of_this_run.len()
        );
        total += printed.len();
        unseen += of_this_run.len() - printed.len();
        before = stored.len();
    }
    println!("{kills} kills, {total} printed, 0 lost; {unseen} stored and not yet printed (seed {seed})");
}

fn kill_under_load(folder: &Folder, verdicts: usize) -> Vec<String> {
    let site = site::write(folder, site::TYPED, 1);
    let mut daemon = Daemon::run(&site, &[]);
    let stdin = daemon.take_stdin();
    let feeder = std::thread::spawn(move || type_without_end(stdin));
    daemon.wait_data(verdicts);
    let printed = daemon.kill();
    feeder.join().expect("it ends with the program");
    printed
}

/// Values and `again` in turn, until nobody reads any more.
fn type_without_end(mut stdin: ChildStdin) {
    let confirmed = site::HOLD_POINTS.map(|name| format!("confirm {name}\n")).concat();
    let values: String = (0..100).map(|n| format!("capacitance=12.{n:02}uF; 1.9% + 2\nagain\n")).collect();
    let mut refused = stdin.write_all(confirmed.as_bytes());
    while refused.is_ok() {
        refused = stdin.write_all(values.as_bytes());
    }
}
