//! Promises of the chain bytes -> verdict, driven without the program: how a stream is cut into pieces, what other
//! devices send in between and how often the clock is looked at change no byte of a verdict.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use checks::{Leads, Meter, root};
use judge::rule::RuleSet;
use pipeline::{Event, Output, Pipeline};
use proptest::prelude::*;
use quantity::{Coupling, Instant, Unit};
use record::VerdictJson;
use visit::act::Act;
use visit::round::{self, Settings};

use crate::site::HOLD_POINTS;

fn rules() -> RuleSet {
    static RULES: OnceLock<RuleSet> = OnceLock::new();
    let load = || {
        let path = root().join("rules/capacitors/run-capacitor.rhai");
        let text = std::fs::read_to_string(path).unwrap();
        let loader = script::RuleSetLoader::new(script::Limits::default());
        loader.load([("run-capacitor.rhai", text.as_str())]).expect("the shipped rule").set
    };
    RULES.get_or_init(load).clone()
}

/// What happens, with its time in microseconds.
type Events = Vec<(i64, Event)>;

const FRAME_US: i64 = 100_000;

/// A check on a part that reads `value`: leads in the air, on the part, in the air. Ten frames a second.
fn visit(value: f64) -> Events {
    let profile = Meter::profile();
    let joined =
        |device: &str| Event::Joined { device: device.to_owned(), kind: pipeline::meter(profile.clone()) };
    let plate = BTreeMap::from([("capacitance".to_owned(), "12.5 uF".to_owned())]);
    let plan = site::plan("RTU-02", "fan run capacitor", "run-capacitor", &plate, &BTreeMap::new()).unwrap();
    let mut events = vec![(0, joined("meter")), (0, joined("other"))];
    events.push((0, Event::Round(round::Event::Arm(Box::new(plan)))));
    for name in HOLD_POINTS {
        events.push((0, Event::Round(round::Event::from(Act::Confirm { hold_point: name.to_owned() }))));
    }
    let mut at = FRAME_US;
    for (leads, frames) in
        [(Leads::microfarads(0.0), 12), (Leads::microfarads(value), 60), (Leads::microfarads(0.0), 6)]
    {
        for count in 0..frames {
            events.push((at, bytes("meter", &leads.frame(&profile, count))));
            at += FRAME_US;
        }
    }
    events
}

fn bytes(device: &str, data: &[u8]) -> Event {
    Event::Bytes { device: device.to_owned(), data: data.to_vec() }
}

/// The verdict lines.
fn verdicts(events: &Events) -> Vec<String> {
    let mut pipeline = Pipeline::new(rules(), Settings::default());
    let mut lines = Vec::new();
    for (at, event) in events {
        for stamped in pipeline.step(event.clone(), Instant::from_micros(*at)) {
            if let Output::Round(round::Output::Verdict(verdict)) = stamped.output {
                lines.push(VerdictJson::from(&*verdict).line());
            }
        }
    }
    lines
}

/// Pass, near the limit, fail: 12.5 uF +-6 % is 11.75 to 13.25 uF.
const VALUES: [f64; 3] = [12.46, 11.88, 10.02];

#[test]
fn each_part_has_its_verdict() {
    let words = VALUES.map(|value| {
        let lines = verdicts(&visit(value));
        assert_eq!(lines.len(), 1, "{value}");
        crate::site::word(&lines[0])
    });
    assert_eq!(words, ["pass", "conditional pass", "fail"]);
}

/// Every frame cut in two at the same place, at every place.
#[test]
fn cut_at_every_place() {
    for value in VALUES {
        let whole = visit(value);
        let expected = verdicts(&whole);
        // A line of this meter has 22 bytes and CR LF (hardware-notes/generic-line-meter/README.md).
        for place in 0..=24 {
            let cut = whole
                .iter()
                .flat_map(|(at, event)| match event {
                    Event::Bytes { device, data } => {
                        let (left, right) = data.split_at(place.min(data.len()));
                        vec![(*at, bytes(device, left)), (*at, bytes(device, right))]
                    }
                    other => vec![(*at, other.clone())],
                })
                .collect();
            assert_eq!(verdicts(&cut), expected, "{value} cut at {place}");
        }
    }
}

/// Safety gates fail closed (a unit re-energised): live volts on any meter meanwhile, and there
/// is no verdict on a part that was shown to be dead.
#[test]
fn live_volts_elsewhere_close_the_gate() {
    let volts = Leads::On { value: 230.4, unit: Unit::VOLT, coupling: Some(Coupling::Ac), places: 1 };
    let profile = Meter::profile();
    let mut events = Events::new();
    for (number, (at, event)) in (0..).zip(visit(VALUES[0])) {
        let measured = matches!(event, Event::Bytes { .. });
        events.push((at, event));
        if measured {
            events.push((at, bytes("other", &volts.frame(&profile, number))));
        }
    }
    assert_eq!(verdicts(&events), Vec::<String>::new());
    let end = events.last().unwrap().0;
    events.push((end, Event::Round(round::Event::from(Act::Finish))));
    let lines = verdicts(&events);
    assert_eq!(crate::site::word(&lines[0]), "no verdict");
    let verdict: serde_json::Value = serde_json::from_str(&lines[0]).unwrap();
    let reason = verdict["reason"].as_str().unwrap();
    assert!(reason.starts_with("not yet shown: ") && reason.contains("proved dead"), "{reason}");
}

/// What another meter may say meanwhile: another kind of quantity, or garbage.
fn meanwhile() -> impl Strategy<Value = Vec<u8>> {
    let warm = Leads::On { value: 24.2, unit: Unit::CELSIUS, coupling: None, places: 1 };
    let profile = Meter::profile();
    prop_oneof![
        (0_u32..50).prop_map(move |count| warm.frame(&profile, count)),
        proptest::collection::vec(any::<u8>(), 0..40),
    ]
}

#[derive(Clone, Debug)]
struct Between {
    cuts: Vec<proptest::sample::Index>,
    other: Vec<Vec<u8>>,
    ticks_us: Vec<i64>,
}

fn between() -> impl Strategy<Value = Between> {
    let cuts = proptest::collection::vec(any::<proptest::sample::Index>(), 0..4);
    let other = proptest::collection::vec(meanwhile(), 0..3);
    let ticks = proptest::collection::vec(0..FRAME_US, 0..3);
    (cuts, other, ticks).prop_map(|(cuts, other, mut ticks_us)| {
        ticks_us.sort_unstable();
        Between { cuts, other, ticks_us }
    })
}

/// Cuts each chunk, puts other devices' bytes between its pieces and looks at the clock before it.
fn shaken(whole: &Events, between: &[Between]) -> Events {
    let mut events = Events::new();
    let mut chances = between.iter().cycle();
    for (at, event) in whole {
        let Event::Bytes { device, data } = event else {
            events.push((*at, event.clone()));
            continue;
        };
        let chance = chances.next().expect("a cycle");
        let earlier = at - FRAME_US;
        events.extend(chance.ticks_us.iter().map(|us| (earlier + us, Event::Round(round::Event::Tick))));
        let mut places: Vec<usize> = chance.cuts.iter().map(|index| index.index(data.len() + 1)).collect();
        places.sort_unstable();
        let mut other = chance.other.iter();
        let mut from = 0;
        for place in places.into_iter().chain([data.len()]) {
            events.push((*at, bytes(device, &data[from..place])));
            events.extend(other.next().map(|data| (*at, bytes("other", data))));
            from = place;
        }
    }
    events
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// Cuts, bytes of other devices in between, ticks or none: the same bytes.
    #[test]
    fn pieces_neighbours_and_ticks_change_nothing(
        which in 0..VALUES.len(),
        between in proptest::collection::vec(between(), 1..12),
    ) {
        let whole = visit(VALUES[which]);
        prop_assert_eq!(verdicts(&shaken(&whole, &between)), verdicts(&whole));
    }

    /// Bytes that are no frames never give a verdict, and never take one away afterwards.
    #[test]
    fn garbage_before_a_stream_gives_nothing_and_takes_nothing(
        garbage in proptest::collection::vec(any::<u8>(), 0..600),
    ) {
        let whole = visit(VALUES[0]);
        let start = whole.iter().position(|(_, event)| matches!(event, Event::Bytes { .. })).unwrap();
        let mut events = whole.clone();
        events.insert(start, (0, bytes("meter", &garbage)));
        prop_assert_eq!(verdicts(&events[..=start].to_vec()), Vec::<String>::new());
        let words: Vec<String> = verdicts(&events).iter().map(|line| crate::site::word(line)).collect();
        prop_assert_eq!(words, ["pass"]);
    }
}

/// The recording in which a word comes early, is contradicted, and the value comes to rest: what the page is told meanwhile.
#[test]
fn an_amendment_is_live_as_long_as_the_leads_show_it() {
    let path = root().join("tests/it/fixtures/recordings/contradicted.jsonl");
    let recording = record::read(&std::fs::read(path).unwrap()[..], &script::FrameScripts).unwrap();
    let mut pipeline = Pipeline::new(rules(), Settings::default());
    let (mut early, mut amended, mut last) = (false, false, Instant::ZERO);
    for recorded in recording.events {
        let Some(event) = recorded.event else { continue };
        last = recorded.at;
        let said = pipeline.step(event, last);
        amended |= said.iter().any(|of| matches!(of.output, Output::Round(round::Output::Amended { .. })));
        let view = pipeline.round().view(last);
        assert_eq!(view.amendment_is_live, amended, "at {} s", last.seconds());
        if let Some((verdict, live)) = &view.verdict {
            let point = &view.check.as_ref().unwrap().points[0];
            assert_eq!(
                (point.shown.as_str(), verdict.readings[0].settled),
                ("", false),
                "no value before rest"
            );
            assert!(!(amended && *live), "the old word is never live beside its amendment");
            early |= point.early.is_some();
        }
    }
    assert!(early && amended);
    // The leads come off: one frame in the air, borne out by the next.
    for _ in 0..3 {
        last = last + quantity::Duration::from_millis(100);
        pipeline.step(bytes("bench", b"CAP    0.00 uF        \r\n"), last);
    }
    let view = pipeline.round().view(last);
    assert!(!view.amendment_is_live && view.verdict.is_some_and(|(_, live)| !live));
}
