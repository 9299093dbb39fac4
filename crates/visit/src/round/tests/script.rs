//! Runs the `*.round` files: lines of what happens and what is expected. A failure names file and line and shows only
//! the difference. Every case runs a second time with ticks in between and must say the same, word for word.
//!
//! A case starts with `== name`. Then, one per line (`#` starts a remark):
//! - what is armed: `rule ID`, `unit TAG`, `component NAME`, `circuit NAME`, `serves NAME`, `supply three phase, control, bus`, `plate NAME VALUE`, `plate none`, `bind POINT DEVICE CHANNEL`,
//!   `accuracy TEXT` (of all meters), `unpaced` (no profile states how fast a display converts; else once a reading, or `every SECONDS`), `simple` (simple acceptance), `arm`
//! - by hand: `confirm NAME`, `gate` (confirms all of the rule), `withdraw NAME`, `energised`, `again`, `finish`, `yes`,
//!   `no` (both with the number of a question, or for the one that is open), `typed POINT VALUE`, `open POINT`, `rules none`,
//!   `rules all`
//! - in words, as a person types them: `say LINE`; `stop` puts what would be armed on the route instead
//! - by the caller: `recall UNIT`, then what it remembers with `|` between: `owed COMPONENT`, `judged COMPONENT / RULE`,
//!   `failed COMPONENT / RULE`, `closed`, `locked out`,
//!   `power back`, `ran`; `stores` (it stores verdicts), `stored NUMBER`, `unwatched`, `rejoined DEVICE`
//! - by meter: `meter 39.40 uF x20 @10Hz hold`: device (`meter/1` for channel 1), display (`OL`, `---`), unit, then in any
//!   order a count, a rate, a flag (`hold`, `relative`, `min-max`, `low-battery`), a noise in counts (`~2`), a step from
//!   reading to reading in counts (`+3`), readings late by so many seconds (`late 9`); `gap meter`;
//!   `together 50 A | B`: fifty times one reading of each
//! - time: `wait 20 min` (s, min, h), `back 5 s` (the clock jumps back)
//! - `expect OUTPUT`: the next output; `...` stands for anything. `opened`, `returned`, `service`, `armed`, `shown`, `settled`, `completed`, `owed` and `proving` need not be
//!   expected.
//!   `expect nothing`. `phase`, `live yes|no`, `shows TEXT`, `prompt TEXT`, `note TEXT`, `reads N`, `changes N`, `waits TEXT`,
//!   `second LOOKS` look at the state.
#![allow(clippy::cast_possible_truncation)] // spans of a script in microseconds

use alloc::collections::VecDeque;
use alloc::format;
use alloc::vec;

use quantity::{Accuracy, Decimal, Duration, Flags, Sign, State, Timing, parse_typed};

use super::*;
use crate::second_look::{Agreement, SecondLook};
use crate::verdict::Verdict;
use judge::limits::DecisionRule;

const TICK_EVERY: Duration = Duration::from_millis(437);

pub(super) struct Runner {
    pub(super) round: Round,
    pub(super) now: Instant,
    plan: Plan,
    stops: Vec<Plan>,
    accuracy: Option<Accuracy>,
    seq: u64,
    /// The profile states that the display converts once a reading.
    paced: bool,
    /// Or once in so many seconds.
    every_s: Option<f64>,
    noise: u64,
    ticks: bool,
    pending: VecDeque<Stamped>,
    pub(super) said: Vec<Stamped>,
    verdict: Option<Verdict>,
}

impl Runner {
    fn new(ticks: bool) -> Self {
        let Event::Arm(plan) = armed("run-capacitor") else { unreachable!() };
        Self {
            round: Round::new(rules(), Settings::default()),
            now: Instant::from_micros(1_000_000),
            plan: *plan,
            stops: Vec::new(),
            accuracy: None,
            seq: 0,
            paced: true,
            every_s: None,
            noise: 1,
            ticks,
            pending: VecDeque::new(),
            said: Vec::new(),
            verdict: None,
        }
    }

    fn step(&mut self, event: Event) {
        let out = self.round.step(event, self.now);
        for stamped in out {
            if let Output::Verdict(verdict) = &stamped.output {
                self.verdict = Some((**verdict).clone());
            }
            self.pending.push_back(stamped.clone());
            self.said.push(stamped);
        }
    }

    fn pass_time(&mut self, span: Duration) {
        let end = self.now + span;
        if self.ticks {
            let every = TICK_EVERY.max(Duration::from_micros(span.micros() / 500));
            while self.now + every < end {
                self.now = self.now + every;
                self.step(Event::Tick);
            }
        }
        self.now = end;
    }

    fn line(&mut self, line: &str) -> Result<(), String> {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        let rest = rest.trim();
        match word {
            "rule" => self.plan.rule = rest.to_string(),
            "unit" => self.plan.unit_tag = rest.to_string(),
            "component" => self.plan.component = rest.to_string(),
            "circuit" => self.plan.slot.circuit = Some(rest.to_string()),
            "serves" => self.plan.slot.serves = Some(rest.to_string()),
            "supply" => self.plan.supply = supply(rest)?,
            "plate" => self.plate(rest)?,
            "bind" => self.bind(rest)?,
            "accuracy" => self.accuracy = Some(Accuracy::parse(rest).map_err(|e| e.to_string())?),
            "stores" => self.round.settings.verdicts_are_stored = true,
            "stored" => {
                let verdict = rest.parse().map_err(|_| "stored NUMBER")?;
                self.step(Event::Stored { verdict });
            }
            "unwatched" => self.step(Event::Unwatched),
            "rejoined" => self.step(Event::Rejoined { device: rest.to_string() }),
            "recall" => self.recall(rest)?,
            "unpaced" => self.paced = false,
            "every" => self.every_s = Some(rest.parse().map_err(|_| "every SECONDS")?),
            "simple" => self.round.settings.decision = DecisionRule::Simple,
            "arm" => self.step(Event::Arm(Box::new(self.plan.clone()))),
            "confirm" => self.step(Event::from(Act::Confirm { hold_point: rest.to_string() })),
            "withdraw" => self.step(Event::from(Act::Withdraw { hold_point: rest.to_string() })),
            "gate" => self.gate()?,
            "energised" => self.step(Event::from(Act::Energised)),
            "say" => self.step(Event::from(Act::of_line(rest).map_err(|e| e.to_string())?)),
            "stop" => {
                self.stops.push(self.plan.clone());
                self.round.route = Route::new(self.stops.clone());
            }
            "again" => self.step(Event::from(Act::Again { as_left: rest == "as left" })),
            "finish" => self.step(Event::from(Act::Finish)),
            "yes" | "no" => {
                let question = match rest {
                    "" => None,
                    number => Some(number.parse().map_err(|_| "yes NUMBER")?),
                };
                self.step(Event::from(Act::Answer { question, yes: word == "yes" }));
            }
            "typed" => self.typed(rest)?,
            "rules" => self.step(Event::Rules(if rest == "all" { rules() } else { RuleSet::default() })),
            "open" => self.step(Event::from(Act::Type {
                point: rest.to_string(),
                value: Display::Open,
                accuracy: None,
            })),
            "gap" => self.step(Event::Gap { device: rest.to_string() }),
            "wait" => {
                self.pass_time(span(rest)?);
                self.step(Event::Tick);
            }
            "back" => self.now = self.now + Duration::from_micros(-span(rest)?.micros()),
            "together" => {
                let (times, lines) = rest.split_once(' ').ok_or("together TIMES A | B")?;
                for _ in 0..times.parse().map_err(|_| "TIMES")? {
                    lines.split('|').try_for_each(|line| self.line(line.trim()))?;
                }
            }
            "expect" => self.expect(rest)?,
            "phase" | "live" | "shows" | "prompt" | "note" | "reads" | "changes" | "waits" | "second" => {
                self.look(word, rest)?
            }
            device => self.readings(device, rest)?,
        }
        Ok(())
    }

    fn recall(&mut self, rest: &str) -> Result<(), String> {
        let mut words = rest.split('|').map(str::trim);
        let mut recall =
            Recall { unit_tag: words.next().unwrap_or_default().to_string(), ..Recall::default() };
        for word in words {
            if let Some(component) = word.strip_prefix("owed ") {
                recall.owed.push(Owed {
                    unit_tag: recall.unit_tag.clone(),
                    component: component.to_string(),
                    hold_point: "one lead off".to_string(),
                    what: crate::hold::of("one lead off").owes.unwrap_or_default().to_string(),
                });
            } else if word == "closed" {
                recall.closed = true;
            } else if let Some(judged) = word.strip_prefix("judged ") {
                let (component, rule) = judged.split_once(" / ").ok_or("judged COMPONENT / RULE")?;
                recall.judged.push((component.to_string(), rule.to_string()));
            } else if let Some(failed) = word.strip_prefix("failed ") {
                let (component, rule) = failed.split_once(" / ").ok_or("failed COMPONENT / RULE")?;
                recall.failed.push((component.to_string(), rule.to_string()));
            } else {
                recall.service = Service::of_word(word).ok_or("locked out, power back or ran")?;
            }
        }
        self.step(Event::Recall(Box::new(recall)));
        Ok(())
    }

    fn plate(&mut self, rest: &str) -> Result<(), String> {
        if rest == "none" {
            self.plan.plate.clear();
            return Ok(());
        }
        let (name, value) = rest.split_once(' ').ok_or("plate NAME VALUE")?;
        let typed = parse_typed(value).map_err(|e| e.to_string())?;
        let entered = Entered::Number { number: typed.number, unit: typed.unit.ok_or("a unit")? };
        self.plan.plate.push((name.to_string(), entered));
        Ok(())
    }

    fn bind(&mut self, rest: &str) -> Result<(), String> {
        let words: Vec<&str> = rest.split_whitespace().collect();
        let [point, device, channel] = words[..] else { return Err("bind POINT DEVICE CHANNEL".into()) };
        let channel = channel.parse().map_err(|_| "a channel")?;
        self.plan
            .bindings
            .push(Binding { point: point.into(), from: quantity::DeviceChannel::new(device, channel) });
        Ok(())
    }

    fn gate(&mut self) -> Result<(), String> {
        let rule = self.round.rules.find(&self.plan.rule).ok_or("no such rule")?.clone();
        for hold_point in rule.header().hold_points.clone() {
            self.step(Event::from(Act::Confirm { hold_point }));
        }
        Ok(())
    }

    fn typed(&mut self, rest: &str) -> Result<(), String> {
        let (point, value) = rest.split_once(' ').ok_or("typed POINT VALUE")?;
        let value = parse_typed(value).map_err(|e| e.to_string())?;
        self.step(Event::from(Act::Type {
            point: point.to_string(),
            value: value.into(),
            accuracy: self.accuracy,
        }));
        Ok(())
    }

    fn readings(&mut self, device: &str, rest: &str) -> Result<(), String> {
        let (device, channel) = device.split_once('/').unwrap_or((device, "0"));
        let mut words = rest.split_whitespace().peekable();
        let display = words.next().ok_or("no such line")?;
        let mut unit = words.next().ok_or("a unit")?.to_string();
        if let Some(coupling @ ("ac" | "dc")) = words.peek().copied() {
            unit = format!("{unit} {coupling}");
            words.next();
        }
        let (unit, coupling) = Coupling::strip_from(&unit);
        let unit = Unit::parse(unit).map_err(|e| e.to_string())?;
        let (mut times, mut hertz, mut noise, mut slope, mut late) = (1_i64, 10.0_f64, 0_u64, 0_i64, 0_i64);
        let mut flags = Flags::default();
        while let Some(word) = words.next() {
            match word {
                "hold" => flags.hold = true,
                "relative" => flags.relative = true,
                "min-max" => flags.min_max = true,
                "low-battery" => flags.low_battery = true,
                "late" => late = words.next().and_then(|s| s.parse().ok()).ok_or("late SECONDS")?,
                _ if word.starts_with('x') => times = word.split_at(1).1.parse().map_err(|_| "xCOUNT")?,
                _ if word.starts_with('~') => noise = word.split_at(1).1.parse().map_err(|_| "~COUNTS")?,
                _ if word.starts_with(['+', '-']) => slope = word.parse().map_err(|_| "+COUNTS")?,
                _ if word.starts_with('@') => {
                    hertz = word.split_at(1).1.trim_end_matches("Hz").parse().map_err(|_| "@RATEHz")?;
                }
                _ => return Err(format!("what is {word:?}?")),
            }
        }
        for i in 0..times {
            self.pass_time(Duration::from_micros((1e6 / hertz) as i64));
            let state = match display {
                "OL" => State::Overload(Sign::Positive),
                "---" => State::NoValue,
                _ => State::Value(self.shaken(display, noise, slope * i)?),
            };
            self.seq += 1;
            let at = self.now + Duration::from_secs(-late);
            let channel = channel.parse().map_err(|_| "a channel")?;
            let (seq, accuracy) = (self.seq, self.accuracy);
            let timing =
                Timing { conversion_s: self.every_s.or(self.paced.then_some(1.0 / hertz)), response_s: None };
            let reading = Reading {
                at,
                seq,
                channel,
                display: DisplayUnit { unit, coupling },
                state,
                flags,
                accuracy,
                timing,
            };
            self.step(Event::Reading { device: device.to_string(), reading });
        }
        Ok(())
    }

    /// The display moved by up to `noise` counts either way and by `shift` counts.
    fn shaken(&mut self, display: &str, noise: u64, shift: i64) -> Result<Decimal, String> {
        let decimal = Decimal::parse(display).map_err(|e| e.to_string())?;
        self.noise =
            self.noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let by = i64::try_from((self.noise >> 33) % (2 * noise + 1)).unwrap() - i64::try_from(noise).unwrap();
        if by + shift == 0 {
            return Ok(decimal); // keeps the sign of -0.00
        }
        Decimal::new(decimal.mantissa() + by + shift, decimal.exponent()).ok_or_else(|| "too far".into())
    }

    fn expect(&mut self, wanted: &str) -> Result<(), String> {
        let optional = |text: &str| {
            ["opened", "returned", "service", "armed", "shown", "settled", "completed", "owed", "proving"]
                .iter()
                .any(|kind| text.starts_with(kind))
        };
        loop {
            let Some(next) = self.pending.pop_front() else {
                return if wanted == "nothing" {
                    Ok(())
                } else {
                    Err(format!("wanted: {wanted}\n   got: nothing more"))
                };
            };
            let got = text(&next.output);
            if like(&got, wanted) {
                return Ok(());
            }
            if !optional(&got) {
                return Err(format!("wanted: {wanted}\n   got: {got}"));
            }
        }
    }

    fn look(&self, word: &str, wanted: &str) -> Result<(), String> {
        let view = self.round.view(self.now);
        let got = match word {
            "phase" => view.check.map_or("none".to_string(), |c| format!("{:?}", c.phase).to_lowercase()),
            "shows" => view.live.map_or_else(|| "nothing".to_string(), |live| live.shown),
            "live" => view.verdict.map_or("none", |(_, live)| if live { "yes" } else { "no" }).to_string(),
            "prompt" => view.check.map_or(String::new(), |c| c.prompt),
            "waits" => {
                let waits = self.round.still_waits();
                waits.iter().map(|of| format!("{}: {}", of.what, of.why)).collect::<Vec<_>>().join("; ")
            }
            "changes" => view.amendment_changes.to_string(),
            "second" => self.verdict.as_ref().map_or(String::new(), |v| {
                v.second_looks.iter().map(second_look).collect::<Vec<_>>().join("; ")
            }),
            "note" => self.verdict.as_ref().map_or(String::new(), |v| v.notes.join("; ")),
            _ => self.verdict.as_ref().map_or(0, |v| v.readings.len()).to_string(),
        };
        if like(&got, wanted) {
            Ok(())
        } else {
            Err(format!("wanted: {word} {wanted}\n   got: {word} {got}"))
        }
    }
}

/// `three phase, control, bus`; or `unknown`.
fn supply(text: &str) -> Result<Supply, String> {
    let mut supply = Supply::default();
    for word in text.split(',').map(str::trim) {
        match word {
            "unknown" => supply.line = Line::Unknown,
            "control" => supply.separate_control = true,
            "bus" => supply.capacitor_bus = true,
            line => supply.line = Line::parse(line)?,
        }
    }
    Ok(supply)
}

fn span(text: &str) -> Result<Duration, String> {
    let (number, unit) = text.split_once(' ').ok_or("20 min")?;
    let number: f64 = number.parse().map_err(|_| "a number")?;
    let unit = match unit {
        "s" => 1e6,
        "min" => 6e7,
        "h" => 3.6e9,
        _ => return Err(format!("what is {unit:?}?")),
    };
    Ok(Duration::from_micros((number * unit) as i64))
}

/// One output on one line.
pub(super) fn text(output: &Output) -> String {
    match output {
        Output::Armed { rule, unit_tag, component, .. } => format!("armed {rule} on {unit_tag} {component}"),
        Output::HoldPoint { name, evidence } => match &evidence.how {
            How::Confirmed(_) => format!("shown {name}"),
            How::Stream(says) => format!("shown {name}: {says}"),
        },
        Output::Lapsed { name, why } => format!("lapsed {name}: {}", why.text()),
        Output::Contradicted { unit_tag, sign } => format!("contradicted {unit_tag}: {sign}"),
        Output::Proving { hold_point, says } => format!("proving {hold_point}: {says}"),
        Output::Settled(r) => format!("settled {} {} {} from {}", r.point, r.shown, r.display.unit, r.device),
        Output::Completed { verdict, reading: r, judgements, second_look: second } => {
            let mut figure =
                format!("completed {verdict}: {} {:.2} {}", r.point, r.quantity.value(), r.display.unit);
            if let Some(second) = second {
                figure = format!("{figure}; second {}", second_look(second));
            }
            judgements.iter().fold(figure, |text, j| {
                format!("{text}; {} {:.2} {}", j.judgement.name, j.judgement.value, j.judgement.unit)
            })
        }
        Output::Amended { verdict, word, moved, changes, .. } => {
            let moved = if *moved { ", moved" } else { "" };
            let last = if *changes > AMENDMENTS_MAX { ", the last" } else { "" };
            format!("amended {verdict}: {word}{moved}{last}")
        }
        Output::Reset { why } => format!("reset {}", why.text()),
        Output::Asked { question, .. } => format!("asked {question}"),
        Output::Opened { unit_tag, .. } => format!("opened {unit_tag}"),
        Output::Returned { unit_tag, .. } => format!("returned {unit_tag}"),
        Output::Recalled { unit_tag, owed, judged, findings } => {
            format!("recalled {unit_tag}: {judged} judged, {findings} found, {} owed", owed.len())
        }
        Output::TakeOver { unit_tag, .. } => format!("take over {unit_tag}"),
        Output::Service { unit_tag, service, .. } => format!("service {unit_tag}: {service:?}"),
        Output::Skipped { check, why, .. } => {
            format!("skipped {check}: {}", why.as_deref().unwrap_or("nothing was done"))
        }
        Output::RouteEnds { checks, judged } => format!("route ends: {judged} of {checks}"),
        Output::Paused { .. } => "paused".to_string(),
        Output::Resumed { .. } => "resumed".to_string(),
        Output::Finding { unit_tag, component, text, as_left, .. } => {
            let when = if *as_left { "left" } else { "found" };
            format!("{when} {unit_tag} {component}: {text}")
        }
        Output::Owed { owed, .. } => format!("owed {} {}", owed.unit_tag, owed.in_words()),
        Output::Restored { owed, .. } => format!("restored {} {}", owed.unit_tag, owed.in_words()),
        Output::Closed { unit_tag, why, owed, .. } => {
            let owed: Vec<String> = owed.iter().map(Owed::in_words).collect();
            let why = why.as_deref().unwrap_or("nothing open");
            let owed = if owed.is_empty() { "nothing".to_string() } else { owed.join("; ") };
            format!("closed {unit_tag}: {why}; owed {owed}")
        }
        Output::Refused { why } => format!("refused {why}"),
        Output::Verdict(verdict) if verdict.danger => {
            let names: Vec<&str> = verdict.judgements.iter().map(|j| &*j.judgement.name).collect();
            let advice = verdict.advice().unwrap_or_default();
            format!("verdict {}, {}: {advice}", verdict.word, names.join(", "))
        }
        Output::Verdict(verdict) => match &verdict.reason {
            Some(reason) => format!("verdict {}: {reason}", verdict.word).replace('\n', " "),
            None => format!("verdict {}", verdict.word),
        },
    }
}

/// A reading that was read before.
fn second_look(of: &SecondLook) -> String {
    let says = match &of.agreement {
        Agreement::AsLeft => "as left",
        other => match other.agrees() {
            Some(true) => "agrees",
            Some(false) => "does not agree",
            None => "unknown",
        },
    };
    format!("{} {:.2} after {:.2}: {says}", of.point, of.second.value, of.first.value)
}

/// `...` stands for any text.
fn like(got: &str, wanted: &str) -> bool {
    let parts: Vec<&str> = wanted.split("...").collect();
    let [first, middle @ .., last] = &parts[..] else { return got == wanted };
    let Some(mut rest) = got.strip_prefix(first) else { return false };
    for part in middle {
        let Some(at) = rest.find(part) else { return false };
        rest = rest.split_at(at + part.len()).1;
    }
    rest.ends_with(last)
}

/// Runs one case; the error is what to print.
fn run_case(file: &str, case: &[(usize, &str)], ticks: bool) -> Result<Vec<Stamped>, String> {
    let mut runner = Runner::new(ticks);
    let fault = |line: usize, what: String| {
        let ticked = if ticks { " (with ticks in between)" } else { "" };
        format!("{file}:{line}{ticked}\n{what}")
    };
    for &(number, line) in case {
        runner.line(line).map_err(|what| fault(number, what))?;
    }
    let last = case.last().map_or(0, |(number, _)| *number);
    runner.expect("nothing").map_err(|what| fault(last, format!("at the end of the case, {what}")))?;
    Ok(runner.said)
}

fn run_file(file: &str, content: &str) {
    let mut cases: Vec<(&str, Vec<(usize, &str)>)> = vec![];
    for (number, line) in content.lines().enumerate() {
        let line = line.split(" #").next().unwrap().trim();
        if let Some(name) = line.strip_prefix("== ") {
            cases.push((name, vec![]));
        } else if !line.is_empty() && !line.starts_with('#') {
            cases.last_mut().expect("a case starts with ==").1.push((number + 1, line));
        }
    }
    let mut faults = vec![];
    for (name, case) in &cases {
        let plain = run_case(file, case, false);
        let ticked = run_case(file, case, true);
        match (plain, ticked) {
            (Ok(plain), Ok(ticked)) if plain == ticked => {}
            (Ok(plain), Ok(ticked)) => {
                let at = plain.iter().zip(&ticked).position(|(a, b)| a != b).unwrap_or(plain.len());
                faults.push(format!(
                    "{name}: ticks change what is said:\n{:?}\n{:?}",
                    plain.get(at),
                    ticked.get(at)
                ));
            }
            (Err(fault), _) | (_, Err(fault)) => faults.push(format!("{name}: {fault}")),
        }
    }
    assert!(!cases.is_empty(), "{file} has no case");
    assert!(faults.is_empty(), "{} of {} cases:\n\n{}\n", faults.len(), cases.len(), faults.join("\n\n"));
}

macro_rules! files {
    ($($name:ident),+) => { $(
        #[test]
        fn $name() {
            let file = concat!("crates/visit/src/round/tests/", stringify!($name), ".round");
            run_file(file, include_str!(concat!(stringify!($name), ".round")));
        }
    )+ };
}

files!(
    verdicts,
    figures,
    looks,
    hold_points,
    proofs,
    breaks,
    points,
    typed,
    plans,
    moment,
    open,
    shows,
    storing,
    unwatched,
    acts,
    life,
    state,
    scope,
    danger,
    pairs,
    stays
);

#[test]
fn a_wrong_expectation_is_reported_with_its_line_and_the_difference() {
    let case = [(7, "rule bare"), (8, "arm"), (9, "finish"), (10, "expect verdict pass")];
    let fault = run_case("x.round", &case, false).unwrap_err();
    assert_eq!(
        fault,
        "x.round:10\nwanted: verdict pass\n   got: verdict no verdict: no reading for: capacitance"
    );
    let silent = [(1, "rule bare"), (2, "arm"), (3, "expect verdict pass")];
    assert!(run_case("x.round", &silent, false).unwrap_err().contains("got: nothing more"));
    let unexpected = [(1, "rule bare"), (2, "arm"), (3, "finish")];
    assert!(run_case("x.round", &unexpected, false).unwrap_err().contains("no reading for"));
}
