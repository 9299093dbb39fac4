//! What standing hold points cost: `cargo bench -p visit --bench standing [-- VERDICTS]`. Typed verdicts, each on a component
//! of its own, one second, ten seconds and a minute apart: the closer together, the more hold points stand at once. Prints
//! the time of each and its ratio to the run a minute apart. Asserts no time.

#![allow(clippy::print_stdout)]

use std::sync::Arc;
use std::time::{Duration as Span, Instant as Clock};

use judge::rule::{Answer, Header, Judgement, Outcome, Point, Rule, RuleError, RuleSet, Source, SourceClass};
use quantity::{DisplayUnit, Duration, Instant, Unit, parse_typed};
use visit::act::Act;
use visit::round::{Event, Output, Plan, Round, Settings};

const HOLD_POINTS: [&str; 5] = ["locked out", "leads proved", "proved dead", "discharged", "one lead off"];
/// Seconds from one verdict to the next.
const APART_S: [i64; 3] = [60, 10, 1];
/// Runs of each spacing; the fastest counts.
const RUNS: usize = 5;

/// A capacitor from 38 to 42 uF.
struct Bench(Header);

impl Rule for Bench {
    fn id(&self) -> &'static str {
        "bench"
    }
    fn hash(&self) -> &'static str {
        "c0ffee"
    }
    fn header(&self) -> &Header {
        &self.0
    }
    fn judge(&self, values: &[f64]) -> Result<Outcome, RuleError> {
        let judgement = Judgement {
            name: "capacitance".into(),
            value: values.first().copied().unwrap_or(f64::NAN),
            unit: Unit::MICROFARAD,
            low: Some(38.0),
            high: Some(42.0),
            advice_ok: None,
            advice_low: None,
            advice_high: None,
            source: Source { text: "nameplate, for a bench".into(), class: SourceClass::Nameplate },
            source_parts: [].into(),
        };
        Ok(Outcome { answer: Answer::Judgements(vec![judgement]), path: 0 })
    }
}

fn rules() -> RuleSet {
    let point = Point {
        name: "capacitance".to_owned(),
        label: "capacitance".to_owned(),
        display: DisplayUnit { unit: Unit::MICROFARAD, coupling: None },
        plausible: None,
        open_counts_as: None,
        drift: None,
        line: 1,
    };
    let header = Header {
        title: "Bench".to_owned(),
        points: vec![point],
        hold_points: HOLD_POINTS.map(str::to_owned).to_vec(),
        ..Header::default()
    };
    RuleSet::new(vec![Arc::new(Bench(header))], "set")
}

fn run(verdicts: u32, apart: Duration) -> Option<(Span, usize)> {
    let value = parse_typed("39.62 uF").ok()?;
    let mut round = Round::new(rules(), Settings::default());
    let mut now = Instant::from_micros(1);
    let mut words = 0;
    let start = Clock::now();
    for number in 0..verdicts {
        now = now + apart;
        let arm = Event::Arm(Box::new(Plan {
            unit_tag: "RTU-07".to_owned(),
            component: format!("C{number}"),
            rule: "bench".to_owned(),
            plate: Vec::new(),
            bindings: Vec::new(),
            ..Plan::default()
        }));
        let confirm = HOLD_POINTS.map(|name| Event::from(Act::Confirm { hold_point: name.to_owned() }));
        let typed =
            Event::from(Act::Type { point: "capacitance".to_owned(), value: value.into(), accuracy: None });
        for event in std::iter::once(arm).chain(confirm).chain([typed]) {
            let said = round.step(event, now);
            words += said.iter().filter(|said| matches!(said.output, Output::Verdict(_))).count();
        }
    }
    Some((start.elapsed(), words))
}

fn main() {
    let verdicts = std::env::args().find_map(|arg| arg.parse().ok()).unwrap_or(10_000);
    // In turn, so that other work on the machine hits each spacing alike.
    let mut fastest = [None; APART_S.len()];
    for _ in 0..RUNS {
        for (best, seconds) in fastest.iter_mut().zip(APART_S) {
            let run = run(verdicts, Duration::from_secs(seconds));
            *best = [*best, run].into_iter().flatten().min();
        }
    }
    let mut of_a_minute = None;
    for (best, seconds) in fastest.into_iter().zip(APART_S) {
        let Some((time, words)) = best else { continue };
        let base = *of_a_minute.get_or_insert(time);
        println!(
            "{words} typed verdicts {seconds:>2} s apart: {:>8.1} ms, {:.2} of a minute apart",
            1e3 * time.as_secs_f64(),
            time.as_secs_f64() / base.as_secs_f64()
        );
    }
}
