//! Settling benchmark: `cargo bench -p judge --bench settle [-- STREAMS]`. Readings to a verdict and false verdicts, ours
//! beside a fixed window of 16 and beside Wald's bound, per family of synthetic streams; then nanoseconds per reading.

#![allow(clippy::print_stdout, clippy::cast_precision_loss)]

#[path = "settle/streams.rs"]
mod streams;

use std::hint::black_box;
use std::time::Instant as Clock;

use judge::settle::Settler;
use streams::{Family, Outcome, Stream, median_p90, run_fixed, run_settler, upper95, wald_bound};

const RISK: f64 = 1e-3;

fn main() {
    let streams = std::env::args().find_map(|arg| arg.parse().ok()).unwrap_or(100_000);
    println!("{streams} streams a family, risk {RISK}; synthetic, seeds 0..{streams}");
    println!(
        "{:<22}|{:>6}{:>6}{:>7}{:>9}{:>9} |{:>6}{:>6}{:>10} |{:>6}{:>7}",
        "", "ours", "", "", "", "", "fixed", "16", "", "Wald", ""
    );
    println!(
        "{:<22}|{:>6}{:>6}{:>7}{:>9}{:>9} |{:>6}{:>6}{:>10} |{:>6}{:>7}",
        "family", "median", "p90", "mean", "false", "95% <", "median", "p90", "false", "median", "mean"
    );
    let within = streams::WITHIN_MODEL.iter().copied().chain([Family::TemperatureAt10Hz, Family::Mixed]);
    for family in within {
        row(family, streams);
    }
    println!("outside the model (the risk is not promised here):");
    for family in [Family::Drift, Family::TooNoisy, Family::TooSlow] {
        row(family, streams / 5);
    }
    nanoseconds();
}

fn row(family: Family, count: u64) {
    let (mut ours, mut fixed, mut bounds) = (Vec::new(), Vec::new(), Vec::new());
    for seed in 0..count {
        let stream = Stream::new(family, seed);
        ours.push(run_settler(&stream));
        fixed.push(run_fixed(&stream));
        bounds.push(wald_bound(&stream, RISK));
    }
    let summary = |outcomes: &[Outcome]| {
        let mut readings: Vec<usize> = outcomes.iter().map(|o| o.readings).collect();
        let mean = readings.iter().sum::<usize>() as f64 / readings.len() as f64;
        (median_p90(&mut readings), mean, outcomes.iter().filter(|o| o.contradicted).count())
    };
    let ((median, p90), mean, wrong) = summary(&ours);
    let ((fixed_median, fixed_p90), _, fixed_wrong) = summary(&fixed);
    bounds.sort_by(f64::total_cmp);
    let bound_mean = bounds.iter().sum::<f64>() / bounds.len() as f64;
    let n = count as f64;
    println!(
        "{:<22}|{median:>6}{p90:>6}{mean:>7.1}{:>9.1e}{:>9.1e} |{fixed_median:>6}{fixed_p90:>6}{:>10.1e} |{:>6.1}{bound_mean:>7.1}",
        format!("{family:?}"),
        wrong as f64 / n,
        upper95(wrong, ours.len()),
        fixed_wrong as f64 / n,
        bounds.get(bounds.len() / 2).copied().unwrap_or(0.0),
    );
}

/// Time per push; the fastest pass counts, other work on the machine only adds.
fn nanoseconds() {
    let prepared: Vec<_> = (0..2_000)
        .map(|seed| {
            let mut stream = Stream::new(Family::Mixed, seed);
            let readings: Vec<_> = (0..40).map(|_| stream.next_reading()).collect();
            (stream, readings)
        })
        .collect();
    let mut fastest = f64::INFINITY;
    for _ in 0..15 {
        let (clock, mut pushes) = (Clock::now(), 0u64);
        for (stream, readings) in &prepared {
            let Ok(mut settler) = Settler::new(stream.spec) else { return };
            settler.set_thresholds(&stream.thresholds);
            for (at, sample) in readings {
                black_box(settler.push(*at, *sample));
                pushes += 1;
            }
        }
        fastest = fastest.min(clock.elapsed().as_nanos() as f64 / pushes as f64);
    }
    println!("{fastest:.0} ns a push (first 40 readings of mixed streams, fastest of 15 passes)");
}
