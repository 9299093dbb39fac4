//! Compiled rules against the reference, which walks the rule as rhai does: the same answers, numbers bit for bit, the
//! same paths, and the same errors at the same places. Over the shipped rules with their cases and with numbers that
//! are likely to go wrong, and over rules made by chance: `PROGRAMS` says how many (10,000 for a release build).
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing)] // test code
#![allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // random numbers
#[path = "compiled/generate.rs"]
mod generate;
mod support;

use std::path::Path;

use generate::{Dice, Generator, HEADER};
use judge::rule::columns::{Column, ColumnAnswers, LaneAnswer};
use judge::rule::{Answer, Header, Judgement, Outcome, PlateDefault, Rule, RuleError};
use quantity::parse_typed;
use script::{Limits, Reference};
use support::{load, shipped_files, shipped_rules, shown};

/// Everything a caller can see of an outcome; numbers as bits, so that no zero or rounding is taken for another.
fn seen(outcome: &Result<Outcome, RuleError>) -> String {
    let bits = |number: Option<f64>| number.map(f64::to_bits);
    let one = |j: &Judgement| {
        let numbers = (j.value.to_bits(), bits(j.low), bits(j.high));
        let advice = (&j.advice_ok, &j.advice_low, &j.advice_high);
        format!("{:?} {numbers:?} {} {advice:?} {:?} {:?}\n", j.name, j.unit, j.source, j.source_parts)
    };
    match outcome {
        Err(error) => format!("{error:?}"),
        Ok(Outcome { answer: Answer::NoVerdict(why), path }) => format!("{path:x} no verdict {why:?}"),
        Ok(Outcome { answer: Answer::Judgements(list), path }) => {
            format!("{path:x} {}", list.iter().map(one).collect::<String>())
        }
    }
}

/// How often both gave an answer, and how often both an error.
#[derive(Debug, Default)]
struct Count {
    answers: usize,
    errors: usize,
}

fn compare(rule: &dyn Rule, reference: &Reference, values: &[f64], count: &mut Count, text: &str) {
    let (given, wanted) = (rule.judge(values), reference.judge(values));
    assert_eq!(seen(&given), seen(&wanted), "{} at {values:?}:\n{text}", rule.file());
    match given {
        Ok(_) => count.answers += 1,
        Err(_) => count.errors += 1,
    }
}

/// Numbers that are likely to go wrong.
const SPECIAL: [f64; 14] =
    [0.0, -0.0, 1.0, -1.0, 0.5, 5e-324, -5e-324, 1e-12, 1e12, 1e154, 1e308, -1e308, f64::MAX, f64::MIN];

/// One input: near what the rule expects, at one of its numbers, or special.
fn number(header: &Header, index: usize, dice: &mut Dice) -> f64 {
    let points = header.points.len();
    let (plausible, choices) = match header.points.get(index) {
        Some(point) => (point.plausible, 0),
        None => {
            let item = &header.nameplate[index - points];
            (item.plausible, item.choices.len())
        }
    };
    if choices > 0 {
        return match dice.below(12) {
            0 => dice.pick(&[-1.0, 0.7, choices as f64, 1e9, f64::MIN]),
            _ => dice.below(choices) as f64,
        };
    }
    let (low, high) = plausible.unwrap_or((0.1, 100.0));
    match dice.below(10) {
        0 => dice.pick(&SPECIAL),
        1 if !header.limits.is_empty() => header.limits[dice.below(header.limits.len())].value,
        2 => dice.pick(&[low, high, -low, -high]),
        3 => (low + (high - low) * dice.unit()) * 2.0 - high,
        _ => low + (high - low) * dice.unit(),
    }
}

/// All inputs; sometimes several are the same number, so that comparisons stand on their edge.
fn inputs(header: &Header, dice: &mut Dice) -> Vec<f64> {
    let count = header.points.len() + header.nameplate.len();
    let mut values: Vec<f64> = (0..count).map(|index| number(header, index, dice)).collect();
    if dice.below(3) == 0 {
        let (from, to) = (dice.below(count), dice.below(count));
        values[to] = values[from];
    }
    values
}

/// The inputs of every case beside a rule that gives them all.
fn cases(rule: &dyn Rule, file: &Path) -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(file.with_extension("cases.toml")).unwrap();
    let table: toml::Table = text.parse().unwrap();
    let header = rule.header();
    let cases = table["case"].as_array().unwrap();
    cases.iter().filter_map(|case| case_inputs(header, case)).collect()
}

fn case_inputs(header: &Header, case: &toml::Value) -> Option<Vec<f64>> {
    let given = |group: &str, name: &str| match case.get(group)?.get(name)? {
        toml::Value::String(text) => Some(text.clone()),
        toml::Value::Integer(number) => Some(number.to_string()),
        toml::Value::Float(number) => Some(number.to_string()),
        _ => None,
    };
    let typed = |text: &str, unit: quantity::Unit| {
        let typed = parse_typed(text).ok()?;
        typed.unit.unwrap_or(unit).convert(typed.number.to_f64(), unit).ok()
    };
    let mut values = Vec::new();
    for point in &header.points {
        values.push(typed(&given("readings", &point.name)?, point.display.unit)?);
    }
    let mut plate = std::collections::BTreeMap::new();
    for item in &header.nameplate {
        let value = match (given("plate", &item.name), &item.default) {
            (Some(text), _) if !item.choices.is_empty() => {
                item.choices.iter().position(|word| *word == text)? as f64
            }
            (Some(text), _) => typed(&text, item.unit).or_else(|| text.parse().ok())?,
            (None, PlateDefault::Value(value, _)) => *value,
            (None, PlateDefault::SameAs(other, _)) => plate[other],
            (None, PlateDefault::Required) => return None,
        };
        plate.insert(item.name.clone(), value);
        values.push(value);
    }
    Some(values)
}

/// The same inputs as columns: every lane as if it were judged alone. The lanes of all calls keep one numbering of sets.
fn compare_columns(rule: &dyn Rule, rows: &[Vec<f64>], text: &str) {
    let inputs = rule.header().points.len() + rule.header().nameplate.len();
    let columns: Vec<Vec<f64>> =
        (0..inputs).map(|index| rows.iter().map(|row| row[index]).collect()).collect();
    let slices: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    let (mut given, mut wanted) = (ColumnAnswers::default(), ColumnAnswers::default());
    rule.judge_columns(&slices, &mut given);
    wanted.begin(rows.len());
    for (lane, row) in rows.iter().enumerate() {
        if let Ok(outcome) = rule.judge(row) {
            wanted.write(lane, &outcome);
        }
    }
    // Sets are numbered as they are met, and blocks meet them in another order than lanes.
    let mut sets: Vec<(LaneAnswer, LaneAnswer)> = Vec::new();
    for lane in 0..rows.len() {
        let pair = (given.answers()[lane], wanted.answers()[lane]);
        match pair {
            (LaneAnswer::Set(_), LaneAnswer::Set(_)) => {
                let known = sets.iter().find(|(a, b)| *a == pair.0 || *b == pair.1);
                assert!(
                    known.is_none_or(|known| *known == pair),
                    "{}: {sets:?} and {pair:?}\n{text}",
                    rule.file()
                );
                if known.is_none() {
                    sets.push(pair);
                }
            }
            (a, b) => assert_eq!(a, b, "{}, lane {lane}: {:?}\n{text}", rule.file(), rows[lane]),
        }
        assert_eq!(given.paths()[lane], wanted.paths()[lane], "{}, lane {lane}\n{text}", rule.file());
        for judgement in 0..8 {
            let bits =
                |column: &Column| [&column.value, &column.low, &column.high].map(|list| list[lane].to_bits());
            let none = [0.0_f64.to_bits(); 3];
            let (a, b) = (given.column(judgement), wanted.column(judgement));
            assert_eq!(a.map_or(none, bits), b.map_or(none, bits), "{}, lane {lane}\n{text}", rule.file());
        }
    }
}

#[test]
fn the_shipped_rules_judge_as_their_reference_does() {
    let rules = shipped_rules();
    let mut count = Count::default();
    let (mut with_cases, mut of_cases) = (0, 0);
    for (path, text) in shipped_files(".rhai") {
        let reference = Reference::load(path.to_str().unwrap(), &text, Limits::default()).unwrap();
        let id = path.file_stem().unwrap().to_str().unwrap();
        let rule = &**rules.find(id).unwrap();
        let given = cases(rule, &path);
        with_cases += usize::from(!given.is_empty());
        of_cases += given.len();
        for values in given {
            compare(rule, &reference, &values, &mut count, "");
        }
        let mut dice =
            Dice(id.bytes().fold(1, |sum: u64, byte| sum.wrapping_mul(31).wrapping_add(byte.into())));
        let rows: Vec<Vec<f64>> = (0..400).map(|_| inputs(rule.header(), &mut dice)).collect();
        for values in &rows {
            compare(rule, &reference, values, &mut count, "");
        }
        compare_columns(rule, &rows, "");
        // A lane whose input is not finite is an error, and no other.
        let mut broken = rows;
        for row in broken.iter_mut().step_by(7) {
            let index = dice.below(row.len());
            row[index] = dice.pick(&[f64::NAN, f64::INFINITY, f64::NEG_INFINITY]);
        }
        compare_columns(rule, &broken, "");
    }
    println!("{with_cases} rules, {of_cases} cases; {count:?}");
    assert_eq!(with_cases, rules.iter().count());
    assert!(of_cases > 200 && count.answers > 5_000 && count.errors > 500, "{of_cases} cases, {count:?}");
}

#[test]
fn rules_made_by_chance_judge_as_their_reference_does() {
    let programs: u64 = std::env::var("PROGRAMS").ok().and_then(|text| text.parse().ok()).unwrap_or(300);
    let mut count = Count::default();
    let mut refused = 0;
    for seed in 0..programs {
        let text = Generator::new(seed).rule();
        let (loaded, reference) =
            match (load(&text), Reference::load("test-rule.rhai", &text, Limits::default())) {
                (Ok(loaded), Ok(reference)) => (loaded, reference),
                (Err(errors), Err(_)) => {
                    assert!(refused < programs / 20, "{}\n{text}", shown(&errors));
                    refused += 1;
                    continue;
                }
                (loaded, reference) => panic!("{loaded:?} but {reference:?}:\n{text}"),
            };
        let rule = &**loaded.set.find("test-rule").unwrap();
        let mut dice = Dice(seed);
        let rows: Vec<Vec<f64>> =
            (0..if seed % 8 == 0 { 300 } else { 30 }).map(|_| inputs(rule.header(), &mut dice)).collect();
        for values in rows.iter().take(30) {
            compare(rule, &reference, values, &mut count, &text);
        }
        compare_columns(rule, &rows, &text);
    }
    println!("{programs} rules, {refused} of them refused; {count:?}");
    assert!(count.answers as u64 > programs * 3 && count.errors as u64 > programs, "{count:?}");
}

thread_local! {
    static CLOCK: std::cell::Cell<i64> = const { std::cell::Cell::new(0) };
}

/// Ten microseconds later at each look.
fn ten_later() -> i64 {
    CLOCK.set(CLOCK.get() + 10);
    CLOCK.get()
}

#[test]
fn time_is_spent_where_it_is_in_the_reference() {
    let round = "acc += 1; acc = acc * 2 - m.x; if acc > 1e3 || !(acc < 9) == true { acc = min(acc, 7); }\n\
                 if level_of(acc, 1, 2) == \"low\" { acc = -acc; } jdg = within(\"x\", acc, -1e300, 1e300).unit(\"uF\").source(\"physics: t\");\n";
    let text = format!(
        "{HEADER}fn judge(m, plate, limit) {{\nlet acc = m.x; let jdg = at_most(\"x\", acc, limit.l);\n{}\nif acc > 0 {{ jdg }} else {{ jdg.ok(\"o\") }}\n}}",
        round.repeat(60)
    );
    let mut places = std::collections::BTreeSet::new();
    for deadline_us in (0..120).step_by(5) {
        let limits = Limits { deadline_us, now_us: Some(ten_later) };
        let loaded = script::RuleSetLoader::new(limits).load([("test-rule.rhai", text.as_str())]).unwrap();
        let reference = Reference::load("test-rule.rhai", &text, limits).unwrap();
        let rule = &**loaded.set.find("test-rule").unwrap();
        for x in [0.5, 3.0, -4.0] {
            let values = [x, 2.0, 3.0, 4.0, 5.0, 0.0, 0.0];
            compare(rule, &reference, &values, &mut Count::default(), &text);
            places.insert(rule.judge(&values).map_or_else(|error| error.line, |_| 0));
        }
    }
    assert!(places.contains(&0) && places.len() > 5, "{places:?}");
}

#[test]
fn a_word_that_is_not_there_is_an_error_as_in_the_reference() {
    let judge = "if plate.kind == \"copper\" { no_verdict(\"c\") } \
                 else { at_most(\"x\", winding_at_ohm(m.x, m.y, m.z, plate.metal), limit.l).unit(\"ohm\") }";
    let text = format!("{HEADER}fn judge(m, plate, limit) {{ {judge} }}");
    let loaded = load(&text).unwrap();
    let reference = Reference::load("test-rule.rhai", &text, Limits::default()).unwrap();
    let rule = &**loaded.set.find("test-rule").unwrap();
    let mut count = Count::default();
    for (kind, metal) in [(0.0, 0.0), (1.0, 1.0), (7.0, 0.0), (2.0, 2.0), (-3.0, 1.0), (1.0, 1e300)] {
        compare(rule, &reference, &[1.0, 2.0, 3.0, 4.0, 5.0, kind, metal], &mut count, &text);
    }
    assert_eq!((count.answers, count.errors), (3, 3));
}
