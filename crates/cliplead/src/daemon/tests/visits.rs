//! Events of visits on their way through the store, and visits from before: nothing is told or shown before it is stored, or marked
//! UNSAVED; what is owed comes back and no hold point does.

use std::time::Duration;

use visit::round::{Output, Owed, Recall, Service};

use super::{Act, Bench, CAPACITOR, Notice, typed};
use crate::daemon::keeper::{Job, Key, Told};
use crate::daemon::remember::Remembered;

/// What was told of visits since the last look.
fn told(bench: &mut Bench) -> Vec<String> {
    std::iter::from_fn(|| bench.notices.try_recv().ok())
        .filter_map(|notice| match &*notice {
            Notice::Round(Output::Opened { unit_tag, .. }) => Some(format!("opened {unit_tag}")),
            Notice::Round(Output::Owed { owed, .. }) => Some(format!("owed {}", owed.component)),
            Notice::Round(Output::Restored { owed, .. }) => Some(format!("restored {}", owed.component)),
            Notice::Round(Output::Finding { text, .. }) => Some(format!("found {text}")),
            Notice::Round(Output::Closed { unit_tag, .. }) => Some(format!("closed {unit_tag}")),
            Notice::Round(Output::Recalled { unit_tag, .. }) => Some(format!("recalled {unit_tag}")),
            _ => None,
        })
        .collect()
}

/// Kinds, in the order in which they were handed to the history.
fn handed_in(bench: &Bench) -> Vec<String> {
    let kind = |job| match job {
        Job::Visit(_, event) => Some(event.kind),
        Job::TakeOver(event) => Some(format!("{} {}", event.kind, event.unit_tag)),
        _ => None,
    };
    bench.jobs.try_iter().filter_map(kind).collect()
}

fn owed_on_page(bench: &Bench) -> usize {
    bench.view()["owed"].as_array().map_or(0, Vec::len)
}

fn finding(text: &str) -> Act {
    Act::Finding { text: text.into(), as_left: false }
}

pub(super) fn recall(unit_tag: &str) -> Recall {
    Recall {
        unit_tag: unit_tag.into(),
        owed: vec![Owed {
            unit_tag: unit_tag.into(),
            component: "two".into(),
            hold_point: "one lead off".into(),
            what: "wires back on".into(),
        }],
        judged: vec![("one".into(), "run-capacitor".into())],
        failed: vec![],
        findings: 2,
        service: Service::LockedOut,
        closed: false,
    }
}

#[test]
fn nothing_is_told_of_a_visit_before_it_is_stored() {
    let mut bench = Bench::new(CAPACITOR);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    bench.act(finding("coil fouled")).unwrap();
    assert_eq!(told(&mut bench), Vec::<String>::new());
    assert_eq!(owed_on_page(&bench), 0);
    assert_eq!(handed_in(&bench), ["opened", "locked out", "owed", "finding"]);
    for (number, says) in [(1, "opened RTU-01"), (3, "owed compressor capacitor"), (4, "found coil fouled")] {
        bench.core.told(Told::Stored(Key::Visit(number)));
        assert_eq!(told(&mut bench), [says]);
    }
    assert_eq!(owed_on_page(&bench), 1);
    // What is back stays on the list until that is stored.
    bench.act(Act::Restored { what: "one lead off".into() }).unwrap();
    assert_eq!((owed_on_page(&bench), told(&mut bench).len()), (1, 0));
    bench.core.told(Told::Stored(Key::Visit(5)));
    assert_eq!((owed_on_page(&bench), told(&mut bench)), (0, vec!["restored compressor capacitor".into()]));
    bench.core.told(Told::Stored(Key::Visit(2)));
    assert!(bench.core.store.is_sound());
}

#[test]
fn what_waits_too_long_is_told_unsaved_and_saved_later() {
    let mut bench = Bench::new(CAPACITOR);
    bench.confirm_all();
    bench.core.told(Told::Trouble("the disk is full".into()));
    bench.watch(Duration::from_millis(4_800));
    assert_eq!((told(&mut bench).len(), owed_on_page(&bench)), (0, 0));
    bench.watch(Duration::from_millis(400));
    assert_eq!(told(&mut bench), ["opened RTU-01", "owed compressor capacitor"]);
    assert_eq!(owed_on_page(&bench), 1);
    let fault = bench.view()["faults"][0].as_str().unwrap().to_owned();
    assert!(fault.starts_with("NOT SAVED: 3 event(s) of a visit; it is tried again"), "{fault}");
    assert!(!bench.core.store.is_sound());
    bench.store_visit();
    assert_eq!(told(&mut bench), Vec::<String>::new(), "told once");
    assert!(bench.core.store.is_sound());
}

/// The visit is held elsewhere now, say: what can never be stored is told, marked, and holds nothing up.
#[test]
fn an_event_that_can_never_be_stored_is_told_unsaved() {
    let mut bench = Bench::new(CAPACITOR);
    bench.act(finding("fan dusty")).unwrap();
    bench.store_visit();
    bench.act(finding("coil fouled")).unwrap();
    told(&mut bench);
    bench.core.told(Told::Refused(Key::Visit(3), "no visit is open".into()));
    assert_eq!(told(&mut bench), ["found coil fouled"]);
    assert_eq!(bench.core.store.unsaved().words(), "1 event(s) of a visit");
    assert!(!bench.core.store.is_sound());
}

#[test]
fn without_a_history_all_is_told_at_once() {
    let mut bench = Bench::without_history(CAPACITOR);
    bench.confirm_all();
    assert_eq!(told(&mut bench), ["opened RTU-01", "owed compressor capacitor"]);
    assert_eq!(owed_on_page(&bench), 1);
    assert_eq!(
        bench.act(Act::TakeOver { tag: "RTU-02".into() }).unwrap_err(),
        "nothing to take over: no history is kept, so no visit of another machine is known"
    );
}

/// The first check without a verdict comes first, what is owed is there, and every hold point is open.
#[test]
fn the_start_goes_on_with_the_visit_that_is_open() {
    let here = Remembered::here(recall("RTU-01"));
    let mut bench = Bench::after(&[("one", "run-capacitor"), ("two", "run-capacitor")], vec![here]);
    bench.core.beat();
    let view = bench.view();
    assert_eq!(
        (&view["check"]["component"], &view["check"]["phase"]),
        (&"two".into(), &"hold points".into())
    );
    assert_eq!(owed_on_page(&bench), 1);
    assert_eq!(handed_in(&bench), ["resumed"]);
    let refused = bench.act(Act::Close { why: None }).unwrap_err();
    assert!(refused.contains("wires back on") && refused.contains("locked out"), "{refused}");
    bench.act(Act::Next).unwrap();
    assert!(bench.core.pipeline.round().visited() == ["RTU-01"]);
}

/// The history is opened late: what it remembers is added to what was done meanwhile.
#[test]
fn a_late_history_adds_what_it_remembers() {
    let mut bench = Bench::new(&[("one", "run-capacitor"), ("two", "run-capacitor")]);
    bench.core.told(Told::Trouble("the disk is away".into()));
    bench.confirm_all();
    bench.core.told(Told::Open(vec![Remembered::here(recall("RTU-01"))]));
    bench.core.beat();
    let view = bench.view();
    assert_eq!(view["check"]["component"], "one", "the work goes on where it is");
    assert_eq!(bench.core.pipeline.round().owed().len(), 2);
    assert_eq!(handed_in(&bench), ["opened", "locked out", "owed", "resumed"]);
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    assert_eq!(bench.stored().len(), 1, "what was shown since stands");
}

/// Lines behind `take over` wait for the visit; the press on the page is answered by what follows.
#[test]
fn a_visit_is_taken_over_with_what_it_owes() {
    let mut bench = Bench::without_route();
    bench.core.told(Told::Open(Vec::new()));
    bench.type_chunk("take over rtu-02\nrestored one lead off\n");
    assert_eq!(handed_in(&bench), ["taken over rtu-02"]);
    assert_eq!(bench.said(), Vec::<String>::new(), "the second line waits");
    bench.core.told(Told::TakenOver(Ok(Box::new(Remembered::here(recall("RTU-02"))))));
    assert_eq!(handed_in(&bench), ["resumed", "restored"]);
    assert_eq!(bench.core.pipeline.round().visited(), ["RTU-02"]);
    bench.type_chunk("take over RTU-02\ntake over RTU-03\n");
    let refused = bench.said();
    assert!(refused[0].contains("a visit at RTU-02 is open here already"), "{refused:?}");
    bench.core.told(Told::TakenOver(Err("no visit is open there".into())));
    bench.core.beat();
    assert!(!bench.core.store.holds_up());
}
