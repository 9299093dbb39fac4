//! What a round said of its visits, stored and read back, is what the next round is told; and the words of it.

use history::{History, NewRound, RoundId, VisitEvent};
use quantity::{Duration, Instant};
use visit::act::Act;
use visit::round::{Event, Output, Plan, Round, Settings};

use super::super::visits::row;
use super::*;

const HERE: &str = "van 1";

fn history() -> (History, RoundId) {
    let mut history = History::open_in_memory().unwrap();
    let new = NewRound {
        uid: "r-1".into(),
        site: "Mill Yard".into(),
        started_wall_ms: 0,
        rules_hash: String::new(),
        decision_rule: String::new(),
        program_version: String::new(),
    };
    let id = history.begin_round(&new).unwrap();
    (history, id)
}

fn event(machine: &str, unit_tag: &str, kind: &str) -> VisitEvent {
    VisitEvent {
        uid: format!("{machine} {unit_tag} {kind}"),
        visit: (kind == "opened").then(|| format!("{machine} {unit_tag}")),
        unit_tag: unit_tag.into(),
        machine: machine.into(),
        kind: kind.into(),
        // RFC 9110, 5.6.7: Sun, 06 Nov 1994 08:49:37 GMT.
        wall_ms: 784_111_777_000,
        ..VisitEvent::default()
    }
}

/// SplitMix64 (Steele, Lea, Flood 2014).
struct Rng(u64);

impl Rng {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % (bound as u64)).unwrap()
    }
}

fn any_events(rng: &mut Rng) -> Vec<Event> {
    let hold_points = ["locked out", "leads proved", "proved dead", "discharged", "one lead off"];
    let why = "part on order".to_owned();
    let confirm = |name: &str| Act::Confirm { hold_point: name.into() }.into();
    vec![match rng.below(12) {
        0..=2 => Event::Arm(Box::new(Plan {
            unit_tag: ["RTU-07", "RTU-08"][rng.below(2)].into(),
            component: ["C1", "C2"][rng.below(2)].into(),
            rule: "run-capacitor".into(),
            ..Plan::default()
        })),
        3 | 4 => return hold_points.map(confirm).to_vec(),
        5..=7 => confirm(hold_points[rng.below(5)]),
        8 => Act::Restored { what: "one lead off".into() }.into(),
        9 => Act::Finding { text: "coil fouled".into(), as_left: rng.below(2) == 0 }.into(),
        10 => Act::Energised.into(),
        _ => Act::Close { why: (rng.below(2) == 0).then_some(why) }.into(),
    }]
}

/// The program ends after any event. What the next one is told of each visit opens it as it was: owed, found, locked out.
#[test]
fn what_is_remembered_is_what_was_said() {
    let rules = crate::rules::load_or_say(None).unwrap();
    let (mut owed, mut locked_out, mut left) = (0, 0, 0);
    for seed in 0..40 {
        let mut rng = Rng(seed);
        let (mut history, id) = history();
        let mut round = Round::new(rules.clone(), Settings::default());
        let (mut now, mut found) = (Instant::ZERO, [0, 0]);
        for _ in 0..80 {
            now = now + Duration::from_millis(1);
            let events = any_events(&mut rng);
            let says: Vec<_> = events.into_iter().flat_map(|event| round.step(event, now)).collect();
            for said in says {
                let Some(row) = row(&said.output, said.at) else { continue };
                let event = VisitEvent { machine: HERE.into(), ..row };
                history.commit_visit_event(id, &event).unwrap();
                let here = usize::from(event.unit_tag == "RTU-08");
                match said.output {
                    Output::Finding { .. } => found[here] += 1,
                    Output::Closed { .. } => found[here] = 0,
                    _ => {}
                }
            }
            let remembered = all(history.reader(), "Mill Yard", HERE);
            let (remembered, closed): (Vec<_>, Vec<_>) =
                remembered.into_iter().partition(Remembered::is_here);
            for recall in closed.into_iter().map(|of| of.recall().unwrap()) {
                let of_unit = round.owed().into_iter().filter(|owed| owed.unit_tag == recall.unit_tag);
                assert_eq!(recall.owed, of_unit.collect::<Vec<_>>(), "seed {seed}");
                assert!(recall.closed);
                left += recall.owed.len();
            }
            let mut units: Vec<&str> = remembered.iter().map(|of| of.unit_tag.as_str()).collect();
            if let Some(under_work) = round.unit_under_work().filter(|unit| units.contains(unit)) {
                assert_eq!(units.last(), Some(&under_work), "seed {seed}");
            }
            units.sort_unstable();
            assert_eq!(units, round.visited(), "seed {seed}");
            for recall in remembered.into_iter().map(|of| of.recall().unwrap()) {
                let of_unit = round.owed().into_iter().filter(|owed| owed.unit_tag == recall.unit_tag);
                assert_eq!(recall.owed, of_unit.collect::<Vec<_>>(), "seed {seed}");
                assert_eq!(recall.findings, found[usize::from(recall.unit_tag == "RTU-08")], "seed {seed}");
                owed += recall.owed.len();
                locked_out += usize::from(recall.service == Service::LockedOut);
            }
        }
    }
    assert!(owed > 300 && locked_out > 300 && left > 100, "{owed}, {locked_out}, {left}");
}

#[test]
fn each_machine_goes_on_with_its_own_visits_and_sees_the_others() {
    let (mut history, id) = history();
    for (machine, unit) in [("van 2", "RTU-07"), (HERE, "RTU-07"), ("van 2", "RTU-08")] {
        history.commit_visit_event(id, &event(machine, unit, "opened")).unwrap();
    }
    let owed = VisitEvent {
        component: "C1".into(),
        hold_point: Some("one lead off".into()),
        text: Some("wires \u{1b}[2Jback on".into()),
        ..event(HERE, "RTU-07", "owed")
    };
    history.commit_visit_event(id, &owed).unwrap();
    history.commit_visit_event(id, &event(HERE, "RTU-07", "locked out")).unwrap();
    let words = |machine: &str| -> Vec<String> {
        all(history.reader(), "Mill Yard", machine).iter().map(Remembered::words).collect()
    };
    let elsewhere = |unit: &str| {
        format!(
            "cliplead: {unit}: a visit by \"van 2\" is open since 06 Nov 1994 08:49 UTC; `take over {unit}` goes on with it here"
        )
    };
    let of_here = words(HERE);
    assert_eq!(of_here.len(), 3);
    assert!(of_here.contains(&elsewhere("RTU-07")) && of_here.contains(&elsewhere("RTU-08")), "{of_here:?}");
    let mine = of_here.iter().find(|text| text.contains("judged")).unwrap();
    assert!(!mine.contains('\u{1b}'), "words of others are plain: {mine}");
    assert!(
        mine.starts_with("cliplead: RTU-07: visit open since 06 Nov 1994 08:49 UTC, 0 check(s) judged, 0 finding(s); still to put back: C1: wires ")
            && mine.ends_with("back on (one lead off); it was locked out, and nothing says that it has power again; every hold point must be shown again"),
        "{mine}"
    );
    assert_eq!(all(history.reader(), "Quay House", HERE), []);
    // For the page: those of the others alone.
    let others = super::elsewhere(history.reader(), "Mill Yard", HERE).unwrap();
    let told: Vec<_> = others.iter().filter_map(Remembered::elsewhere).collect();
    let words = || "\"van 2\" has a visit open here since 06 Nov 1994 08:49 UTC.".to_owned();
    assert_eq!(told, [("RTU-07", words()), ("RTU-08", words())]);
}

/// The page lists the last word of each check of a visit that goes on, also where it is no verdict.
#[test]
fn a_visit_that_goes_on_brings_the_last_word_of_each_check() {
    let rules = crate::rules::load_or_say(None).unwrap();
    let (mut history, id) = history();
    history.commit_visit_event(id, &event(HERE, "RTU-07", "opened")).unwrap();
    let mut round = Round::new(rules, Settings::default());
    let plan = |component: &str| {
        let plate = std::collections::BTreeMap::from([("capacitance".to_owned(), "40 uF".to_owned())]);
        site::plan("RTU-07", component, "run-capacitor", &plate, &std::collections::BTreeMap::new()).unwrap()
    };
    let hold_points = ["locked out", "leads proved", "proved dead", "discharged", "one lead off"];
    let mut events: Vec<Event> = vec![Event::Arm(Box::new(plan("C1")))];
    events.extend(hold_points.map(|name| Act::Confirm { hold_point: name.into() }.into()));
    events.extend([
        Act::typed("capacitance", "30.0 uF", None).unwrap().into(),
        Act::Again { as_left: false }.into(),
    ]);
    events.extend([Act::typed("capacitance", "40.0 uF", None).unwrap().into()]);
    events.extend([Event::Arm(Box::new(plan("C2"))), Act::Finish.into()]);
    let said = events.into_iter().flat_map(|event| round.step(event, Instant::ZERO));
    for output in said.collect::<Vec<_>>() {
        if let Output::Verdict(verdict) = output.output {
            let line = record::VerdictJson::from(&*verdict).line();
            let row = super::super::row::verdict(format!("v-{}", verdict.number), &verdict, line, 0);
            let row = history::Verdict { visit: Some(format!("{HERE} RTU-07")), ..row };
            history.commit_verdict(id, &row).unwrap();
        }
    }
    let remembered = all(history.reader(), "Mill Yard", HERE).remove(0);
    let of = |component: &str, word| (component.to_owned(), "run-capacitor".to_owned(), word);
    assert_eq!(remembered.given, [of("C1", Word::Pass), of("C2", Word::NoVerdict)]);
    let judged = remembered.recall().unwrap().judged;
    assert_eq!(judged, [("C1".to_owned(), "run-capacitor".to_owned())]);
}

/// Of two visits of others at one unit the first is taken; a visit of one's own is not taken from oneself.
#[test]
fn the_first_visit_of_another_machine_is_taken_over() {
    let (mut history, id) = history();
    for (machine, wall_ms) in [("van 3", 2_000), ("van 2", 1_000)] {
        let opened = VisitEvent { wall_ms, ..event(machine, "RTU-07", "opened") };
        history.commit_visit_event(id, &opened).unwrap();
    }
    let asked = VisitEvent { unit_tag: "rtu-07".into(), ..event(HERE, "", "taken over") };
    let mut taken = asked.clone();
    to_take_over(history.reader(), "Mill Yard", &mut taken).unwrap();
    assert_eq!(
        (taken.unit_tag.as_str(), taken.visit.as_deref(), taken.text.as_deref()),
        ("RTU-07", Some("van 2 RTU-07"), Some("van 2"))
    );
    history.commit_visit_event(id, &taken).unwrap();
    let held: Vec<bool> = all(history.reader(), "Mill Yard", HERE).iter().map(Remembered::is_here).collect();
    assert_eq!(held.iter().filter(|here| **here).count(), 1);
    let mut none = VisitEvent { unit_tag: "RTU-09".into(), ..asked };
    let error = to_take_over(history.reader(), "Mill Yard", &mut none).unwrap_err();
    assert!(matches!(error, HistoryError::NoOpenVisit { .. }) && !error.can_retry(), "{error}");
}
