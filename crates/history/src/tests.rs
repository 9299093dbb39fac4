//! Tests of the history: what is committed is read back, what was shown survives a kill, what fails says so.
//! Sample data is a scenario of our own.

mod corrupt;
mod failing;
mod follow_up;
mod frozen;
mod kill;
mod plain;
mod property;
mod visits;
#[cfg(target_os = "linux")]
mod written;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use crate::{HoldPoint, Judgement, NewRound, PlateValue, Verdict, VerdictReading};

/// A folder of its own for one test, removed at the end.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name = format!("history-test-{}-{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(name);
        // Left over from a killed run with the same process number.
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// SplitMix64 (Steele, Lea, Flood 2014): seeded, the same everywhere.
struct Rng(u64);

impl Rng {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.next() % (bound as u64)).unwrap()
    }
}

fn round(uid: &str) -> NewRound {
    NewRound {
        uid: uid.to_owned(),
        site: "Mill Yard".to_owned(),
        started_wall_ms: 1_790_000_000_000,
        rules_hash: "5f0c".repeat(16),
        decision_rule: "guarded, w = U (k = 2)".to_owned(),
        program_version: "0.1.0".to_owned(),
    }
}

fn verdict(check: u32) -> Verdict {
    let value = f64::from(check).mul_add(0.01, 39.0);
    Verdict {
        uid: format!("v-{check}"),
        seq: check.into(),
        visit: None,
        check,
        unit_tag: "RTU-07".to_owned(),
        component: "condenser fan 1 run capacitor".to_owned(),
        rule: "run-capacitor".to_owned(),
        title: "Run capacitor".to_owned(),
        rule_hash: "ab12".repeat(16),
        word: "pass".to_owned(),
        reason: None,
        advice: Some("good".to_owned()),
        decision_rule: "guarded, w = U (k = 2)".to_owned(),
        at_us: u64::from(check) * 1_000_000,
        wall_ms: 1_790_000_000_000 + i64::from(check) * 1_000,
        readings: vec![VerdictReading {
            point: "capacitance".to_owned(),
            label: "Capacitance".to_owned(),
            device: "meter".to_owned(),
            value: Some(value),
            unit: "uF".to_owned(),
            standard_uncertainty: Some(0.45),
            shown: Some(format!("{value:.2}")),
            count: 5,
            settled: true,
            at_least: Some(value - 0.05),
            at_most: Some(value + 0.05),
            at_us: u64::from(check) * 1_000_000 - 100,
        }],
        judgements: vec![Judgement {
            name: "capacitance".to_owned(),
            word: "pass".to_owned(),
            value: Some(value),
            unit: "uF".to_owned(),
            low: Some(37.6),
            high: Some(42.4),
            standard_uncertainty: Some(0.45),
            probability_of_conformance: Some(0.9997),
            guard: Some(0.9),
            meter_too_coarse: false,
            advice: Some("good".to_owned()),
            source: "unit nameplate; 6 % when none is printed".to_owned(),
            source_class: "nameplate".to_owned(),
        }],
        plate: vec![PlateValue {
            name: "capacitance".to_owned(),
            value: 40.0,
            unit: "uF".to_owned(),
            source: "unit nameplate".to_owned(),
        }],
        hold_points: vec![
            HoldPoint {
                name: "locked out".to_owned(),
                shown: true,
                how: Some("confirmed".to_owned()),
                at_us: Some(1_000_000),
            },
            HoldPoint { name: "discharged".to_owned(), shown: false, how: None, at_us: None },
        ],
        json: format!("{{\"verdict\": \"pass\", \"check\": {check}}}"),
    }
}

fn no_verdict(check: u32) -> Verdict {
    Verdict {
        word: "no verdict".to_owned(),
        reason: Some("hold point 'discharged' is open".to_owned()),
        advice: None,
        readings: vec![],
        judgements: vec![],
        ..verdict(check)
    }
}

/// Runs this test binary again for one test of it, as a child with `role` in its environment.
fn child(binary: &Path, test: &str, role: &str, path: &Path) -> std::process::Command {
    let mut command = std::process::Command::new(binary);
    command.args(["--exact", test, "--nocapture", "--test-threads=1"]);
    command.env("HISTORY_TEST_ROLE", role).env("HISTORY_TEST_FILE", path);
    command.stdin(std::process::Stdio::null()).stdout(std::process::Stdio::piped());
    command
}
