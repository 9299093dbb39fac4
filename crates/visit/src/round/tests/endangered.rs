//! Random visits with a danger: no reading past its limit at rest stays without a danger verdict, whatever is open; and there is
//! none without such a reading.
use alloc::format;

use quantity::{Decimal, Duration, Flags, Sign, State, parse_typed};

use super::property::Dice;
use super::*;

const SEQUENCES: u64 = 600;
const EVENTS: u64 = 12;
/// Readings of the burst that must be enough, ten a second.
const AT_REST: u32 = 300;

/// Rules, what is past the limit of their danger, and what is not.
const RULES: [(&str, &str, &[&str], &[&str]); 5] = [
    ("flue", "ppm", &["401", "2000", "OL"], &["399", "12", "0"]),
    ("air", "ppm", &["36.0", "250", "OL"], &["35.0", "3", "0"]),
    ("gauges", "psig", &["651.0", "700"], &["649.0", "118", "350"]),
    ("charged", "V dc", &["50.3", "-320"], &["49.7", "-49.7", "0.02"]),
    ("charged", "V dc", &["OL"], &["12.0"]),
];

fn reading(device: &str, channel: u8, display: (&str, &str), flags: Flags, at: Instant) -> Event {
    let (unit, coupling) = Coupling::strip_from(display.1);
    let state = match display.0 {
        "OL" => State::Overload(Sign::Positive),
        "---" => State::NoValue,
        number => State::Value(Decimal::parse(number).unwrap()),
    };
    let display = DisplayUnit { unit: Unit::parse(unit).unwrap(), coupling };
    let timing = quantity::Timing { conversion_s: Some(0.1), response_s: None };
    let reading = Reading { at, seq: 0, channel, display, state, flags, accuracy: None, timing };
    Event::Reading { device: device.to_string(), reading }
}

/// What may lie before: everything but a value past the limit.
fn before(dice: &mut Dice, rule: &Native, unit: &str, fine: &[&str]) -> Event {
    let any = usize::try_from(dice.below(2)).unwrap();
    let hold_point = || rule.header.hold_points.get(any).cloned().unwrap_or_default();
    let point = &rule.header.points[0].name;
    match dice.below(20) {
        0 | 1 | 16 | 17 => Event::from(Act::Confirm { hold_point: hold_point() }),
        2 => Event::from(Act::Withdraw { hold_point: hold_point() }),
        3 | 4 => {
            let value = parse_typed(&format!("{}{unit}", dice.pick(fine))).unwrap();
            Event::from(Act::Type { point: point.clone(), value: value.into(), accuracy: None })
        }
        5 | 18 | 19 => {
            let value = parse_typed("30%vol").unwrap();
            Event::from(Act::Type { point: "oxygen".to_string(), value: value.into(), accuracy: None })
        }
        6 => Event::from(Act::Answer { question: None, yes: dice.one_in(2) }),
        7 => Event::from(Act::Pause),
        8 => Event::from(Act::Resume),
        9 => Event::from(Act::Again { as_left: false }),
        10 => Event::from(Act::Energised),
        11 => Event::Gap { device: "meter".to_string() },
        12 => Event::Unwatched,
        13 => Event::from(Act::Finish),
        _ => Event::Tick,
    }
}

fn dangers(out: &[Stamped]) -> usize {
    out.iter().filter(|said| matches!(&said.output, Output::Verdict(verdict) if verdict.danger)).count()
}

#[test]
fn no_reading_past_a_dangers_limit_at_rest_stays_without_a_danger_verdict() {
    let natives = rules_with_dangers();
    let (mut gated, mut asked, mut judged, mut paused) = (0, 0, 0, 0);
    for seed in 0..SEQUENCES {
        let mut dice = Dice(seed);
        let (id, unit, past, fine) = RULES[usize::try_from(dice.below(RULES.len() as u64)).unwrap()];
        let rule = natives.iter().find(|rule| rule.id == id).unwrap();
        let mut round = Round::new(rules(), Settings::default());
        let mut now = Instant::from_micros(1);
        assert_eq!(dangers(&round.step(armed(id), now)), 0);
        for _ in 0..dice.below(EVENTS) {
            let event = before(&mut dice, rule, unit, fine);
            now = now + Duration::from_millis(i64::try_from(dice.below(3_000)).unwrap());
            assert_eq!(dangers(&round.step(event, now)), 0, "seed {seed}: {id}");
            let flags = Flags { hold: dice.one_in(8), ..Flags::default() };
            let value = if flags.hold { dice.pick(past) } else { dice.pick(fine) };
            for _ in 0..dice.below(40) {
                now = now + Duration::from_millis(100);
                let device = dice.pick(&["meter", "meter", "bench"]);
                let out = round.step(reading(device, 0, (value, unit), flags, now), now);
                assert_eq!(dangers(&out), 0, "seed {seed}: {id} at {value} {unit}");
            }
        }
        if round.armed().is_none() {
            assert_eq!(dangers(&round.step(armed(id), now)), 0);
        }
        let view = round.view(now);
        paused += u32::from(view.paused);
        match view.check.unwrap().phase {
            Phase::HoldPoints => gated += 1,
            Phase::Asking => asked += 1,
            Phase::Done => judged += 1,
            Phase::Measuring => {}
        }
        let (device, channel) = (dice.pick(&["meter", "bench", "third"]), u8::from(dice.one_in(2)));
        let value = dice.pick(past);
        let (mut found, mut after) = (0, 0);
        for _ in 0..AT_REST {
            after += found;
            if after > 30 {
                break;
            }
            now = now + Duration::from_millis(100);
            let other = reading("other", 0, (fine[0], unit), Flags::default(), now);
            found += if dice.one_in(9) { dangers(&round.step(other, now)) } else { 0 };
            found +=
                dangers(&round.step(reading(device, channel, (value, unit), Flags::default(), now), now));
        }
        assert_eq!(found, 1, "seed {seed}: {id} at {value} {unit} on {device}/{channel}, once");
        let (verdict, _) = round.view(now).verdict.unwrap();
        assert!(verdict.danger && verdict.word == Word::Fail && verdict.reason.is_none(), "seed {seed}");
    }
    std::eprintln!("{gated} behind hold points, {asked} asked, {judged} judged, {paused} paused");
    assert!(gated > 100 && asked > 5 && judged > 50 && paused > 50, "{gated} {asked} {judged} {paused}");
}
