//! Figures and amendments on their way through the store: nothing of them is shown before it is stored, or marked UNSAVED.

use std::time::Duration;

use judge::limits::Word;
use quantity::{Decimal, DisplayUnit, Instant, Quantity, Unit};
use visit::round::Output;
use visit::verdict::PointReading;

use super::{Act, Bench, CAPACITOR, typed};
use crate::daemon::keeper::{Job, Key, Told};

fn reading(value: f64, settled: bool) -> PointReading {
    PointReading {
        point: "capacitance".into(),
        label: "capacitance".into(),
        device: "meter".into(),
        quantity: Quantity::new(value, 0.42, Unit::MICROFARAD).unwrap(),
        shown: Decimal::parse("40.02").unwrap(),
        open: false,
        display: DisplayUnit { unit: Unit::MICROFARAD, coupling: None },
        accuracy_known: true,
        count: 5,
        settled,
        at_least: Some(value - 0.1),
        at_most: Some(value + 0.1),
        drift: None,
        at: Instant::from_micros(2_000_000),
    }
}

fn figure(verdict: u64) -> Output {
    Output::Completed {
        verdict,
        reading: Box::new(reading(40.02, true)),
        second_look: None,
        judgements: Vec::new(),
    }
}

fn amendment(verdict: u64) -> Output {
    amendment_to(verdict, Word::Fail)
}

fn amendment_to(verdict: u64, word: Word) -> Output {
    let reading = Box::new(reading(31.2, false));
    Output::Amended { verdict, word, reading, moved: false, changes: 1, judgements: Vec::new() }
}

const AT: Instant = Instant::from_micros(3_000_000);

/// A bench whose first verdict is a pass that is stored.
fn passed() -> Bench {
    let mut bench = Bench::new(CAPACITOR);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.store_visit();
    bench.core.told(Told::Stored(Key::Verdict(1)));
    bench.said();
    bench.stored();
    bench
}

fn rows(bench: &Bench) -> Vec<history::FollowUp> {
    let row = |job| if let Job::FollowUp(row) = job { Some(*row) } else { None };
    bench.jobs.try_iter().filter_map(row).collect()
}

#[test]
fn nothing_speaks_of_a_figure_or_an_amendment_before_it_is_stored() {
    let mut bench = passed();
    bench.core.said(figure(1), AT);
    bench.core.said(amendment(1), AT);
    assert_eq!(bench.said(), Vec::<String>::new());
    bench.core.beat();
    let view = bench.view();
    assert_eq!((&view["verdict"]["amended"], &view["recent"][0]["amended"]), (&().into(), &().into()));
    let rows = rows(&bench);
    let kinds: Vec<_> = rows.iter().map(|row| (row.kind.as_str(), row.word.as_deref(), row.seq)).collect();
    assert_eq!(kinds, [("completed", None, 1), ("amended", Some("fail"), 2)]);
    assert_eq!((rows[0].reading.value, rows[0].at_us), (Some(40.02), 3_000_000));
    assert_eq!(
        (rows[1].reading.value, rows[1].reading.at_least),
        (None, Some(31.1)),
        "no value that was not at rest"
    );
    assert!(rows[0].json.starts_with(r#"{"event":"completed","number":1,"#), "{}", rows[0].json);
    assert_eq!(rows[0].verdict_uid, rows[1].verdict_uid);
    bench.core.told(Told::Stored(Key::FollowUp(1)));
    assert_eq!(bench.said(), ["completed of 1 Yes"]);
    bench.core.told(Told::Stored(Key::FollowUp(2)));
    assert_eq!(bench.said(), ["amended of 1 Yes"]);
    let view = bench.view();
    let amended = &view["verdict"]["amended"];
    assert_eq!(
        (&amended["said"], &amended["word"], &amended["unsaved"]),
        (&"pass".into(), &"fail".into(), &false.into())
    );
    assert_eq!(amended["value"], "between 31.10 and 31.30 uF, settling");
    assert_eq!(view["recent"][0]["amended"], "fail");
}

#[test]
fn what_waits_too_long_is_shown_unsaved_and_saved_later() {
    let mut bench = passed();
    bench.core.told(Told::Trouble("the disk is full".into()));
    bench.core.said(amendment(1), AT);
    bench.watch(Duration::from_millis(4_800));
    assert_eq!(bench.said(), Vec::<String>::new());
    bench.watch(Duration::from_millis(400));
    assert_eq!(bench.said(), ["amended of 1 No"]);
    let view = bench.view();
    assert_eq!(
        (&view["verdict"]["amended"]["unsaved"], &view["verdict"]["unsaved"]),
        (&true.into(), &false.into())
    );
    let fault = view["faults"][0].as_str().unwrap();
    assert!(fault.starts_with("NOT SAVED: 1 figure(s) or amendment(s); "), "{fault}");
    assert!(!bench.core.store.is_sound());
    bench.core.told(Told::Stored(Key::FollowUp(1)));
    assert_eq!(bench.said(), Vec::<String>::new());
    assert_eq!(bench.view()["verdict"]["amended"]["unsaved"], false);
    assert!(bench.core.store.is_sound());
}

/// Its verdict was refused, so no row can refer to it.
#[test]
fn a_figure_that_can_never_be_stored_is_shown_unsaved_and_blocks_nothing() {
    let mut bench = passed();
    bench.core.said(figure(1), AT);
    bench.core.told(Told::Refused(Key::FollowUp(1), "its verdict is not stored".into()));
    assert_eq!(bench.said(), ["completed of 1 No"]);
    assert_eq!(bench.core.store.unsaved().words(), "1 figure(s) or amendment(s)");
    bench.core.said(figure(1), AT);
    bench.core.told(Told::Stored(Key::FollowUp(2)));
    assert_eq!(bench.said(), ["completed of 1 Yes"]);
}

/// Figures keep their place behind the verdict when both are late.
#[test]
fn a_late_figure_comes_behind_its_late_verdict() {
    let mut bench = Bench::new(CAPACITOR);
    bench.confirm_all();
    bench.core.told(Told::Trouble("the disk is full".into()));
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.said();
    bench.core.said(figure(1), AT);
    bench.watch(Duration::from_millis(5_200));
    assert_eq!(bench.said(), ["pass No", "completed of 1 No"]);
}

#[test]
fn without_a_history_a_figure_is_shown_at_once() {
    let mut bench = Bench::without_history(CAPACITOR);
    bench.confirm_all();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.said();
    bench.core.said(figure(1), AT);
    assert_eq!(bench.said(), ["completed of 1 NothingKept"]);
    assert_eq!(bench.core.context.follow_ups.len(), 1);
}

/// What the round says of another verdict than the last is nobody's.
#[test]
fn a_figure_of_an_older_verdict_is_not_told_under_the_newer_one() {
    let mut bench = passed();
    bench.act(Act::Again { as_left: false }).unwrap();
    bench.act(typed("capacitance", "30.0 uF")).unwrap();
    bench.core.told(Told::Stored(Key::Verdict(2)));
    bench.said();
    bench.core.said(figure(1), AT);
    assert_eq!((rows(&bench).len(), bench.said()), (0, Vec::new()));
}

/// A queue that is full costs the figure its place in the history and nobody's time.
#[test]
fn a_full_queue_shows_the_figure_unsaved_at_once() {
    let mut bench = passed();
    for _ in 0..64 {
        bench.core.said(figure(1), AT);
    }
    assert_eq!(bench.said(), Vec::<String>::new());
    bench.core.said(amendment(1), AT);
    assert_eq!(bench.said(), ["amended of 1 No"]);
}

/// The end waits for figures too, and shows what the disk never took.
#[test]
fn the_end_shows_a_figure_that_the_disk_never_took() {
    let mut bench = passed();
    bench.core.said(figure(1), AT);
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
    let Bench { core, mut notices, .. } = bench;
    let (_told, mut answers) = tokio::sync::mpsc::channel(8);
    let ended = runtime.block_on(core.end(&mut answers));
    assert!(!ended.in_order);
    let last = std::iter::from_fn(|| notices.try_recv().ok()).last().unwrap();
    assert!(
        matches!(&*last, crate::daemon::Notice::FollowUp(kept) if kept.saved == crate::daemon::released::Saved::No)
    );
}

/// The word is given back on the page and in the history as it was taken.
#[test]
fn an_amendment_that_goes_back_stands_in_place_of_the_one_before() {
    let mut bench = passed();
    bench.core.said(amendment(1), AT);
    bench.core.said(amendment_to(1, Word::Pass), AT);
    let rows = rows(&bench);
    let words: Vec<_> = rows.iter().map(|row| row.word.as_deref()).collect();
    assert_eq!(words, [Some("fail"), Some("pass")]);
    bench.core.told(Told::Stored(Key::FollowUp(1)));
    bench.core.told(Told::Stored(Key::FollowUp(2)));
    assert_eq!(bench.said(), ["amended of 1 Yes", "amended of 1 Yes"]);
    let view = bench.view();
    let amended = &view["verdict"]["amended"];
    assert_eq!((&amended["word"], &amended["back"]), (&"pass".into(), &true.into()));
    assert_eq!(view["recent"][0]["amended"], "pass");
}
