//! Every shipped rule through the whole round with something missing or broken: never a pass. `RULE_CASES` says how many cases each
//! rule gets (100,000 for a release build, see DEVELOPERS.md); the ordinary run draws fewer. `RULE_NAME` takes one rule alone.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing)] // test code
#![allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, clippy::cast_sign_loss)] // random numbers
mod support;

use judge::limits::Word;
use judge::rule::{PlateDefault, Rule};
use quantity::{Decimal, Duration, Flags, Instant, Reading, Sign, State, Unit, parse_typed};
use support::shipped_rules;
use visit::act::Act;
use visit::round::{Entered, Event, Output, Plan, Round, Settings};

/// `SplitMix64` (Steele, Lea, Flood 2014).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }

    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A number of any usual size; often one that the rule finds plausible.
    fn number(&mut self, plausible: Option<(f64, f64)>) -> Decimal {
        let value = match (self.below(4), plausible) {
            (0..=2, Some((low, high))) => low + (high - low) * self.unit(),
            (0, _) => 0.0,
            (1, _) => 10f64.powf(self.unit() * 9.0 - 3.0),
            _ => self.unit() * 500.0,
        };
        Decimal::parse(&format!("{value:.3}")).unwrap()
    }
}

/// What is wrong with a case.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Defect {
    /// Nothing: the case only shows that passes do come out.
    None,
    ReadingMissing,
    PlateMissing,
    /// A nameplate value outside its bounds, and nobody answers the question about it.
    PlateOutside,
    HoldPointOpen,
    WrongUnit,
    Stale,
    Held,
    Overload,
    NoValue,
    LinkLost,
}

const DEFECTS: [Defect; 11] = [
    Defect::None,
    Defect::ReadingMissing,
    Defect::PlateMissing,
    Defect::PlateOutside,
    Defect::HoldPointOpen,
    Defect::WrongUnit,
    Defect::Stale,
    Defect::Held,
    Defect::Overload,
    Defect::NoValue,
    Defect::LinkLost,
];

/// The wrong unit of another kind.
fn other_unit(unit: Unit) -> Unit {
    if unit.kind() == Unit::MICROFARAD.kind() { Unit::OHM } else { Unit::MICROFARAD }
}

fn plan(rule: &dyn Rule, dice: &mut Dice, defect: Defect) -> Option<Plan> {
    let header = rule.header();
    let required: Vec<usize> = (0..header.nameplate.len())
        .filter(|index| matches!(header.nameplate[*index].default, PlateDefault::Required))
        .collect();
    let without = match defect {
        Defect::PlateMissing if required.is_empty() => return None,
        Defect::PlateMissing => Some(required[dice.below(required.len())]),
        _ => None,
    };
    let bounded: Vec<usize> =
        (0..header.nameplate.len()).filter(|index| header.nameplate[*index].plausible.is_some()).collect();
    let outside = match defect {
        Defect::PlateOutside if bounded.is_empty() => return None,
        Defect::PlateOutside => Some(bounded[dice.below(bounded.len())]),
        _ => None,
    };
    let mut plate = Vec::new();
    for (index, item) in header.nameplate.iter().enumerate() {
        let entered = required.contains(&index) || dice.below(3) == 0 || outside == Some(index);
        if !entered || without == Some(index) {
            continue;
        }
        let value = if item.choices.is_empty() {
            let within = dice.number(item.plausible);
            let beyond = item.plausible.filter(|_| outside == Some(index)).map(|(low, high)| {
                let by = (high - low) * (0.01 + dice.unit());
                Decimal::parse(&format!("{:.3}", if dice.below(2) == 0 { high + by } else { low - by }))
                    .unwrap()
            });
            Entered::Number { number: beyond.unwrap_or(within), unit: item.unit }
        } else {
            Entered::Word(item.choices[dice.below(item.choices.len())].clone())
        };
        plate.push((item.name.clone(), value));
    }
    Some(Plan {
        unit_tag: "RTU-05".into(),
        component: "part".into(),
        rule: rule.id().into(),
        plate,
        bindings: Vec::new(),
        ..Plan::default()
    })
}

/// Twenty readings of a meter that must not count; gives the time after them.
fn broken_meter(
    round: &mut Round,
    point: &judge::rule::Point,
    number: Decimal,
    defect: Defect,
    mut now: Instant,
    out: &mut Vec<visit::round::Stamped>,
) -> Instant {
    for seq in 0..20 {
        now = now + Duration::from_millis(100);
        let late = Duration::from_secs(if defect == Defect::Stale { -60 } else { 0 });
        let state = match defect {
            Defect::Overload => State::Overload(Sign::Positive),
            Defect::NoValue => State::NoValue,
            _ => State::Value(number),
        };
        let flags = Flags { hold: defect == Defect::Held, ..Flags::default() };
        let quantity::DisplayUnit { unit, coupling } = point.display;
        let reading = Reading {
            at: now + late,
            seq,
            channel: 0,
            display: quantity::DisplayUnit { unit, coupling },
            state,
            flags,
            accuracy: None,
            timing: quantity::Timing::default(),
        };
        out.extend(round.step(Event::Reading { device: "meter".into(), reading }, now));
        if defect == Defect::LinkLost && seq % 2 == 1 {
            out.extend(round.step(Event::Gap { device: "meter".into() }, now));
        }
    }
    now
}

/// One check from its arming to its end; the word.
fn run(rules: &judge::rule::RuleSet, rule: &dyn Rule, dice: &mut Dice, defect: Defect) -> Option<Word> {
    let header = rule.header();
    let plan = plan(rule, dice, defect)?;
    let mut round = Round::new(rules.clone(), Settings::default());
    let mut now = Instant::from_micros(1_000_000);
    let mut out = round.step(Event::Arm(Box::new(plan)), now);
    let open = (defect == Defect::HoldPointOpen).then(|| dice.below(header.hold_points.len().max(1)));
    let left_open = open.and_then(|index| header.hold_points.get(index));
    // Who says that it runs says with it that it has power.
    let runs = |name: &String| name.starts_with("running") || name == "burner steady";
    let said_all_the_same =
        left_open.is_some_and(|name| name == "power on") && header.hold_points.iter().any(runs);
    if (open.is_some() && left_open.is_none()) || said_all_the_same {
        return None;
    }
    for (index, hold_point) in header.hold_points.iter().enumerate() {
        if open != Some(index) {
            out.extend(round.step(Event::from(Act::Confirm { hold_point: hold_point.clone() }), now));
        }
    }
    let bad = dice.below(header.points.len());
    for (index, point) in header.points.iter().enumerate() {
        let number = dice.number(point.plausible);
        let broken = index == bad;
        let whole = [Defect::None, Defect::PlateMissing, Defect::PlateOutside, Defect::HoldPointOpen];
        if !broken || whole.contains(&defect) {
            let value = parse_typed(&format!("{number} {}", point.display.unit)).unwrap();
            out.extend(round.step(
                Event::from(Act::Type { point: point.name.clone(), value: value.into(), accuracy: None }),
                now,
            ));
            continue;
        }
        match defect {
            Defect::WrongUnit => {
                let value = parse_typed(&format!("{number} {}", other_unit(point.display.unit))).unwrap();
                out.extend(round.step(
                    Event::from(Act::Type { point: point.name.clone(), value: value.into(), accuracy: None }),
                    now,
                ));
            }
            Defect::ReadingMissing => {}
            _ => now = broken_meter(&mut round, point, number, defect, now, &mut out),
        }
    }
    // Whatever is asked is answered with yes: a question is no way round a defect. Not for open circuits, which are a finding.
    for _ in 0..8 {
        let asked = out.iter().rev().find_map(|stamped| match &stamped.output {
            Output::Asked { number, question } => Some((*number, question.contains("open"))),
            _ => None,
        });
        if let Some((number, false)) = asked
            && defect != Defect::PlateOutside
        {
            out.extend(round.step(Event::from(Act::Answer { question: Some(number), yes: true }), now));
        }
    }
    out.extend(round.step(Event::from(Act::Finish), now));
    out.iter().find_map(|stamped| match &stamped.output {
        Output::Verdict(verdict) => Some(verdict.word),
        _ => None,
    })
}

#[test]
fn nothing_missing_stale_or_broken_ever_passes() {
    let cases: usize = std::env::var("RULE_CASES").ok().and_then(|text| text.parse().ok()).unwrap_or(100);
    let rules = shipped_rules();
    let mut never = Vec::new();
    let (mut drawn, mut passes) = (0_usize, 0_usize);
    let only = std::env::var("RULE_NAME").ok();
    for rule in rules.iter().filter(|rule| only.as_deref().is_none_or(|only| only == rule.id())) {
        let mut dice = Dice(
            0x5EED
                ^ rule
                    .id()
                    .bytes()
                    .fold(7, |sum: u64, byte| sum.wrapping_mul(31).wrapping_add(u64::from(byte))),
        );
        let mut passed = 0;
        for case in 0..cases {
            let defect = DEFECTS[case % DEFECTS.len()];
            let Some(word) = run(&rules, &**rule, &mut dice, defect) else { continue };
            drawn += 1;
            if matches!(word, Word::Pass | Word::ConditionalPass) {
                assert_eq!(defect, Defect::None, "{}: {word} with {defect:?}, case {case}", rule.id());
                passed += 1;
            }
        }
        passes += passed;
        if passed == 0 {
            never.push(rule.id().to_owned());
        }
    }
    println!("{drawn} cases, {passes} passes without a defect; no pass drawn: {}", never.join(", "));
    // The check is no check unless passes come out where nothing is wrong.
    assert!(passes > 20 && never.len() < rules.iter().count(), "{passes} passes; none of {never:?}");
}
