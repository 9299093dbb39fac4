//! Killed at any moment (SIGKILL): what was printed is stored, and the recording can be read.
//! The page cache survives a kill, so this shows order and atomicity, not that the disk has it (reliability 2).

use checks::{Daemon, Folder, Invocation};
use serde_json::json;

use crate::site;

/// Times it is killed.
const KILLS: u64 = 8;

/// Reliability 1: a verdict that was shown is stored, 0 lost, 0 corrupt. Invariant 6.
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
