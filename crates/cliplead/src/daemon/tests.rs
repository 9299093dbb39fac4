//! The core in played time, with a history that the test plays: what it says and shows, and when. No file, no thread.

mod figures;
mod inputs;
mod route;
mod visits;
mod wanted;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};
use std::time::Duration;

use site::{Device, Site};
use tokio::sync::{broadcast, oneshot, watch};
use visit::act::{Act, By};
use visit::round::{LapseReason, Output, Settings};

use super::core::{Core, Outlets};
use super::keeper::{Job, Key, Told};
use super::released::Saved;
use super::remember::Remembered;
use super::store::Store;
use super::tape::Tape;
use super::{Ask, Input, Notice, Setup};
use crate::cli::Format;
use crate::clock::Moment;
use crate::rules;

/// The core and all that stands around it.
struct Bench {
    core: Core,
    micros: Arc<AtomicU64>,
    jobs: Receiver<Job>,
    notices: broadcast::Receiver<Arc<Notice>>,
    view: watch::Receiver<Arc<str>>,
    route: watch::Receiver<Arc<str>>,
}

/// Components of one unit and the rule of each; the plate is a capacitor's.
fn route(checks: &[(&str, &str)]) -> Vec<visit::round::Plan> {
    let plate = |rule: &str| match rule {
        "run-capacitor" => BTreeMap::from([("capacitance".to_owned(), "40 uF".to_owned())]),
        _ => BTreeMap::new(),
    };
    checks
        .iter()
        .map(|(component, rule)| {
            site::plan("RTU-01", component, rule, &plate(rule), &BTreeMap::new()).unwrap()
        })
        .collect()
}

fn typed(point: &str, value: &str) -> Act {
    Act::typed(point, value, None).unwrap()
}

impl Bench {
    fn new(checks: &[(&str, &str)]) -> Self {
        let (jobs, received) = sync_channel(64);
        Self::with(checks, Store::played(jobs), received)
    }

    fn without_history(checks: &[(&str, &str)]) -> Self {
        Self::with(checks, Store::nothing(), sync_channel(1).1)
    }

    fn with(checks: &[(&str, &str)], store: Store, jobs: Receiver<Job>) -> Self {
        Self::of_parts(checks, Vec::new(), None, store, jobs, None)
    }

    /// The history remembers these visits.
    fn after(checks: &[(&str, &str)], remembered: Vec<Remembered>) -> Self {
        let (jobs, received) = sync_channel(64);
        let first = Some(Told::Open(remembered));
        Self::of_parts(checks, Vec::new(), None, Store::played(jobs), received, first)
    }

    fn without_route() -> Self {
        Self::new(&[])
    }

    /// With these devices behind the one that is typed in.
    fn of_parts(
        checks: &[(&str, &str)],
        meters: Vec<Device>,
        tape: Option<Tape>,
        store: Store,
        jobs: Receiver<Job>,
        first: Option<Told>,
    ) -> Self {
        let micros = Arc::new(AtomicU64::new(1_000_000_000));
        let of_clock = Arc::clone(&micros);
        let clock: crate::clock::Clock =
            Arc::new(move || Moment(Duration::from_micros(of_clock.load(Ordering::Relaxed))));
        let hand = Device { name: "hand".into(), selector: "stdin:".into(), profile: None, typed: true };
        let site = Site {
            machine: site::MACHINE_DEFAULT.into(),
            site: "Mill Yard".into(),
            rules: None,
            history: None,
            dashboard: None,
            settings: Settings::default(),
            devices: std::iter::once(hand).chain(meters).collect(),
            route: route(checks),
        };
        let (sender, notices) = broadcast::channel(1024);
        let (views, view) = watch::channel(Arc::from("{}"));
        let setup = Setup {
            site,
            rules: rules::load_or_say(None).unwrap(),
            texts: None,
            refused: None,
            registry: link::Registry::new(),
            format: Format::Text,
            record: None,
            note: String::new(),
            arm_first: true,
            strict: false,
            clock: Arc::clone(&clock),
        };
        let (routes, route) = watch::channel(Arc::from("{}"));
        let outlets = Outlets { tape, notices: sender, views, routes };
        Self { core: Core::new(setup, store, clock, outlets, first), micros, jobs, notices, view, route }
    }

    fn pass(&self, span: Duration) {
        self.micros.fetch_add(u64::try_from(span.as_micros()).unwrap(), Ordering::Relaxed);
    }

    fn now(&self) -> Moment {
        Moment(Duration::from_micros(self.micros.load(Ordering::Relaxed)))
    }

    /// Beats of 200 ms, as a running daemon has them.
    fn watch(&mut self, span: Duration) {
        let mut left = span;
        while !left.is_zero() {
            let step = left.min(Duration::from_millis(200));
            self.pass(step);
            self.core.beat();
            left -= step;
        }
    }

    fn act(&mut self, act: Act) -> Result<(), String> {
        let (reply, answer) = oneshot::channel();
        self.core.take(Input::Ask(Ask { act, by: By::Page, check: None, reply: Some(reply) }));
        answer.blocking_recv().unwrap()
    }

    fn confirm_all(&mut self) {
        for name in ["locked out", "leads proved", "proved dead", "discharged", "one lead off"] {
            self.act(Act::Confirm { hold_point: name.to_owned() }).unwrap();
        }
    }

    /// Typed lines in one chunk; gives the end that tells when they are taken.
    fn type_chunk(&mut self, text: &str) -> oneshot::Receiver<()> {
        let (taken, all_taken) = oneshot::channel();
        let (at, data) = (self.now(), text.as_bytes().to_vec());
        self.core.take(Input::Typed { device: 0, at, data, taken });
        all_taken
    }

    /// What was said since the last look: verdicts as "word saved", lapses and hold points.
    fn said(&mut self) -> Vec<String> {
        std::iter::from_fn(|| self.notices.try_recv().ok())
            .filter_map(|notice| match &*notice {
                Notice::Verdict(kept) => Some(format!("{} {:?}", kept.verdict.word, kept.saved)),
                Notice::FollowUp(kept) => {
                    let json = &kept.json;
                    Some(format!("{} of {} {:?}", json.event.name(), json.number, kept.saved))
                }
                Notice::Round(Output::Lapsed { name, why }) => Some(format!("lapsed {name}: {}", why.text())),
                Notice::Round(Output::HoldPoint { name, .. }) => Some(format!("shown {name}")),
                Notice::Round(Output::Refused { why }) => Some(format!("refused {why}")),
                Notice::Round(_) => None,
            })
            .collect()
    }

    /// The history has stored what happened in the visit so far.
    fn store_visit(&mut self) {
        for number in 1..=self.core.store.visit_events {
            self.core.told(Told::Stored(Key::Visit(number)));
        }
    }

    fn stored(&mut self) -> Vec<history::Verdict> {
        self.jobs
            .try_iter()
            .filter_map(|job| if let Job::Verdict(row) = job { Some(*row) } else { None })
            .collect()
    }

    fn view(&self) -> serde_json::Value {
        serde_json::from_str(&self.view.borrow()).unwrap()
    }
}

const CAPACITOR: &[(&str, &str)] = &[("compressor capacitor", "run-capacitor")];

/// The lid is closed over lunch: the machine's clock runs on, nobody looks at it.
#[test]
fn a_closed_lid_opens_every_hold_point() {
    let mut bench = Bench::new(CAPACITOR);
    bench.confirm_all();
    bench.said();
    bench.pass(Duration::from_secs(11));
    bench.core.beat();
    let said = bench.said();
    let slept = LapseReason::Unwatched.text();
    for name in ["locked out", "leads proved", "proved dead", "discharged", "one lead off"] {
        assert!(said.contains(&format!("lapsed {name}: {slept}")), "{name}: {said:?}");
    }
    // What wakes the program may come before its own beat.
    bench.confirm_all();
    bench.said();
    bench.pass(Duration::from_secs(5 * 3600));
    let refused = bench.act(typed("capacitance", "39.9 uF"));
    assert_eq!(bench.stored().len(), 0, "{refused:?}: nothing may be judged by what was shown before lunch");
    assert!(bench.said().iter().any(|line| line.starts_with("lapsed locked out")));
}

#[test]
fn what_was_shown_stands_while_somebody_watches() {
    let mut bench = Bench::new(CAPACITOR);
    bench.confirm_all();
    bench.said();
    bench.watch(Duration::from_secs(9 * 60));
    assert_eq!(bench.said(), Vec::<String>::new());
    bench.watch(Duration::from_secs(2 * 60));
    assert_eq!(
        bench.said(),
        [
            format!("lapsed discharged: {}", LapseReason::Time.text()),
            "lapsed one lead off: a hold point before it fell".into()
        ]
    );
}

/// One chunk, two verdicts of one check: each has a time, a number and an id of its own.
#[test]
fn two_verdicts_of_one_check_in_one_chunk_are_two() {
    let mut bench = Bench::new(CAPACITOR);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    let mut taken = bench.type_chunk("capacitance=40.00uF\nagain\ncapacitance=30.00uF\n");
    assert_eq!(bench.stored().len(), 1, "the second waits for the first");
    assert!(taken.try_recv().is_err(), "the device waits with it");
    bench.core.told(Told::Stored(Key::Verdict(1)));
    let second = bench.stored();
    assert_eq!(second.len(), 1);
    bench.core.told(Told::Stored(Key::Verdict(2)));
    let words: Vec<String> = bench.said().into_iter().filter(|line| line.ends_with("Yes")).collect();
    assert_eq!(words, ["pass Yes", "fail Yes"]);
    assert!(matches!(taken.try_recv(), Err(oneshot::error::TryRecvError::Closed)));
}

#[test]
fn no_two_ids_are_alike_whatever_clock_and_process() {
    let ids: std::collections::BTreeSet<String> =
        (0..100_000).map(|_| uuid::Uuid::now_v7().to_string()).collect();
    assert_eq!(ids.len(), 100_000);
    // RFC 9562, 5.7: the version is 7, the variant 10.
    let id = uuid::Uuid::now_v7();
    assert_eq!((id.get_version_num(), id.get_variant()), (7, uuid::Variant::RFC4122));
    // 74 bits beside the time stamp are random, so two machines at 1970-01-01 with one process id differ.
    let at = uuid::Timestamp::from_unix(uuid::NoContext, 0, 0);
    assert_ne!(uuid::Uuid::new_v7(at), uuid::Uuid::new_v7(at));
}

/// Neither a notice, nor the view, nor another check knows of a verdict before its commit.
#[test]
fn nothing_speaks_of_a_verdict_before_it_is_stored() {
    let mut bench = Bench::new(CAPACITOR);
    bench.confirm_all();
    bench.said();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    assert_eq!(bench.said(), Vec::<String>::new());
    let view = bench.view();
    assert_eq!((&view["verdict"], &view["saving"]), (&serde_json::Value::Null, &serde_json::json!(1)));
    assert_eq!(view["check"]["ruler"], serde_json::Value::Null);
    bench.core.told(Told::Stored(Key::Verdict(1)));
    let said = bench.said();
    assert_eq!(said[0], "pass Yes");
    assert!(said[1..].contains(&"shown capacitor proved".to_owned()), "{said:?}");
    assert_eq!(bench.view()["verdict"]["verdict"], "pass");
}

#[test]
fn a_verdict_that_waits_too_long_is_shown_unsaved_and_nothing_rests_on_it() {
    let mut bench = Bench::new(CAPACITOR);
    bench.confirm_all();
    bench.core.told(Told::Trouble("the disk is full".into()));
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.said();
    bench.watch(Duration::from_millis(4_800));
    assert_eq!(bench.said(), Vec::<String>::new());
    bench.watch(Duration::from_millis(400));
    assert_eq!(bench.said(), ["pass No"]);
    let view = bench.view();
    assert_eq!((&view["verdict"]["unsaved"], &view["recent"][0]["unsaved"]), (&true.into(), &true.into()));
    assert!(view["faults"][0].as_str().unwrap().contains("the disk is full"));
    assert!(!bench.core.store.is_sound());
    // The disk is back: it is stored in its order, and counts from now on.
    bench.store_visit();
    bench.core.told(Told::Stored(Key::Verdict(1)));
    assert_eq!(bench.said(), ["shown capacitor proved"]);
    let view = bench.view();
    assert_eq!((&view["verdict"]["unsaved"], &view["recent"][0]["unsaved"]), (&false.into(), &false.into()));
    assert!(bench.core.store.is_sound());
}

#[test]
fn an_error_that_no_retry_can_mend_blocks_nothing_behind_it() {
    let mut bench = Bench::new(CAPACITOR);
    bench.confirm_all();
    bench.said();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.act(Act::Again { as_left: false }).unwrap();
    bench.act(typed("capacitance", "30.0 uF")).unwrap();
    bench.store_visit();
    bench.core.told(Told::Refused(Key::Verdict(1), "the id is taken".into()));
    bench.core.told(Told::Stored(Key::Verdict(2)));
    assert_eq!(bench.said(), ["pass No", "fail Yes"]);
    assert_eq!(bench.core.store.unsaved().words(), "1 verdict(s)");
    assert!(!bench.core.store.is_sound());
}

#[test]
fn without_a_history_a_verdict_is_shown_at_once() {
    let mut bench = Bench::without_history(CAPACITOR);
    bench.confirm_all();
    bench.said();
    bench.type_chunk("capacitance=40.0uF\nagain\ncapacitance=30.0uF\n");
    let words: Vec<String> = bench
        .said()
        .into_iter()
        .filter(|line| line.ends_with(&format!("{:?}", Saved::NothingKept)))
        .collect();
    assert_eq!(words, ["pass NothingKept", "fail NothingKept"]);
    assert!(bench.core.store.is_sound());
}

/// Waiting for the disk holds up what may rest on the verdict, and no press on the page.
#[test]
fn a_slow_disk_holds_up_typed_lines_alone() {
    let mut bench = Bench::new(&[("one", "run-capacitor"), ("two", "run-capacitor")]);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    bench.type_chunk("capacitance=40.0uF\nnext\n");
    assert_eq!(bench.view()["check"]["number"], 1, "next waits for the disk");
    bench.act(Act::Next).unwrap();
    assert_eq!(bench.view()["check"]["number"], 2, "a press does not");
}

/// A reading of a supply at this time.
fn volts(ms: i64) -> quantity::Reading {
    use quantity::{Coupling, Decimal, Flags, Instant, Reading, State, Unit};
    Reading {
        at: Instant::from_micros(ms * 1_000),
        seq: 0,
        channel: 0,
        display: quantity::DisplayUnit { unit: Unit::VOLT, coupling: Some(Coupling::Ac) },
        state: State::Value(Decimal::parse("230.1").unwrap()),
        flags: Flags::default(),
        accuracy: None,
        timing: quantity::Timing::default(),
    }
}

/// A channel beyond the bound is not kept; those that are known go on.
#[test]
fn too_many_channels_cost_no_known_one_its_readings() {
    let (jobs, received) = sync_channel(64);
    let mut store = Store::played(jobs);
    let start = Moment(Duration::from_secs(1));
    for number in 0..300 {
        store.raw(&format!("meter {number}"), &volts(0), start);
    }
    store.raw("meter 0", &volts(200), start);
    store.write_raw(start, true);
    let Job::Readings(readings) = received.try_recv().unwrap() else { panic!("no readings") };
    assert_eq!((readings.len(), readings[256].device.as_str()), (257, "meter 0"));
}

#[test]
fn raw_readings_go_to_the_disk_thinned_and_in_batches() {
    let (jobs, received) = sync_channel(64);
    let mut store = Store::played(jobs);
    let start = Moment(Duration::from_secs(1));
    for ms in 0..40_000_u32 {
        let now = Moment(start.0 + Duration::from_millis(u64::from(ms)));
        store.raw("meter", &volts(i64::from(ms)), now);
        if ms % 200 == 0 {
            store.write_raw(now, false);
            store.told(Told::Readings(0, None));
        }
    }
    let batches: Vec<usize> = received
        .try_iter()
        .filter_map(|job| if let Job::Readings(readings) = job { Some(readings.len()) } else { None })
        .collect();
    // A thousand readings a second are thinned to ten, and written every ten seconds or a beat later.
    assert!(batches.len() == 3 && batches.iter().all(|count| (100..=103).contains(count)), "{batches:?}");
}

#[test]
fn a_device_tells_why_its_bytes_were_dropped() {
    let mut bench = Bench::without_history(CAPACITOR);
    bench.type_chunk("rubbish\nmore rubbish\n");
    bench.core.beat();
    let device = &bench.view()["devices"][0];
    assert_eq!((&device["drops"], &device["reasons"][0]["count"]), (&2.into(), &2.into()), "{device}");
    assert_eq!(device["reasons"][0]["reason"], "typed lines that were not taken");
}

/// However many lines are wrong: what is said is bounded by the clock, and all of them are counted.
#[test]
fn a_flood_of_refused_lines_is_one_count() {
    let mut bench = Bench::without_history(CAPACITOR);
    for _ in 0..5_000 {
        bench.type_chunk("nonsense=1V\n");
    }
    assert!(bench.core.refusals.due(bench.now(), true).unwrap().contains("4999 more were refused"));
}

/// Lines that wait for a disk which never answers have their verdicts at the end all the same, marked.
#[test]
fn the_end_shows_what_the_disk_never_took() {
    let mut bench = Bench::new(CAPACITOR);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    bench.type_chunk("capacitance=40.00uF\nagain\ncapacitance=30.00uF\nagain\n");
    bench.said();
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
    let Bench { core, mut notices, .. } = bench;
    let (_told, mut answers) = tokio::sync::mpsc::channel(8);
    let ended = runtime.block_on(core.end(&mut answers));
    assert!(!ended.in_order);
    let words: Vec<String> = std::iter::from_fn(|| notices.try_recv().ok())
        .filter_map(|notice| match &*notice {
            Notice::Verdict(kept) => Some(format!("{} {:?}", kept.verdict.word, kept.saved)),
            Notice::Round(_) | Notice::FollowUp(_) => None,
        })
        .collect();
    assert_eq!(words, ["pass No", "fail No", "no verdict No"]);
}
