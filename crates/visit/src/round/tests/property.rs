//! Random events: nothing panics, ticks and repetition change nothing, and no pass comes without everything it needs.
//!
//! What a pass needs is reckoned here from the events alone, apart from the round's own books.
use alloc::collections::{BTreeMap, BTreeSet};
use alloc::format;

use quantity::{Decimal, Duration, Flags, Kind, Sign, State, Typed, parse_typed};

use super::*;
use crate::hold;
use crate::verdict::Verdict;
use judge::limits::Word;

/// Random sequences in an ordinary run, and events of each.
const SEQUENCES: u64 = 10_000;
const EVENTS: usize = 30;

/// SplitMix64; repeatable from its seed.
pub(super) struct Dice(pub(super) u64);

impl Dice {
    /// A place in a list of this length.
    pub(super) fn at(&mut self, length: usize) -> usize {
        usize::try_from(self.below(length as u64)).unwrap()
    }
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    pub(super) fn below(&mut self, n: u64) -> u64 {
        self.next() % n
    }
    pub(super) fn one_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }
    pub(super) fn pick<'a, T: ?Sized>(&mut self, of: &[&'a T]) -> &'a T {
        of[usize::try_from(self.below(of.len() as u64)).unwrap()]
    }
}

const RULES: [&str; 8] = [
    "run-capacitor",
    "run-capacitor",
    "run-capacitor",
    "dead-then-off",
    "leads-only",
    "bare",
    "three",
    "nonesuch",
];
const SPANS_MS: [i64; 6] = [0, 100, 2_000, 9_000, 400_000, 3_700_000];

fn plan(dice: &mut Dice) -> Plan {
    let rule = dice.pick(&RULES);
    let mut plan = Plan {
        unit_tag: dice.pick(&["RTU-07", "RTU-08"]).to_string(),
        component: dice.pick(&["C1", "C2"]).to_string(),
        rule: rule.to_string(),
        plate: Vec::new(),
        bindings: Vec::new(),
        ..Plan::default()
    };
    if rule == "run-capacitor" && !dice.one_in(8) {
        let number = Decimal::parse(dice.pick(&["40", "04"])).unwrap();
        plan.plate.push(("capacitance".to_string(), Entered::Number { number, unit: Unit::MICROFARAD }));
    }
    plan
}

fn reading(dice: &mut Dice, device: &str, display: (&str, &str), flags: Flags, at: Instant) -> Event {
    let (unit, coupling) = Coupling::strip_from(display.1);
    let state = match display.0 {
        "OL" => State::Overload(Sign::Positive),
        "---" => State::NoValue,
        number => {
            let shown = Decimal::parse(number).unwrap();
            let by = i64::try_from(dice.below(3)).unwrap() - 1;
            State::Value(Decimal::new(shown.mantissa() + by, shown.exponent()).unwrap())
        }
    };
    let reading = Reading {
        at,
        seq: 0,
        channel: 0,
        display: DisplayUnit { unit: Unit::parse(unit).unwrap(), coupling },
        state,
        flags,
        accuracy: None,
        timing: quantity::Timing::default(),
    };
    Event::Reading { device: device.to_string(), reading }
}

const DISPLAYS: [(&str, &str); 12] = [
    ("40.00", "uF"),
    ("40.00", "uF"),
    ("40.00", "uF"),
    ("40.0", "uF"),
    ("20.00", "uF"),
    ("0.01", "uF"),
    ("OL", "uF"),
    ("---", "uF"),
    ("119.0", "V ac"),
    ("0.5", "V dc"),
    ("0.12", "ohm"),
    ("OL", "ohm"),
];

/// A burst of equal-looking readings of one device, ten a second.
fn burst(dice: &mut Dice, now: &mut Instant, out: &mut Vec<(Event, Instant)>) {
    let device = dice.pick(&["meter", "meter", "meter", "bench"]);
    let display = DISPLAYS[usize::try_from(dice.below(DISPLAYS.len() as u64)).unwrap()];
    let flags = Flags {
        hold: dice.one_in(12),
        relative: dice.one_in(20),
        min_max: dice.one_in(20),
        low_battery: dice.one_in(20),
    };
    let late = if dice.one_in(20) { Duration::from_secs(-7) } else { Duration::ZERO };
    for _ in 0..=dice.below(16) {
        *now = *now + Duration::from_millis(100);
        out.push((reading(dice, device, display, flags, *now + late), *now));
    }
}

/// Confirms the five hold points in order, as a mechanic does who does not look.
fn confirm_all(now: Instant, out: &mut Vec<(Event, Instant)>) {
    out.extend(ALL_FIVE.map(|name| (Event::from(Act::Confirm { hold_point: name.to_string() }), now)));
}

fn sequence(seed: u64, events: usize) -> Vec<(Event, Instant)> {
    let mut dice = Dice(seed);
    let mut now = Instant::from_micros(1);
    let mut out: Vec<(Event, Instant)> = alloc::vec![(Event::Arm(Box::new(plan(&mut dice))), now)];
    for _ in 0..events {
        if dice.one_in(6) {
            let span = SPANS_MS[usize::try_from(dice.below(SPANS_MS.len() as u64)).unwrap()];
            now = now + Duration::from_millis(span);
        }
        let name = || ALL_FIVE.map(ToString::to_string);
        let event = match dice.below(38) {
            0 | 1 => Event::Arm(Box::new(plan(&mut dice))),
            2 => Event::from(Act::Finish),
            3 | 4 => Event::from(Act::Again { as_left: false }),
            5 => Event::from(Act::Confirm {
                hold_point: name()[usize::try_from(dice.below(5)).unwrap()].clone(),
            }),
            6 => Event::from(Act::Withdraw {
                hold_point: name()[usize::try_from(dice.below(5)).unwrap()].clone(),
            }),
            7 => Event::from(Act::Energised),
            8 => Event::Gap { device: dice.pick(&["meter", "bench"]).to_string() },
            9 => typed(&mut dice),
            10 | 11 => {
                let number = u32::try_from(dice.below(6)).unwrap();
                Event::from(Act::Answer { question: dice.one_in(2).then_some(number), yes: dice.one_in(2) })
            }
            12 => Event::Rules(rules()),
            13 => Event::Tick,
            30 => Event::from(Act::Pause),
            31..=33 => Event::from(Act::Resume),
            34 => Event::from(Act::Skip { why: "no time".to_string() }),
            35 => Event::from(Act::Restored { what: "one lead off".to_string() }),
            36 => Event::from(Act::Close { why: dice.one_in(2).then(|| "part on order".to_string()) }),
            37 => Event::Unwatched,
            14..=17 => {
                confirm_all(now, &mut out);
                continue;
            }
            _ => {
                burst(&mut dice, &mut now, &mut out);
                continue;
            }
        };
        out.push((event, now));
    }
    out
}

fn typed(dice: &mut Dice) -> Event {
    let value: Typed =
        parse_typed(dice.pick(&["40.0uF", "04uF", "40V", "-9uF", "40000nF", "1e9uF"])).unwrap();
    let point = dice.pick(&["capacitance", "c_herm", "nonesuch"]).to_string();
    Event::from(Act::Type { point, value: value.into(), accuracy: None })
}

fn play(events: &[(Event, Instant)]) -> Vec<Stamped> {
    let mut round = Round::new(rules(), Settings::default());
    events.iter().flat_map(|(event, at)| round.step(event.clone(), *at)).collect()
}

/// What the events allow, kept apart from the round.
#[derive(Default)]
struct Books {
    place: (String, String),
    /// When each hold point was last shown, by (unit, component or empty, name).
    shown: BTreeMap<(String, String, String), Instant>,
    readings: Vec<(String, Reading)>,
    gaps: Vec<(String, Instant)>,
    paused: bool,
    /// Units and components that have a lead off.
    off: BTreeSet<(String, String)>,
    /// Units that were locked out in their visit; no rule here shows that one runs again.
    locked: BTreeSet<String>,
}

impl Books {
    fn key(&self, name: &str) -> (String, String, String) {
        let scope = hold::of(name).scope;
        let unit = if scope == hold::Scope::Leads { "" } else { &self.place.0 };
        let component = if scope == hold::Scope::Component { &self.place.1 } else { "" };
        (unit.to_string(), component.to_string(), name.to_string())
    }

    fn event(&mut self, event: &Event, now: Instant, armed: bool) {
        match event {
            Event::Arm(plan) => {
                self.place = (plan.unit_tag.clone(), plan.component.clone());
                self.paused = false;
            }
            Event::Act { act: Act::Pause, .. } => {
                self.shown.clear();
                self.paused = true;
            }
            Event::Act { act: Act::Resume, .. } => self.paused = false,
            Event::Unwatched => self.shown.clear(),
            // Without an armed check nobody knows which unit has power, nor what is taken back.
            Event::Act { act: Act::Energised, .. } => self.shown.retain(|(unit, _, name), _| {
                !(hold::of(name).undone_by_power && (!armed || *unit == self.place.0))
            }),
            Event::Act { act: Act::Withdraw { hold_point }, .. } if armed && !self.paused => {
                let key = self.key(hold_point);
                self.shown.remove(&key);
            }
            // A late reading is shown and never used; that it never counts is asked of `r.at`.
            Event::Reading { device, reading }
                if !self.paused && now.since(reading.at) <= Duration::from_secs(5) =>
            {
                self.readings.push((device.clone(), *reading));
            }
            Event::Gap { device } => self.gaps.push((device.clone(), now)),
            _ => {}
        }
    }

    /// Everything that a pass must rest on; the first thing that is missing.
    fn lacks(&self, verdict: &Verdict, rule: &dyn Rule) -> Option<String> {
        for (shown, name) in verdict.hold_points.iter().zip(&rule.header().hold_points) {
            let Some(at) = self.shown.get(&self.key(name)) else { return Some(format!("{name} not shown")) };
            if verdict.at.since(*at) >= hold::of(name).lasts {
                return Some(format!("{name} lapsed"));
            }
            if shown.evidence.as_ref().is_none_or(|evidence| evidence.at != *at) {
                return Some(format!("{name} rests on other evidence"));
            }
        }
        if verdict.readings.len() != rule.header().points.len() {
            return Some("a point has no reading".to_string());
        }
        verdict.readings.iter().find_map(|r| {
            if r.display.unit.kind() != Kind::Capacitance || !r.quantity.value().is_finite() {
                return Some("wrong kind".to_string());
            }
            (r.device != "typed").then(|| self.reading_lacks(r)).flatten()
        })
    }

    fn reading_lacks(&self, r: &PointReading) -> Option<String> {
        let mine: Vec<_> =
            self.readings.iter().filter(|(device, x)| *device == r.device && x.at <= r.at).collect();
        let Some((_, last)) = mine.last() else { return Some("no reading".to_string()) };
        if last.at != r.at || last.state != State::Value(r.shown) {
            return Some("not what the meter showed".to_string());
        }
        let used = &mine[mine.len().saturating_sub(r.count as usize)..];
        let first = used.first()?.1.at;
        let bad = used.iter().find(|(_, x)| {
            !x.flags.is_live()
                || x.display.unit.kind() != Kind::Capacitance
                || !matches!(x.state, State::Value(_))
        });
        if bad.is_some() || r.count < 3 {
            return Some(format!("a reading that does not count: {bad:?}"));
        }
        let gap = self.gaps.iter().any(|(device, at)| *device == r.device && *at > first && *at < r.at);
        gap.then(|| "a gap in the middle".to_string())
    }
}

#[test]
fn no_pass_without_everything_it_needs() {
    let set = rules();
    let (mut passes, mut verdicts, mut by_meter) = (0, 0, 0);
    let (mut restored, mut closed) = (0, 0);
    for seed in 0..SEQUENCES {
        let mut round = Round::new(rules(), Settings::default());
        let mut books = Books::default();
        let mut last = Instant::ZERO;
        for (event, at) in sequence(seed, EVENTS) {
            let armed = round.check.is_some();
            let outputs = round.step(event.clone(), at);
            books.event(&event, at, armed);
            for Stamped { at, output } in outputs {
                assert!(at >= last, "seed {seed}: time goes backwards");
                last = at;
                match output {
                    Output::HoldPoint { name, evidence } => {
                        assert!(!books.paused, "seed {seed}: {name} shown in a pause");
                        let key = books.key(&name);
                        books.shown.insert(key, evidence.at);
                        if name == "one lead off" {
                            books.off.insert(books.place.clone());
                        }
                        if name == "locked out" {
                            books.locked.insert(books.place.0.clone());
                        }
                    }
                    Output::Restored { owed, .. } => {
                        restored += 1;
                        assert!(books.off.remove(&(owed.unit_tag, owed.component)), "seed {seed}: never off");
                    }
                    Output::Closed { unit_tag, why, owed, .. } => {
                        closed += 1;
                        books.paused = false;
                        let off = books.off.iter().filter(|(unit, _)| *unit == unit_tag).count();
                        assert_eq!(off, owed.len(), "seed {seed}: what is owed is named");
                        assert!(off == 0 || why.is_some(), "seed {seed}: closed with a lead off");
                        let locked = books.locked.remove(&unit_tag);
                        assert!(!locked || why.is_some(), "seed {seed}: closed while it was locked out");
                        books.shown.retain(|(unit, ..), _| *unit != unit_tag);
                    }
                    Output::Verdict(verdict) => {
                        verdicts += 1;
                        let _ = round.view(at);
                        if !matches!(verdict.word, Word::Pass | Word::ConditionalPass) {
                            assert_eq!(
                                verdict.reason.is_some(),
                                verdict.word == Word::NoVerdict,
                                "seed {seed}"
                            );
                            continue;
                        }
                        passes += 1;
                        assert!(!books.paused, "seed {seed}: a pass in a pause");
                        by_meter += usize::from(verdict.readings.iter().any(|r| r.device != "typed"));
                        let rule = set.find(&verdict.rule).unwrap();
                        // Arming ends the check before it at the old place; a pass never comes from there.
                        let lacks = books.lacks(&verdict, &**rule);
                        assert_eq!(lacks, None, "seed {seed}, {}", verdict.rule);
                    }
                    _ => {}
                }
            }
        }
    }
    std::eprintln!(
        "{verdicts} verdicts, {passes} passes, {by_meter} of them by meter, {restored} restored, {closed} closed"
    );
    assert!(restored > 500 && closed > 1_000, "{restored} restored, {closed} closed");
    assert!(passes > 1_000 && by_meter > 500 && verdicts > 3 * passes, "{passes} of {verdicts}");
}

#[test]
fn the_same_events_say_the_same_with_and_without_ticks() {
    for seed in 0..600 {
        let events = sequence(seed, EVENTS);
        let plain = play(&events);
        assert_eq!(plain, play(&events), "seed {seed}: twice the same events");
        let mut dice = Dice(seed ^ 0xabcd);
        let mut ticked = Vec::new();
        let mut before = Instant::ZERO;
        for (event, at) in events {
            let span = u64::try_from(at.since(before).micros()).unwrap();
            let mut between: Vec<u64> = (0..dice.below(4)).map(|_| dice.below(span + 1)).collect();
            between.sort_unstable();
            for us in between {
                ticked.push((Event::Tick, before + Duration::from_micros(i64::try_from(us).unwrap())));
            }
            ticked.push((event, at));
            before = at;
        }
        let ticked = play(&ticked);
        let at = plain.iter().zip(&ticked).position(|(a, b)| a != b);
        assert!(plain == ticked, "seed {seed}: first difference at {at:?}");
    }
}

/// What a caller keeps of what a round says, and tells the next one: the visits that are open, in the order in which they were worked
/// at.
#[derive(Default)]
struct Kept(Vec<Recall>);

impl Kept {
    fn at(&mut self, unit_tag: &str) -> &mut Recall {
        let at = self.0.iter().position(|kept| kept.unit_tag == unit_tag).expect("a visit that was opened");
        &mut self.0[at]
    }

    fn keep(&mut self, output: Output) {
        match output {
            Output::Opened { unit_tag, .. } => self.0.push(Recall { unit_tag, ..Recall::default() }),
            Output::Owed { owed, .. } => {
                let unit_tag = owed.unit_tag.clone();
                self.at(&unit_tag).owed.push(owed);
            }
            Output::Restored { owed, .. } => {
                let unit_tag = owed.unit_tag.clone();
                self.at(&unit_tag).owed.retain(|known| *known != owed);
            }
            Output::Service { unit_tag, service, .. } => self.at(&unit_tag).service = service,
            Output::Closed { unit_tag, .. } => self.0.retain(|kept| kept.unit_tag != unit_tag),
            _ => {}
        }
    }
}

/// The program ends after any event, and another begins with what was kept: what is owed is there, each visit closes as it would have,
/// and no hold point stands.
#[test]
fn what_a_round_says_is_enough_to_go_on_with_its_visits() {
    let (mut owed, mut refused) = (0, 0);
    for seed in 0..2_000 {
        let mut dice = Dice(seed ^ 0x5717);
        let events = sequence(seed, EVENTS);
        let until = usize::try_from(dice.below(events.len() as u64 + 1)).unwrap();
        let mut before = Round::new(rules(), Settings::default());
        let mut kept = Kept::default();
        for (event, at) in &events[..until] {
            before.step(event.clone(), *at).into_iter().for_each(|said| kept.keep(said.output));
        }
        let mut after = Round::new(rules(), Settings::default());
        for recall in kept.0 {
            let said = after.step(Event::Recall(Box::new(recall.clone())), Instant::ZERO);
            let Output::Recalled { owed, .. } = &said[0].output else { panic!("seed {seed}: {said:?}") };
            assert_eq!((owed, said.len()), (&recall.owed, 1), "seed {seed}");
        }
        assert_eq!(after.visited(), before.visited(), "seed {seed}");
        for unit_tag in before.visited() {
            let of_unit =
                |round: &Round| round.restoration.owed(Some(&unit_tag)).cloned().collect::<Vec<Owed>>();
            assert_eq!(of_unit(&after), of_unit(&before), "seed {seed}");
            owed += of_unit(&after).len();
            let close = |round: &mut Round| {
                round.check = None;
                round.unit = Some(unit_tag.clone());
                let said = round.step(Event::from(Act::Close { why: None }), round.now);
                said.into_iter().map(|said| said.output).next_back()
            };
            let (closed, would) = (close(&mut after), close(&mut before));
            assert_eq!(closed, would, "seed {seed}");
            refused += usize::from(matches!(closed, Some(Output::Refused { .. })));
            let job = armed("run-capacitor");
            let said = after.step(job, after.now);
            assert!(said.len() < 9 && after.ledger.open().len() == ALL_FIVE.len(), "seed {seed}: {said:?}");
        }
    }
    assert!(owed > 200 && refused > 500, "{owed} owed, {refused} refused");
}
