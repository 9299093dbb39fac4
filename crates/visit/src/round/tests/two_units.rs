//! Random visits to two units of two circuits each, beside books of what is true (`truth.rs`) that know the round's events and outputs and
//! nothing of its ledger: no verdict rests on evidence from before life, outside its scope or after its time; no danger is silent;
//! no visit closes while something is owed.
//!
//! `SEQUENCES=1000000 cargo test --release -p visit two_units` walks so many; an ordinary run walks [`SEQUENCES`].
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::Duration;

use super::property::Dice;
use super::*;
use crate::act::By;
use crate::model::Slot;

mod truth;

use truth::Truth;

/// Random sequences in an ordinary run, and events of each.
const SEQUENCES: u64 = 10_000;
const EVENTS: usize = 40;

const RULES: [&str; 12] = [
    "dead-part",
    "dead-part",
    "run-capacitor",
    "live-volts",
    "runs",
    "runs-steady",
    "capacitor-first",
    "after-capacitor",
    "hoses",
    "flue",
    "air",
    "two-volts",
];
/// Component and its circuit; the capacitors serve the compressor that they are named after.
const COMPONENTS: [(&str, &str); 5] = [
    ("compressor 1", "1"),
    ("compressor 1 run capacitor", "1"),
    ("compressor 1 start capacitor", "1"),
    ("compressor 2", "2"),
    ("compressor 2 run capacitor", "2"),
];
const SPANS_S: [i64; 6] = [1, 30, 500, 1_000, 2_500, 15_000];
/// A point, and what may be typed for it: in order, off, life, danger.
const TYPED: [(&str, &[&str]); 6] = [
    ("capacitance", &["40.00 uF", "20.00 uF", "41.5 uF"]),
    ("volts", &["230.1 V ac", "0.3 V ac"]),
    ("l1_l2", &["231.0 V ac", "0.2 V ac"]),
    ("amps", &["5.00 A", "0.02 A", "9.10 A"]),
    ("co", &["8 ppm", "450 ppm", "40 ppm"]),
    ("oxygen", &["6.0 %vol"]),
];

fn plan(dice: &mut Dice) -> Plan {
    let (component, circuit) = COMPONENTS[dice.at(COMPONENTS.len())];
    let rule = RULES[dice.at(RULES.len())];
    let mut plan = Plan {
        unit_tag: ["RTU-07", "RTU-08"][dice.at(2)].to_string(),
        component: component.to_string(),
        rule: rule.to_string(),
        slot: Slot { circuit: Some(circuit.to_string()), serves: None },
        ..Plan::default()
    };
    if rule == "run-capacitor" {
        let number = quantity::Decimal::parse("40").unwrap();
        plan.plate.push(("capacitance".to_string(), Entered::Number { number, unit: Unit::MICROFARAD }));
    }
    plan
}

/// What is done next: mostly what an armed check asks for, so that many come to a word.
fn event(dice: &mut Dice, round: &Round) -> Event {
    let by = By::Device(["anna", "ben"][dice.at(2)].to_string());
    let act = |act| Event::Act { act, by };
    let (asked, listed) = match round.job() {
        Some(job) => (round.ledger.open().first().cloned(), job.hold_points().to_vec()),
        None => (None, Vec::new()),
    };
    match dice.below(40) {
        0..=13 if asked.is_some() => act(Act::Confirm { hold_point: asked.unwrap_or_default() }),
        14 | 15 if !listed.is_empty() => {
            act(Act::Withdraw { hold_point: listed[dice.at(listed.len())].clone() })
        }
        16 if !listed.is_empty() => act(Act::Confirm { hold_point: listed[dice.at(listed.len())].clone() }),
        17 | 18 => act(Act::Energised),
        19 => act(Act::Pause),
        20 | 21 => act(Act::Resume),
        22 => Event::Unwatched,
        23 => act(Act::Close { why: dice.one_in(2).then(|| "part on order".to_string()) }),
        24 | 25 => match round.restoration.owed(None).next() {
            Some(owed) => act(Act::Restored { what: owed.in_words() }),
            None => act(Act::Again { as_left: false }),
        },
        26 => act(Act::Again { as_left: false }),
        27 => act(Act::Answer { question: None, yes: dice.one_in(2) }),
        28..=32 => Event::Arm(Box::new(plan(dice))),
        _ => {
            let wanted =
                |(name, _): &&(&str, &[&str])| round.job().is_some_and(|job| job.point(name).is_some());
            let fitting: Vec<_> = TYPED.iter().filter(wanted).collect();
            let (point, values) = if fitting.is_empty() {
                TYPED[dice.at(TYPED.len())]
            } else {
                *fitting[dice.at(fitting.len())]
            };
            act(Act::typed(point, values[dice.at(values.len())], None).unwrap())
        }
    }
}

/// One visit; what was found, if anything.
fn walk(seed: u64, count: &mut truth::Count) -> Result<(), String> {
    let mut dice = Dice(seed);
    let mut round = Round::new(rules(), Settings::default());
    let mut truth = Truth::default();
    let mut now = Instant::from_micros(1);
    for number in 0..EVENTS {
        now = now + Duration::from_micros(1);
        if dice.one_in(9) {
            now = now + Duration::from_secs(SPANS_S[dice.at(SPANS_S.len())]);
        }
        if dice.one_in(60) {
            round = Round::new(rules(), Settings::default());
            for recall in truth.crash() {
                let outputs = round.step(Event::Recall(Box::new(recall)), now);
                truth.after(&outputs, count)?;
            }
            count.crashes += 1;
        }
        let event = event(&mut dice, &round);
        let told = format!("seed {seed}, event {number}: {event:?}");
        truth.before(&event, &round, now);
        let outputs = round.step(event, now);
        truth.after(&outputs, count).map_err(|what| format!("{told}\n{what}"))?;
    }
    Ok(())
}

#[test]
fn nothing_rests_on_what_is_no_longer_true() {
    let sequences = std::env::var("SEQUENCES").ok().and_then(|n| n.parse().ok()).unwrap_or(SEQUENCES);
    let mut count = truth::Count::default();
    for seed in 0..sequences {
        if let Err(what) = walk(seed, &mut count) {
            panic!("{what}");
        }
    }
    std::eprintln!("{sequences} visits: {count:?}");
    let enough = sequences / 100;
    let truth::Count {
        dead,
        live,
        served,
        dangers,
        dangers_open,
        closed,
        closed_owing,
        contradicted,
        crashes,
    } = count;
    for (what, seen) in [
        ("verdicts on a dead part", dead),
        ("verdicts on a live one", live),
        ("verdicts that rest on a part that serves", served),
        ("dangers", dangers),
        ("dangers with hold points open", dangers_open),
        ("closed", closed),
        ("closed for a reason", closed_owing),
        ("contradictions", contradicted),
        ("crashes", crashes),
    ] {
        assert!(seen > enough, "only {seen} {what} in {sequences} visits");
    }
}
