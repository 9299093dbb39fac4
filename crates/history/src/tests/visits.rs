//! Visits: events and what they change go in together or not at all, once each, and are read back as they were.

use proptest::prelude::*;

use super::{Folder, Rng, no_verdict, round, verdict};
use crate::{Entry, History, HistoryError, RoundId, Verdict, Visit, VisitEvent};

const SITE: &str = "Mill Yard";
const MACHINES: [&str; 2] = ["van 1", "van 2"];
const UNITS: [&str; 2] = ["RTU-07", "RTU-08"];

fn event(uid: &str, kind: &str) -> VisitEvent {
    VisitEvent {
        uid: uid.to_owned(),
        visit: (kind == "opened").then(|| format!("visit of {uid}")),
        unit_tag: UNITS[0].to_owned(),
        machine: MACHINES[0].to_owned(),
        kind: kind.to_owned(),
        by: Some("device typed".to_owned()),
        component: "condenser fan 1 run capacitor".to_owned(),
        check: Some(3),
        rule: Some("run-capacitor".to_owned()),
        hold_point: Some("one lead off".to_owned()),
        text: Some("wires back on".to_owned()),
        as_left: (kind == "finding").then_some(true),
        at_us: 7_000_000,
        wall_ms: 1_790_000_000_000,
    }
}

fn history() -> (History, RoundId) {
    let mut history = History::open_in_memory().unwrap();
    let id = history.begin_round(&round("r-1")).unwrap();
    (history, id)
}

fn kinds(history: &History, visit: &str) -> Vec<String> {
    history.reader().visit_events(visit).unwrap().into_iter().map(|stored| stored.event.kind).collect()
}

#[test]
fn a_visit_is_read_back_after_a_restart_and_goes_on_in_another_round() {
    let folder = Folder::new();
    let path = folder.file("history.sqlite");
    let mut history = History::open(&path).unwrap();
    let first = history.begin_round(&round("r-1")).unwrap();
    let committed = ["opened", "owed", "locked out", "finding"].map(|kind| event(kind, kind));
    for event in &committed {
        history.commit_visit_event(first, event).unwrap();
    }
    drop(history);
    let mut history = History::open(&path).unwrap();
    let second = history.begin_round(&round("r-2")).unwrap();
    let visit = Visit {
        uid: "visit of opened".to_owned(),
        site: SITE.to_owned(),
        unit_tag: UNITS[0].to_owned(),
        opened_wall_ms: 1_790_000_000_000,
        machine: MACHINES[0].to_owned(),
        closed_wall_ms: None,
    };
    assert_eq!(history.reader().open_visits(SITE).unwrap(), std::slice::from_ref(&visit));
    assert_eq!(history.reader().open_visits("Quay House").unwrap(), []);
    let stored = history.reader().visit_events(&visit.uid).unwrap();
    let back: Vec<_> =
        stored.iter().map(|stored| (stored.seq, stored.round_uid.as_str(), &stored.event)).collect();
    let expected: Vec<_> = (1..).zip(&committed).map(|(seq, event)| (seq, "r-1", event)).collect();
    assert_eq!(back, expected);

    let closed = VisitEvent { wall_ms: 1_790_000_900_000, ..event("closed", "closed") };
    history.commit_visit_event(second, &event("restored", "restored")).unwrap();
    history.commit_visit_event(second, &closed).unwrap();
    assert_eq!(history.reader().open_visits(SITE).unwrap(), []);
    assert_eq!(history.reader().visit_events(&visit.uid).unwrap()[5].round_uid, "r-2");
    let ended = Visit { closed_wall_ms: Some(1_790_000_900_000), ..visit };
    assert_eq!(history.reader().visits().unwrap(), [ended]);
    assert_eq!(history.reader().integrity().unwrap(), 0);
    let late = history.commit_visit_event(second, &event("late", "finding")).unwrap_err();
    assert!(matches!(late, HistoryError::NoOpenVisit { .. }) && !late.can_retry(), "{late}");
    // The unit may be visited again.
    history.commit_visit_event(second, &event("again", "opened")).unwrap();
    assert_eq!(history.reader().open_visits(SITE).unwrap()[0].uid, "visit of again");
}

/// Of several open visits the last is the one in which something happened last, an event or a verdict, in this round or in
/// an earlier one.
#[test]
fn the_visit_that_was_worked_at_last_comes_last() {
    let (mut history, id) = history();
    let at = |unit: usize, at_us: u64, event: VisitEvent| VisitEvent {
        unit_tag: UNITS[unit].to_owned(),
        at_us,
        ..event
    };
    let order = |history: &History| -> Vec<String> {
        history.reader().open_visits(SITE).unwrap().into_iter().map(|visit| visit.unit_tag).collect()
    };
    history.commit_visit_event(id, &at(0, 10, event("a", "opened"))).unwrap();
    history.commit_visit_event(id, &at(1, 20, event("b", "opened"))).unwrap();
    assert_eq!(order(&history), UNITS);
    let verdict = Verdict { visit: Some("visit of a".to_owned()), at_us: 30, ..verdict(1) };
    history.commit_verdict(id, &verdict).unwrap();
    assert_eq!(order(&history), [UNITS[1], UNITS[0]]);
    let next = history.begin_round(&round("r-2")).unwrap();
    history.commit_visit_event(next, &at(1, 1, event("b1", "resumed"))).unwrap();
    assert_eq!(order(&history), UNITS);
}

#[test]
fn verdicts_belong_to_their_visit_and_the_last_word_per_check_counts() {
    let (mut history, id) = history();
    history.commit_visit_event(id, &event("a", "opened")).unwrap();
    let in_visit = |verdict: Verdict| Verdict { visit: Some("visit of a".to_owned()), ..verdict };
    let other = Verdict { component: "contactor".to_owned(), ..in_visit(no_verdict(2)) };
    for verdict in [in_visit(verdict(1)), other, verdict(3), in_visit(no_verdict(4))] {
        let committed = history.commit_verdict(id, &verdict).unwrap();
        assert_eq!(history.reader().verdict(committed.id).unwrap().unwrap().verdict, verdict);
    }
    let checks = history.reader().visit_checks("visit of a").unwrap();
    let told: Vec<_> = checks.iter().map(|c| (c.component.as_str(), c.word.as_str(), c.judged)).collect();
    assert_eq!(
        told,
        [("condenser fan 1 run capacitor", "no verdict", true), ("contactor", "no verdict", false)]
    );
    assert_eq!(history.reader().visit_checks("another").unwrap(), []);
    let fails = |history: &History| history.reader().visit_checks("visit of a").unwrap()[0].failed;
    assert!(!fails(&history), "a pass and no word after it");
    for (number, word, failed) in [(6, "conditional fail", true), (7, "no verdict", true), (8, "pass", false)]
    {
        let reason = (word == "no verdict").then(|| "no reading".to_owned());
        let again = Verdict { word: word.to_owned(), reason, ..in_visit(verdict(number)) };
        history.commit_verdict(id, &again).unwrap();
        assert_eq!(fails(&history), failed, "after {word}");
    }
    let nowhere = Verdict { visit: Some("another".to_owned()), ..verdict(5) };
    assert!(matches!(history.commit_verdict(id, &nowhere), Err(HistoryError::NoOpenVisit { .. })));
    assert_eq!(history.reader().integrity().unwrap(), 7);
}

/// Two machines at one unit are two visits; one of them may be taken over, and its former holder adds nothing more.
#[test]
fn two_machines_have_two_visits_and_one_may_take_the_other_over() {
    let (mut history, id) = history();
    let of_2 = |event: VisitEvent| VisitEvent { machine: MACHINES[1].to_owned(), ..event };
    history.commit_visit_event(id, &event("a", "opened")).unwrap();
    history.commit_visit_event(id, &of_2(event("b", "opened"))).unwrap();
    history.commit_visit_event(id, &event("a1", "finding")).unwrap();
    assert_eq!(kinds(&history, "visit of a"), ["opened", "finding"]);
    assert_eq!(kinds(&history, "visit of b"), ["opened"]);
    let taken = VisitEvent { visit: Some("visit of a".to_owned()), ..of_2(event("t", "taken over")) };
    let refused = history.commit_visit_event(id, &taken).unwrap_err();
    assert!(matches!(refused, HistoryError::VisitOpen { .. }), "{refused}");
    history.commit_visit_event(id, &of_2(event("b1", "closed"))).unwrap();
    history.commit_visit_event(id, &taken).unwrap();
    let open = history.reader().open_visits(SITE).unwrap();
    assert_eq!((open.len(), open[0].uid.as_str(), open[0].machine.as_str()), (1, "visit of a", MACHINES[1]));
    let refused = history.commit_visit_event(id, &event("a2", "finding")).unwrap_err();
    assert!(matches!(refused, HistoryError::NoOpenVisit { .. }), "{refused}");
    history.commit_visit_event(id, &of_2(event("a3", "closed"))).unwrap();
    assert_eq!(kinds(&history, "visit of a"), ["opened", "finding", "taken over", "closed"]);
    assert_eq!(history.reader().integrity().unwrap(), 0);
}

#[test]
fn what_contradicts_itself_is_refused() {
    let (mut history, id) = history();
    history.commit_visit_event(id, &event("a", "opened")).unwrap();
    for wrong in [
        VisitEvent { kind: "burnt".to_owned(), ..event("b", "owed") },
        VisitEvent { visit: None, ..event("b", "opened") },
        VisitEvent { visit: Some("visit of a".to_owned()), ..event("b", "owed") },
        VisitEvent { as_left: None, ..event("b", "finding") },
        VisitEvent { as_left: Some(true), ..event("b", "owed") },
    ] {
        let error = history.commit_visit_event(id, &wrong).unwrap_err();
        assert!(matches!(error, HistoryError::Contradiction { .. }), "{wrong:?}: {error}");
    }
    let other = VisitEvent { text: Some("other".to_owned()), ..event("a", "opened") };
    assert!(matches!(history.commit_visit_event(id, &other), Err(HistoryError::IdTaken { .. })));
    let same_visit = VisitEvent {
        visit: Some("visit of a".to_owned()),
        unit_tag: UNITS[1].to_owned(),
        ..event("c", "opened")
    };
    assert!(matches!(history.commit_visit_event(id, &same_visit), Err(HistoryError::IdTaken { .. })));
    let late = VisitEvent { at_us: u64::MAX, ..event("d", "paused") };
    assert!(matches!(history.commit_visit_event(id, &late), Err(HistoryError::OutOfRange { .. })));
    assert_eq!(kinds(&history, "visit of a"), ["opened"]);
}

/// A verdict may go in with the event that begins its visit; if one of several is refused, none goes in.
#[test]
fn several_go_in_together_or_not_at_all() {
    let (mut history, id) = history();
    let verdict = Verdict { visit: Some("visit of a".to_owned()), ..verdict(1) };
    let figure = super::follow_up::figure(1);
    let (opened, finding) = (event("a", "opened"), event("b", "finding"));
    let late = VisitEvent { unit_tag: UNITS[1].to_owned(), ..event("c", "finding") };
    let all = [
        Entry::VisitEvent(&opened),
        Entry::Verdict(&verdict),
        Entry::FollowUp(&figure),
        Entry::VisitEvent(&finding),
        Entry::VisitEvent(&late),
    ];
    let refused = history.commit_all(id, &all).unwrap_err();
    assert!(matches!(refused, HistoryError::NoOpenVisit { .. }), "{refused}");
    assert_eq!((history.reader().visits().unwrap().len(), history.reader().integrity().unwrap()), (0, 0));
    for _ in 0..2 {
        history.commit_all(id, &all[..4]).unwrap();
        assert_eq!(kinds(&history, "visit of a"), ["opened", "finding"]);
        assert_eq!(history.reader().integrity().unwrap(), 1);
    }
}

/// The rows of a visit, each changed by hand.
#[test]
fn a_changed_visit_is_found() {
    for change in [
        "UPDATE visit_event SET text = 'nothing' WHERE kind = 'owed'",
        "UPDATE visit_event SET by = NULL WHERE kind = 'owed'",
        "UPDATE visit_event SET as_left = 0 WHERE kind = 'finding'",
        "UPDATE visit_event SET check_number = 4 WHERE kind = 'finding'",
        "UPDATE visit_event SET digest_version = 5 WHERE kind = 'owed'",
        "UPDATE visit_event SET seq = 9 WHERE kind = 'finding'",
        "DELETE FROM visit_event WHERE kind = 'owed'",
        "DELETE FROM visit_event WHERE kind = 'closed'",
        "UPDATE visit SET unit_tag = 'RTU-09'",
        "UPDATE visit SET machine = 'van 2'",
        "UPDATE visit SET opened_wall_ms = 1",
        "UPDATE visit SET closed_wall_ms = NULL",
    ] {
        let (mut history, id) = history();
        for kind in ["opened", "owed", "finding", "closed"] {
            history.commit_visit_event(id, &event(kind, kind)).unwrap();
        }
        assert_eq!(history.reader().integrity().unwrap(), 0);
        assert_eq!(history.reader().db.conn.execute(change, []), Ok(1), "{change}");
        for error in
            [history.reader().visit_events("visit of opened").err(), history.reader().integrity().err()]
        {
            assert!(matches!(error, Some(HistoryError::Corrupt { .. })), "{change}: {error:?}");
        }
    }
}

/// The disk fills at every page in turn: an event is there with what it changes, or neither is, and goes in once there is
/// room.
#[test]
fn a_full_disk_splits_no_event_from_what_it_changes() {
    let folder = Folder::new();
    let mut history = History::open(&folder.file("history.sqlite")).unwrap();
    let id = history.begin_round(&round("r-1")).unwrap();
    let limit = |history: &History, pages: i64| {
        let conn = &history.reader().db.conn;
        conn.pragma_update_and_check(None, "max_page_count", pages, |row| row.get::<_, i64>(0)).unwrap();
    };
    let (mut number, mut refusals) = (0_usize, [0; 3]);
    while number < 600 {
        let kind = ["opened", "finding", "closed"][number % 3];
        let text = Some("x".repeat(number % 900));
        let next = VisitEvent { text, ..event(&format!("{number}"), kind) };
        let pages: i64 =
            history.reader().db.conn.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
        limit(&history, pages);
        let open_before = history.reader().open_visits(SITE).unwrap();
        if let Err(error) = history.commit_visit_event(id, &next) {
            assert!(matches!(error, HistoryError::Full { .. }), "{error}");
            refusals[number % 3] += 1;
            assert_eq!(history.reader().open_visits(SITE).unwrap(), open_before, "{number}");
            history.reader().integrity().unwrap();
            limit(&history, 1_000_000);
            history.commit_visit_event(id, &next).unwrap();
        }
        assert_eq!(history.reader().open_visits(SITE).unwrap().len(), usize::from(kind != "closed"));
        number += 1;
    }
    assert!(refusals.iter().all(|count| *count > 3), "{refusals:?}");
    assert_eq!(history.reader().visits().unwrap().len(), 200);
}

/// What visits must hold, reckoned from the calls alone.
#[derive(Default)]
struct Books {
    /// Machine and unit of each, its id, and whether it is open; in the order of their begin.
    visits: Vec<(String, String, String, bool)>,
    /// Ids of events by visit.
    events: Vec<(String, String)>,
}

impl Books {
    fn open_at(&self, machine: &str, unit: &str) -> Option<usize> {
        self.visits.iter().position(|(m, u, _, open)| *open && m == machine && u == unit)
    }

    /// Whether the event may go in; enters it.
    fn take(&mut self, event: &VisitEvent) -> bool {
        let here = self.open_at(&event.machine, &event.unit_tag);
        let at = match (event.kind.as_str(), here) {
            ("opened" | "taken over", Some(_)) => return false,
            ("opened", None) => {
                let uid = event.visit.clone().unwrap();
                self.visits.push((event.machine.clone(), event.unit_tag.clone(), uid, true));
                self.visits.len() - 1
            }
            ("taken over", None) => {
                let uid = event.visit.as_deref().unwrap();
                let found = self
                    .visits
                    .iter()
                    .position(|(_, unit, known, open)| *open && known == uid && *unit == event.unit_tag);
                let Some(at) = found else { return false };
                self.visits[at].0.clone_from(&event.machine);
                at
            }
            (_, None) => return false,
            (_, Some(at)) => at,
        };
        self.visits[at].3 = event.kind != "closed";
        self.events.push((self.visits[at].2.clone(), event.uid.clone()));
        true
    }
}

/// Any calls of two machines at two units, each made once or twice, with restarts in between: the file holds what the
/// books hold.
#[test]
fn any_calls_leave_what_the_books_hold() {
    let (mut taken, mut refused, mut taken_over) = (0, 0, 0);
    for seed in 0..60 {
        let mut rng = Rng(seed);
        let folder = Folder::new();
        let path = folder.file("history.sqlite");
        let mut history = History::open(&path).unwrap();
        let mut id = history.begin_round(&round("r-0")).unwrap();
        let mut books = Books::default();
        for number in 0..60 {
            if rng.below(12) == 0 {
                drop(history);
                history = History::open(&path).unwrap();
                id = history.begin_round(&round(&format!("r-{number}"))).unwrap();
            }
            let kind = ["opened", "taken over", "closed", "finding", "owed", "restored"][rng.below(6)];
            let known = books.visits.get(rng.below(books.visits.len() + 1)).map(|(_, _, uid, _)| uid.clone());
            let next = VisitEvent {
                unit_tag: UNITS[rng.below(2)].to_owned(),
                machine: MACHINES[rng.below(2)].to_owned(),
                visit: match kind {
                    "opened" => Some(format!("v-{number}")),
                    "taken over" => Some(known.unwrap_or_else(|| "none".to_owned())),
                    _ => None,
                },
                ..event(&format!("e-{number}"), kind)
            };
            let fits = books.take(&next);
            taken += usize::from(fits);
            refused += usize::from(!fits);
            taken_over += usize::from(fits && kind == "taken over");
            for _ in 0..=rng.below(2) {
                let went = history.commit_visit_event(id, &next);
                assert_eq!(went.is_ok(), fits, "seed {seed}, call {number}: {next:?}: {went:?}");
            }
        }
        let reader = history.reader();
        reader.integrity().unwrap();
        let visits = reader.visits().unwrap();
        let held: Vec<_> = visits
            .iter()
            .map(|v| (v.machine.clone(), v.unit_tag.clone(), v.uid.clone(), v.closed_wall_ms.is_none()))
            .collect();
        assert_eq!(held, books.visits, "seed {seed}");
        for visit in &visits {
            let events = reader.visit_events(&visit.uid).unwrap();
            let stored: Vec<_> = events.iter().map(|stored| stored.event.uid.as_str()).collect();
            let known = books.events.iter().filter(|(of, _)| *of == visit.uid);
            assert_eq!(stored, known.map(|(_, uid)| uid.as_str()).collect::<Vec<_>>(), "seed {seed}");
        }
    }
    assert!(taken > 900 && refused > 900 && taken_over > 20, "{taken}, {refused}, {taken_over}");
}

prop_compose! {
    fn any_event()(texts in [any::<String>(), any::<String>(), any::<String>()], by in any::<Option<String>>(),
                   check in any::<Option<u32>>(), rule in any::<Option<String>>(), hold_point in any::<Option<String>>(),
                   text in any::<Option<String>>(), as_left in any::<bool>(), at_us in 0..=i64::MAX as u64,
                   wall_ms in any::<i64>()) -> VisitEvent {
        let [unit_tag, machine, component] = texts;
        VisitEvent { uid: "e".to_owned(), visit: None, unit_tag, machine, kind: "finding".to_owned(), by, component, check,
                     rule, hold_point, text, as_left: Some(as_left), at_us, wall_ms }
    }
}

proptest! {
    #[test]
    fn whatever_an_event_holds_is_read_back_equal(event in any_event()) {
        let (mut history, id) = history();
        let opened = VisitEvent { uid: "o".to_owned(), visit: Some("v".to_owned()), kind: "opened".to_owned(), as_left: None,
                                  ..event.clone() };
        history.commit_visit_event(id, &opened).unwrap();
        history.commit_visit_event(id, &event).unwrap();
        let stored = history.reader().visit_events("v").unwrap();
        prop_assert_eq!(&stored[0].event, &opened);
        prop_assert_eq!(&stored[1].event, &event);
    }
}
