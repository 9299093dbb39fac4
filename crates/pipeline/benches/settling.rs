//! Settling on the product's path: `cargo bench -p pipeline --bench settling [-- STREAMS [FIRST_SEED [FAMILY]]]`. Frames of a
//! meter go through [`pipeline::Pipeline::step`] with shipped rules armed; for each family of streams: wrong words,
//! intervals, figures and waits, beside a fixed window of 16 readings and a bound that no sequential test beats. All
//! streams are made up. No times are asserted.
#![allow(
    clippy::print_stdout,
    clippy::too_many_lines,
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

#[path = "settling/drive.rs"]
mod drive;
#[path = "settling/families.rs"]
mod families;
#[path = "../../judge/benches/settle/streams.rs"]
mod random;
#[path = "settling/setups.rs"]
mod setups;
#[path = "settling/streams.rs"]
mod streams;

use std::collections::BTreeMap;
use std::path::Path;

use judge::rule::RuleSet;

use drive::Outcome;
use families::{FAMILIES, Family, draw, oracle_of};
use random::upper95;
use setups::{ALL, Oracle, profile};
use streams::sequential_bound_s;

const RISK: f64 = 1e-3;
/// Threads that share the streams of a family.
const THREADS: u64 = 2;

fn main() {
    let numbers: Vec<u64> = std::env::args().filter_map(|arg| arg.parse().ok()).collect();
    let count = numbers.first().copied().unwrap_or(1_000);
    let first = numbers.get(1).copied().unwrap_or(0);
    let chosen = std::env::args().skip(1).find(|arg| arg.parse::<u64>().is_err() && !arg.starts_with("--"));
    let rules = shipped();
    let oracles = ALL.map(|setup| Oracle::new(&rules, &setup, &profile(None, None)));
    println!("{count} streams a family and row, seeds {first} on, risk {RISK}; made-up streams");
    println!(
        "c: the profile states the conversion time; -: it does not. In %: turned = pass for fail or fail for pass;"
    );
    println!(
        "other = another word than the settled value's by more than a count; false = and outside its own interval;"
    );
    println!(
        "out = settled value outside the interval of the word; fig = figures within their U (k = 2), of = streams that had one."
    );
    println!("< : upper 95 % bound (Clopper and Pearson). Seconds from contact to the word: median, p90.");
    println!(
        "{:<32}   | {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} | {:>6} {:>6} {:>6} {:>6} | {:>5}",
        "family",
        "turned",
        "<",
        "other",
        "false",
        "<",
        "out",
        "fig",
        "of",
        "fig s",
        "s",
        "p90",
        "win s",
        "p90",
        "turned",
        "other",
        "bound"
    );
    let mut slowest: Vec<Wait> = Vec::new();
    for family in FAMILIES {
        if chosen.as_ref().is_some_and(|name| !family.name.contains(name.as_str())) {
            continue;
        }
        for stated in [true, false] {
            slowest.extend(row(family, stated, first..first + count, &rules, &oracles));
        }
    }
    say_slowest(slowest);
}

/// The median wait of one quantity in one family, where the window is right in 99 %.
struct Wait {
    quantity: &'static str,
    stated: bool,
    family: &'static str,
    ours_s: f64,
    window_s: f64,
}

/// By quantity: the three families with the longest median wait among those that the window gets right in 99 %, and every
/// family in which it waits less.
fn say_slowest(mut waits: Vec<Wait>) {
    waits.sort_by(|a, b| {
        (a.quantity, a.stated).cmp(&(b.quantity, b.stated)).then(b.ours_s.total_cmp(&a.ours_s))
    });
    println!("\nmedian wait in s by quantity, longest first, where the window is right in 99 %:");
    let (mut before, mut said) = (None, 0);
    for wait in waits {
        let of = Some((wait.quantity, wait.stated));
        said = if before == of { said + 1 } else { 0 };
        before = of;
        let longer = wait.stated && wait.ours_s > wait.window_s;
        if said < 3 || longer {
            println!(
                "{:<6} {} {:>6.1}  window {:>6.1}{}  {}",
                wait.quantity,
                if wait.stated { "c" } else { "-" },
                wait.ours_s,
                wait.window_s,
                if longer { " !" } else { "" },
                wait.family
            );
        }
    }
}

fn shipped() -> RuleSet {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../rules");
    let files = [
        "capacitors/run-capacitor.rhai",
        "compressors/discharge-line.rhai",
        "motors/motor-amps.rhai",
        "supply/control-voltage.rhai",
        "contactors/contactor-coil.rhai",
        "gas/draft.rhai",
    ];
    let texts = files.map(|file| {
        let name = file.rsplit('/').next().unwrap_or(file);
        (name, std::fs::read_to_string(folder.join(file)).expect("a shipped rule"))
    });
    let loader = script::RuleSetLoader::new(script::Limits::default());
    loader.load(texts.iter().map(|(name, text)| (*name, text.as_str()))).expect("shipped rules").set
}

/// Both methods on one stream, and the bound.
type Pair = (Outcome, Outcome, f64, &'static str);

/// Prints one row of the table and hands out the waits by quantity.
fn row(
    family: &Family,
    stated: bool,
    seeds: std::ops::Range<u64>,
    rules: &RuleSet,
    oracles: &[Oracle; 6],
) -> Vec<Wait> {
    let share =
        |thread: u64| (seeds.start + thread..seeds.end).step_by(usize::try_from(THREADS).unwrap_or(1));
    let only = std::env::var("SETUP").ok();
    let run = |seed: u64| -> Option<Pair> {
        let stream = draw(family, oracles, seed);
        let quantity = stream.setup.name;
        if only.as_ref().is_some_and(|name| *name != stream.setup.name) {
            return None;
        }
        let oracle = oracle_of(oracles, &stream.setup);
        let bound_s = sequential_bound_s(&stream, oracle, RISK);
        let conversion_s = stated.then(|| stream.line.conversion_s.max(1.0 / stream.line.rate_hz));
        let profile = profile(conversion_s, None);
        let ours = drive::product(stream, rules, &profile, oracle);
        if std::env::var("SHOW").is_ok_and(|what| {
            what == "miss" && ours.missed
                || what == "false" && ours.false_word
                || what == "figure" && ours.figure.as_ref().is_some_and(|figure| !figure.1)
        }) {
            let s = draw(family, oracles, seed);
            println!(
                "seed {seed} {} {:?} {:?} {:?}\n   edges {:?}",
                s.setup.name, ours, s.body, s.line, oracle.edges
            );
        }
        Some((ours, drive::fixed(draw(family, oracles, seed), oracle), bound_s, quantity))
    };
    let pairs: Vec<Pair> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..THREADS)
            .map(|thread| {
                scope.spawn({
                    let (share, run) = (&share, &run);
                    move || share(thread).filter_map(&run).collect::<Vec<_>>()
                })
            })
            .collect();
        threads.into_iter().flat_map(|thread| thread.join().expect("a thread")).collect()
    });
    let n = pairs.len() as f64;
    let percent = |events: usize| 100.0 * events as f64 / n;
    let of = |test: fn(&Pair) -> bool| pairs.iter().filter(|pair| test(pair)).count();
    let bound = |events: usize| 100.0 * upper95(events, pairs.len());
    let (turned, other, wrong) = (of(|p| p.0.turned), of(|p| p.0.other), of(|p| p.0.false_word));
    let figures = of(|p| p.0.figure.is_some()).max(1);
    let (wait, wait90) = quantiles(pairs.iter().map(|pair| pair.0.wait_s));
    let (window, window90) = quantiles(pairs.iter().map(|pair| pair.1.wait_s));
    let (figure, _) = quantiles(pairs.iter().map(|pair| pair.0.figure.as_ref().map(|f| f.0)));
    let (least, _) = quantiles(pairs.iter().map(|pair| Some(pair.2)));
    println!(
        "{:<32} {} | {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.1} {:>6.1} {figure:>6.1} {wait:>6.1} {wait90:>6.1} | {window:>6.1} {window90:>6.1} {:>6.2} {:>6.2} | {least:>5.1}",
        family.name,
        if stated { "c" } else { "-" },
        percent(turned),
        bound(turned),
        percent(other),
        percent(wrong),
        bound(wrong),
        percent(of(|p| p.0.missed)),
        100.0 * of(|p| p.0.figure.as_ref().is_some_and(|f| f.1)) as f64 / figures as f64,
        percent(figures),
        percent(of(|p| p.1.turned)),
        percent(of(|p| p.1.other)),
    );
    say_what_had_no_word(&pairs);
    if percent(of(|p| p.1.other)) > 1.0 {
        return Vec::new();
    }
    let quantities = family.setups.iter().map(|setup| setup.name);
    let wait = |quantity: &'static str| {
        let of = || pairs.iter().filter(move |pair| pair.3 == quantity);
        Wait {
            quantity,
            stated,
            family: family.name,
            ours_s: quantiles(of().map(|pair| pair.0.wait_s)).0,
            window_s: quantiles(of().map(|pair| pair.1.wait_s)).0,
        }
    };
    quantities.map(wait).collect()
}

fn say_what_had_no_word(pairs: &[Pair]) {
    let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
    for (ours, ..) in pairs.iter().filter(|pair| pair.0.wait_s.is_none()) {
        *reasons.entry(ours.reason.clone().unwrap_or_else(|| "no end".to_owned())).or_default() += 1;
    }
    for (reason, count) in reasons.iter().filter(|(_, count)| **count * 50 > pairs.len()) {
        println!("      no word in {:.1} %: {reason}", 100.0 * *count as f64 / pairs.len() as f64);
    }
}

/// Median and 90th percentile; what never came counts as endless.
fn quantiles(values: impl Iterator<Item = Option<f64>>) -> (f64, f64) {
    let mut sorted: Vec<f64> = values.map(|value| value.unwrap_or(f64::INFINITY)).collect();
    sorted.sort_by(f64::total_cmp);
    let at = |q: f64| sorted.get(((sorted.len() as f64) * q) as usize).copied().unwrap_or(f64::NAN);
    (at(0.5), at(0.9))
}
