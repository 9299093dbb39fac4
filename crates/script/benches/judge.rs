//! Time per judgement: the run-capacitor sketch without and with uncertainty, beside the same rule as native
//! Rust in the same binary; the time to load the shipped rules; and the time per frame of a decode script. Prints a table;
//! asserts nothing about time.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    clippy::cast_precision_loss
)]
#[path = "../tests/support/mod.rs"]
mod support;

use std::hint::black_box;
use std::sync::Arc;
use std::time::Instant;

use judge::evaluate::{Input, evaluate};
use judge::limits::DecisionRule;
use judge::rule::columns::ColumnAnswers;
use judge::rule::{Answer, Header, Judgement, Outcome, Rule, RuleError, Source};
use quantity::Unit;
use support::{SKETCH, rule, shipped_files, shipped_rules};

/// The sketch as hand-written Rust.
struct Native {
    header: Header,
    name: Arc<str>,
    low: Arc<str>,
    high: Arc<str>,
    source: Source,
}

impl Rule for Native {
    fn id(&self) -> &str {
        "native"
    }
    fn hash(&self) -> &str {
        ""
    }
    fn header(&self) -> &Header {
        &self.header
    }
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        let [value, rated, tolerance] = values else { panic!() };
        let band = rated * tolerance / 100.0;
        let judgement = Judgement {
            name: Arc::clone(&self.name),
            value: *value,
            unit: Unit::MICROFARAD,
            low: Some(rated - band),
            high: Some(rated + band),
            advice_ok: None,
            advice_low: Some(Arc::clone(&self.low)),
            advice_high: Some(Arc::clone(&self.high)),
            source: self.source.clone(),
            source_parts: [].into(),
        };
        Ok(Outcome { answer: Answer::Judgements(vec![judgement]), path: 0 })
    }
}

/// Median over rounds of the time per call, in ns.
fn median_ns(calls: u32, mut call: impl FnMut(u32)) -> f64 {
    let mut rounds: Vec<f64> = (0..15)
        .map(|_| {
            let start = Instant::now();
            (0..calls).for_each(&mut call);
            start.elapsed().as_nanos() as f64 / f64::from(calls)
        })
        .collect();
    rounds.sort_by(f64::total_cmp);
    rounds[rounds.len() / 2]
}

/// One evaluation by rhai's walk, by the compiled program, and by the program over 256 lanes at once (for each lane).
fn ways(id: &str, centre: &[f64]) {
    let files = shipped_files(".rhai");
    let (path, text) =
        files.iter().find(|(path, _)| path.file_stem().is_some_and(|stem| stem == id)).unwrap();
    let reference = script::Reference::load(path.to_str().unwrap(), text, script::Limits::default()).unwrap();
    let rules = shipped_rules();
    let rule = rules.find(id).unwrap();
    let near = |n: u32| {
        let mut values = centre.to_vec();
        values[0] += f64::from(n % 8) * 0.01;
        values
    };
    let walked = median_ns(2_000, |n| {
        black_box(reference.judge(black_box(&near(n))).unwrap());
    });
    let one = median_ns(20_000, |n| {
        black_box(rule.judge(black_box(&near(n))).unwrap());
    });
    let columns: Vec<Vec<f64>> =
        (0..centre.len()).map(|index| (0..256).map(|n| near(n)[index]).collect()).collect();
    let slices: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    let mut out = ColumnAnswers::default();
    let lanes = median_ns(200, |_| {
        rule.judge_columns(black_box(&slices), &mut out);
        black_box(&out);
    });
    println!("{id:<40} {walked:>10.0} {one:>10.0} {:>10.0}", lanes / 256.0);
}

fn row(name: &str, rule: &dyn Rule, centre: &[f64], uncertain: usize) {
    let plain = median_ns(20_000, |n| {
        let mut values = centre.to_vec();
        values[0] += f64::from(n % 8) * 0.01;
        black_box(rule.judge(black_box(&values)).unwrap());
    });
    let with = median_ns(5_000, |n| {
        let inputs: Vec<Input> = centre
            .iter()
            .enumerate()
            .map(|(index, value)| Input {
                value: value + f64::from(n % 8) * 0.01,
                standard_uncertainty: if index < uncertain { value.abs() * 0.01 + 0.001 } else { 0.0 },
            })
            .collect();
        black_box(evaluate(rule, black_box(&inputs), DecisionRule::default()).unwrap());
    });
    println!("{name:<40} {plain:>10.0} {with:>16.0}   ({uncertain} uncertain inputs)");
}

/// The frames of the scripted class: two readings each, a loop over seven bytes, a dozen calls of its own functions.
fn decode_script() {
    let folder = support::rules_folder().join("../hardware-notes/generic-scripted-meter");
    let text = std::fs::read_to_string(folder.join("profile.toml")).unwrap();
    let profile = wire::Profile::parse_with(&text, &script::FrameScripts).unwrap();
    let mut decoder = wire::Decoder::new(&profile);
    // 44.71 uF, 21 degC: a frame of stream.hex there.
    let frame = [0xE4, 0x9C, 0x0A, 0x7A, 0x7D, 0x80, 0xC5, 0xF3, 0x83, 0x91, 0x77];
    let mut second = 0;
    let each = median_ns(2_000, |n| {
        // A script reads 200 frames of a second.
        second += i64::from(n.is_multiple_of(100));
        let at = quantity::Instant::from_micros(second * 1_000_000);
        decoder.bytes(at, black_box(&frame), &mut |item| {
            black_box(item);
        });
    });
    let read = decoder.counters().readings;
    println!(
        "decode script: {each:.0} ns per frame ({read} readings, {} faults)",
        decoder.counters().faults()
    );
}

fn main() {
    let native = Native {
        header: Header::default(),
        name: "capacitance".into(),
        low: "weak".into(),
        high: "high".into(),
        source: Source::parse("nameplate: the unit's").unwrap(),
    };
    println!("{:<40} {:>10} {:>16}", "ns per judgement", "plain", "with uncertainty");
    row("sketch, native Rust", &native, &[39.4, 40.0, 6.0], 1);
    row("sketch", &*rule(SKETCH), &[39.4, 40.0, 6.0], 1);
    let rules = shipped_rules();
    row("run-capacitor", &**rules.find("run-capacitor").unwrap(), &[39.4, 40.0, 6.0, 40.0], 1);
    let dual = [34.8, 5.02, 4.39, 35.0, 5.0, 6.0, 35.0, 5.0];
    row("dual-run-capacitor", &**rules.find("dual-run-capacitor").unwrap(), &dual, 3);
    row(
        "capacitor-under-load",
        &**rules.find("capacitor-under-load").unwrap(),
        &[5.57, 370.0, 40.0, 6.0, 60.0],
        2,
    );
    println!("{:<40} {:>10} {:>10} {:>10}", "ns per judgement", "rhai walk", "program", "per lane");
    ways("run-capacitor", &[39.4, 40.0, 6.0, 40.0]);
    ways("dual-run-capacitor", &dual);
    // R-410A, subcooling, altitude; the widest rule by readings and calls.
    ways("charge-txv", &[118.0, 50.0, 340.0, 95.0, 85.0, 4.0, 11.0, 0.0]);
    let files = shipped_files(".rhai");
    let loading = median_ns(20, |_| {
        let pairs = files.iter().map(|(path, text)| (path.to_str().unwrap(), text.as_str()));
        black_box(script::RuleSetLoader::default().load(pairs).unwrap());
    });
    println!("loading the {} shipped rules: {:.2} ms", files.len(), loading / 1e6);
    decode_script();
}
