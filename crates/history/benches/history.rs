//! Bench of the history: how long a commit takes on this disk, how long opening takes with 100,000 verdicts in the
//! file. Set `HISTORY_BENCH_DIR` to the disk to measure (default: the folder for temporary files) and
//! `HISTORY_BENCH_VERDICTS` to another number. Does not judge the figures.

// A bench prints, and ends on an error; clocks are what it is for.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::indexing_slicing)]

use std::path::Path;
use std::time::Instant;

use history::{
    History, HistoryError, HoldPoint, Judgement, NewRound, PlateValue, RawReading, Reader, RoundId, Verdict,
    VerdictReading,
};

const COMMITS: u32 = 1_000;

fn main() {
    let dir = std::env::var_os("HISTORY_BENCH_DIR").map_or_else(std::env::temp_dir, Into::into);
    let verdicts =
        std::env::var("HISTORY_BENCH_VERDICTS").ok().and_then(|n| n.parse().ok()).unwrap_or(100_000);
    let folder = dir.join(format!("history-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let result = measure(&folder.join("history.sqlite"), verdicts);
    std::fs::remove_dir_all(&folder).unwrap();
    result.unwrap();
}

fn measure(path: &Path, verdicts: u32) -> Result<(), HistoryError> {
    println!("on {}", path.display());
    let started = Instant::now();
    let mut history = History::open(path)?;
    println!("open, new file                   {:>9.2} ms", ms(started));
    let round = history.begin_round(&begin())?;

    let mut commits: Vec<f64> = Vec::new();
    for check in 1..=COMMITS {
        let verdict = verdict(check);
        let started = Instant::now();
        history.commit_verdict(round, &verdict)?;
        commits.push(ms(started));
    }
    report("commit_verdict", commits);

    let batch: Vec<RawReading> = (0..40).map(raw_reading).collect();
    let mut appends: Vec<f64> = Vec::new();
    for _ in 0..200 {
        let started = Instant::now();
        history.append_readings(round, &batch)?;
        appends.push(ms(started));
    }
    report("append_readings, 40", appends);

    fill(&mut history, round, COMMITS, verdicts)?;
    drop(history);
    let mut opens: Vec<f64> = Vec::new();
    for _ in 0..50 {
        let started = Instant::now();
        let history = History::open(path)?;
        opens.push(ms(started));
        drop(history);
    }
    let bytes = std::fs::metadata(path).map_or(0, |meta| meta.len());
    let per_verdict = bytes / u64::from(verdicts);
    println!("{verdicts} verdicts, {} MiB, {per_verdict} bytes each", bytes >> 20);
    report("open", opens);

    let reader = Reader::open(path)?;
    let started = Instant::now();
    let found = reader.trend("Mill Yard", "RTU-07", "component 7", "capacitance", 1_000)?.len();
    println!("trend, {found:>5} points              {:>9.2} ms", ms(started));
    let started = Instant::now();
    let found = reader.recent(20)?.len();
    println!("recent, {found:>4} verdicts           {:>9.2} ms", ms(started));
    let started = Instant::now();
    let checked = reader.integrity()?;
    println!("integrity, {checked:>6} verdicts      {:>9.0} ms", ms(started));
    Ok(())
}

/// The rest of the verdicts, 1,000 to a transaction.
fn fill(history: &mut History, round: RoundId, from: u32, to: u32) -> Result<(), HistoryError> {
    let rest: Vec<u32> = (from + 1..=to).collect();
    let started = Instant::now();
    for checks in rest.chunks(1_000) {
        let verdicts: Vec<Verdict> = checks.iter().map(|&check| verdict(check)).collect();
        history.commit_verdicts(round, &verdicts)?;
    }
    println!(
        "commit_verdicts, 1,000 together: {:>8.3} ms a verdict",
        ms(started) / f64::from(to - from).max(1.0)
    );
    Ok(())
}

fn begin() -> NewRound {
    NewRound {
        uid: "018f3c1e-0000-7000-8000-000000000001".to_owned(),
        site: "Mill Yard".to_owned(),
        started_wall_ms: 1_790_000_000_000,
        rules_hash: "5f0c".repeat(16),
        decision_rule: "guarded, w = U (k = 2)".to_owned(),
        program_version: "0.1.0".to_owned(),
    }
}

fn verdict(check: u32) -> Verdict {
    let value = 39.0 + f64::from(check % 100) * 0.01;
    let hold_points = ["locked out", "proved dead", "discharged", "one lead off", "leads proved"];
    Verdict {
        visit: None,
        uid: format!("018f3c1e-0000-7000-8000-{check:012}"),
        seq: check.into(),
        check,
        unit_tag: "RTU-07".to_owned(),
        component: format!("component {}", check % 100),
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
            at_least: None,
            at_most: None,
            at_us: u64::from(check) * 1_000_000,
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
        plate: ["capacitance", "tolerance"].map(plate_value).to_vec(),
        hold_points: hold_points.map(hold_point).to_vec(),
        // As long as the verdict object of a run capacitor.
        json: format!("{{\"check\": {check}, \"padding\": \"{}\"}}", "x".repeat(1_500)),
    }
}

fn plate_value(name: &str) -> PlateValue {
    PlateValue {
        name: name.to_owned(),
        value: 40.0,
        unit: "uF".to_owned(),
        source: "unit nameplate".to_owned(),
    }
}

fn hold_point(name: &str) -> HoldPoint {
    let how = Some("confirmed".to_owned());
    HoldPoint { name: name.to_owned(), shown: true, how, at_us: Some(1_000_000) }
}

fn raw_reading(n: u64) -> RawReading {
    RawReading {
        device: "meter".to_owned(),
        at_us: n * 100_000,
        value: Some(39.4),
        unit: "uF".to_owned(),
        standard_uncertainty: Some(0.45),
        shown: Some("39.40".to_owned()),
        state: "value".to_owned(),
    }
}

fn ms(started: Instant) -> f64 {
    started.elapsed().as_secs_f64() * 1_000.0
}

fn report(what: &str, mut times_ms: Vec<f64>) {
    times_ms.sort_by(f64::total_cmp);
    let at = |per_mille: usize| times_ms[(times_ms.len() * per_mille / 1_000).min(times_ms.len() - 1)];
    println!(
        "{what:<20} {:>5} times: p50 {:>8.2} ms, p99 {:>8.2} ms, max {:>8.2} ms",
        times_ms.len(),
        at(500),
        at(990),
        at(1_000)
    );
}
