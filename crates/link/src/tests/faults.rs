//! The fault injector on invented streams: nothing without rates, the same from the same seed, and every fault
//! reported.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};
use std::time::Duration;

use proptest::prelude::*;
use tokio::time::Instant;

use crate::adapter::Requests;
use crate::faults::plan::splitmix64;
use crate::{
    CHUNK_BYTES_MAX, Disconnect, Fault, FaultCounts, FaultRates, FaultyLink, GapReason, Injected, Link,
    LinkCounters, LinkEvent, LinkState, Selector, Unavailable,
};

/// Gives its events in order.
struct Canned(Selector, VecDeque<LinkEvent>, Option<Requests>);

impl Link for Canned {
    fn selector(&self) -> &Selector {
        &self.0
    }
    fn poll_event(&mut self, _cx: &mut Context<'_>) -> Poll<Option<LinkEvent>> {
        Poll::Ready(self.1.pop_front())
    }
    fn counters(&self) -> LinkCounters {
        LinkCounters { opened: 1, received_bytes: 7, ..LinkCounters::default() }
    }
    fn requests(&self) -> Option<Requests> {
        self.2.clone()
    }
}

fn canned(name: &str, events: &[LinkEvent]) -> Box<dyn Link> {
    Box::new(Canned(name.parse().unwrap(), events.iter().cloned().collect(), None))
}

fn live(chunks: &[Vec<u8>]) -> Vec<LinkEvent> {
    let states = [LinkState::Opening, LinkState::Syncing, LinkState::Live].map(LinkEvent::State);
    let bytes = chunks.iter().cloned().map(LinkEvent::Bytes);
    states.into_iter().chain(bytes).chain([LinkEvent::State(LinkState::Ended)]).collect()
}

/// What comes out, what was told, what was counted.
#[derive(Debug, PartialEq)]
struct Ran {
    events: Vec<LinkEvent>,
    told: Vec<Injected>,
    counts: FaultCounts,
}

impl Ran {
    fn bytes(&self) -> Vec<u8> {
        let chunk = |event: &LinkEvent| match event {
            LinkEvent::Bytes(bytes) => bytes.clone(),
            _ => Vec::new(),
        };
        self.events.iter().flat_map(chunk).collect()
    }

    fn count(&self, what: impl Fn(&LinkEvent) -> bool) -> usize {
        self.events.iter().filter(|event| what(event)).count()
    }

    fn chunks(&self) -> usize {
        self.count(|event| matches!(event, LinkEvent::Bytes(_)))
    }
}

async fn run_as(name: &str, seed: u64, rates: FaultRates, events: &[LinkEvent]) -> Ran {
    let notes = Arc::new(Mutex::new(Vec::new()));
    let told = Arc::clone(&notes);
    let mut link = FaultyLink::new(canned(name, events), seed, rates, move |_, injected| {
        told.lock().unwrap().push(injected.clone());
    });
    let mut events = Vec::new();
    while let Some(event) = <dyn Link>::next(&mut link).await {
        events.push(event);
    }
    let told = std::mem::take(&mut *notes.lock().unwrap());
    Ran { events, told, counts: link.counts() }
}

async fn run(seed: u64, rates: FaultRates, events: &[LinkEvent]) -> Ran {
    run_as("test:one", seed, rates, events).await
}

/// The same without an executor's help: for property tests, whose streams need no time.
fn run_now(seed: u64, rates: FaultRates, events: &[LinkEvent]) -> Ran {
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
    runtime.block_on(run(seed, rates, events))
}

fn pattern(n: usize) -> Vec<u8> {
    (0..n).map(|i| u8::try_from(i % 251).unwrap()).collect()
}

/// Every fault that changes bytes, often.
fn rough() -> FaultRates {
    FaultRates {
        drop_per_million: 20_000,
        double_per_million: 20_000,
        flip_per_million: 20_000,
        insert_per_million: 20_000,
        split_per_million: 50_000,
        join_per_million: 300_000,
        pause_per_million: 5_000,
        cut_per_million: 5_000,
        ..FaultRates::default()
    }
}

/// What must come out, from what went in and what was told alone.
fn rebuilt(received: &[u8], told: &[Injected]) -> Vec<u8> {
    let (mut out, mut recent): (Vec<u8>, Vec<u8>) = (Vec::new(), Vec::new());
    let mut missing_until = 0;
    for (at, byte) in (0_u64..).zip(received) {
        let mut byte = *byte;
        let mut again = 0;
        for injected in told.iter().filter(|injected| injected.at_byte == at) {
            match &injected.fault {
                Fault::Dropped { bytes } => missing_until = at + u64::from(*bytes),
                Fault::Cut { bytes } => {
                    missing_until = at + u64::from(*bytes);
                    recent.clear();
                }
                Fault::Inserted { bytes } => out.extend(bytes),
                Fault::Flipped { bit } => byte ^= 1 << bit,
                Fault::Doubled { bytes } => again = usize::from(*bytes),
                _ => {}
            }
        }
        if at >= missing_until {
            out.push(byte);
            recent.push(byte);
            out.extend_from_slice(&recent[recent.len() - again..]);
        }
    }
    out
}

/// The numbers for seed 1234567 as commonly published for SplitMix64 (from memory).
#[test]
fn the_draw_is_splitmix64() {
    let numbers: Vec<u64> = (0..5).map(|n| splitmix64(1_234_567, n)).collect();
    assert_eq!(
        numbers,
        [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821
        ]
    );
}

#[tokio::test(start_paused = true)]
async fn the_same_seed_gives_the_same_faults_and_another_seed_or_device_others() {
    let input = live(&[pattern(3000), pattern(10), pattern(3000)]);
    let first = run(42, rough(), &input).await;
    assert_eq!(first, run(42, rough(), &input).await);
    assert!(first.counts.total() > 300, "{:?}", first.counts);
    assert_ne!(first.told, run(43, rough(), &input).await.told);
    assert_ne!(first.told, run_as("test:two", 42, rough(), &input).await.told);
}

#[tokio::test(start_paused = true)]
async fn one_rate_does_not_move_the_faults_of_another() {
    let input = live(&[pattern(4000), pattern(4000)]);
    let flips = |ran: &Ran| -> Vec<Injected> {
        ran.told.iter().filter(|told| matches!(told.fault, Fault::Flipped { .. })).cloned().collect()
    };
    let flip = FaultRates { flip_per_million: 20_000, ..FaultRates::default() };
    let both = FaultRates { double_per_million: 50_000, insert_per_million: 50_000, ..flip };
    let (alone, among) = (run(7, flip, &input).await, run(7, both, &input).await);
    assert!(flips(&alone).len() > 50);
    assert_eq!(flips(&alone), flips(&among));
}

/// Counted faults against the binomial distribution: within 5 standard deviations of n p.
#[tokio::test(start_paused = true)]
async fn each_rate_is_kept_and_each_fault_counted_once() {
    let chunks: Vec<Vec<u8>> = (0..50).map(|_| pattern(4000)).collect();
    let rates = FaultRates {
        flip_per_million: 10_000,
        double_per_million: 20_000,
        insert_per_million: 5_000,
        split_per_million: 40_000,
        ..FaultRates::default()
    };
    let ran = run(3, rates, &live(&chunks)).await;
    let n = 200_000.0;
    for (count, p) in [
        (ran.counts.flipped, 0.01),
        (ran.counts.doubled, 0.02),
        (ran.counts.inserted, 0.005),
        (ran.counts.split, 0.04),
    ] {
        let (mean, deviation) = (n * p, f64::sqrt(n * p * (1.0 - p)));
        assert!((count as f64 - mean).abs() < 5.0 * deviation, "{count} for {mean} +-{deviation}");
    }
    assert_eq!(ran.counts.total(), ran.told.len() as u64);
    assert_eq!(ran.counts.dropped + ran.counts.joined + ran.counts.paused + ran.counts.cut, 0);
}

#[tokio::test(start_paused = true)]
async fn each_fault_alone_at_every_byte() {
    const ALL: u32 = 1_000_000;
    let none =
        FaultRates { run_bytes_max: 1, pause_max: Duration::from_millis(256), ..FaultRates::default() };
    let input = live(&[pattern(100), pattern(200)]);
    let sent: Vec<u8> = [pattern(100), pattern(200)].concat();

    let dropped = run(1, FaultRates { drop_per_million: ALL, ..none }, &input).await;
    assert_eq!((dropped.bytes(), dropped.counts.dropped), (Vec::new(), 300));

    let doubled = run(1, FaultRates { double_per_million: ALL, ..none }, &input).await;
    assert_eq!(doubled.bytes(), sent.iter().flat_map(|b| [*b, *b]).collect::<Vec<_>>());

    let flipped = run(1, FaultRates { flip_per_million: ALL, ..none }, &input).await;
    assert_eq!(flipped.bytes().len(), 300);
    assert!(flipped.bytes().iter().zip(&sent).all(|(got, sent)| (got ^ sent).count_ones() == 1));
    let bits: u8 = flipped.bytes().iter().zip(&sent).fold(0, |bits, (got, sent)| bits | (got ^ sent));
    assert_eq!(bits, 0xff, "every bit is flipped somewhere");

    let inserted = run(1, FaultRates { insert_per_million: ALL, ..none }, &input).await;
    assert_eq!(inserted.bytes().len(), 600);
    assert_eq!(inserted.bytes().into_iter().skip(1).step_by(2).collect::<Vec<_>>(), sent);

    let split = run(1, FaultRates { split_per_million: ALL, ..none }, &input).await;
    assert_eq!((split.bytes(), split.chunks()), (sent.clone(), 300));

    let joined = run(1, FaultRates { join_per_million: ALL, ..none }, &input).await;
    assert_eq!((joined.bytes(), joined.chunks(), joined.counts.joined), (sent.clone(), 1, 2));

    let cut = run(1, FaultRates { cut_per_million: ALL, ..none }, &input).await;
    assert_eq!((cut.bytes(), cut.counts.cut), (Vec::new(), 300));
    assert_eq!(cut.count(|event| matches!(event, LinkEvent::Gap(_))), 300);
}

#[tokio::test(start_paused = true)]
async fn a_pause_holds_everything_back_for_the_time_that_was_told() {
    let rates = FaultRates {
        pause_per_million: 50_000,
        pause_max: Duration::from_millis(512),
        ..FaultRates::default()
    };
    let begin = Instant::now();
    let ran = run(5, rates, &live(&[pattern(400)])).await;
    let told: Duration = ran
        .told
        .iter()
        .map(|injected| match injected.fault {
            Fault::Paused { pause } => pause,
            ref other => panic!("{other:?}"),
        })
        .sum();
    assert!(ran.counts.paused >= 5, "{:?}", ran.counts);
    // The clock of tokio goes in milliseconds and rounds each wait up.
    let late = begin.elapsed() - told;
    assert!(late <= Duration::from_millis(2 * ran.counts.paused), "{:?} for {told:?}", begin.elapsed());
    assert_eq!(ran.bytes(), pattern(400));
}

#[tokio::test(start_paused = true)]
async fn a_cut_reads_like_a_real_loss_and_is_in_the_counters() {
    let rates = FaultRates { cut_per_million: 20_000, run_bytes_max: 3, ..FaultRates::default() };
    let input = live(&[pattern(60)]);
    // The first seed with exactly one cut, away from the ends.
    let mut seed = 0;
    let ran = loop {
        let ran = run(seed, rates, &input).await;
        if ran.told.len() == 1 && (10..50).contains(&ran.told[0].at_byte) {
            break ran;
        }
        seed += 1;
    };
    let at = usize::try_from(ran.told[0].at_byte).unwrap();
    let Fault::Cut { bytes: missing } = ran.told[0].fault else { panic!("{ran:?}") };
    let state = LinkEvent::State;
    let loss = Disconnect::HungUp;
    assert_eq!(
        ran.events,
        [
            state(LinkState::Opening),
            state(LinkState::Syncing),
            state(LinkState::Live),
            LinkEvent::Bytes(pattern(at)),
            LinkEvent::Gap(GapReason::Lost(loss)),
            state(LinkState::Lost(loss)),
            state(LinkState::Opening),
            state(LinkState::Syncing),
            state(LinkState::Live),
            LinkEvent::Bytes(pattern(60)[at + usize::from(missing)..].to_vec()),
            state(LinkState::Ended),
        ]
    );
    let mut link = FaultyLink::new(canned("test:one", &input), seed, rates, |_, _| {});
    while <dyn Link>::next(&mut link).await.is_some() {}
    let counters = link.counters();
    assert_eq!((counters.opened, counters.gaps, counters.received_bytes), (2, 1, 7));
}

#[test]
fn requests_pass_untouched() {
    let (requests, mut receiver) = Requests::channel();
    let inner = Canned("test:one".parse().unwrap(), VecDeque::new(), Some(requests));
    let link = FaultyLink::new(Box::new(inner), 1, rough(), |_, _| {});
    let request = pattern(200);
    link.requests().unwrap().send(request.clone()).unwrap();
    assert_eq!(receiver.try_recv(), Ok(request));
}

fn any_rates() -> impl Strategy<Value = FaultRates> {
    let often = || prop_oneof![Just(0), 0..200_000_u32, Just(1_000_000)];
    let lengths = (any::<u8>(), 0..2000_u64);
    ((often(), often(), often(), often()), (often(), often(), often(), often()), lengths).prop_map(
        |((drop, double, flip, insert), (split, join, pause, cut), (run_bytes_max, pause_ms))| FaultRates {
            drop_per_million: drop,
            double_per_million: double,
            flip_per_million: flip,
            insert_per_million: insert,
            split_per_million: split,
            join_per_million: join,
            pause_per_million: pause,
            cut_per_million: cut,
            run_bytes_max,
            pause_max: Duration::from_millis(pause_ms),
        },
    )
}

fn any_chunks() -> impl Strategy<Value = Vec<Vec<u8>>> {
    proptest::collection::vec(proptest::collection::vec(any::<u8>(), 1..80), 0..8)
}

fn any_event() -> impl Strategy<Value = LinkEvent> {
    prop_oneof![
        4 => proptest::collection::vec(any::<u8>(), 1..CHUNK_BYTES_MAX).prop_map(LinkEvent::Bytes),
        1 => any::<u64>().prop_map(|bytes| LinkEvent::Gap(GapReason::Overflow { bytes })),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn without_rates_nothing_changes(seed: u64, middle in proptest::collection::vec(any_event(), 0..12)) {
        let mut input = vec![
            LinkEvent::State(LinkState::Absent(Unavailable::NotFound { what: "it".to_owned() })),
            LinkEvent::State(LinkState::Syncing),
            LinkEvent::State(LinkState::Live),
        ];
        input.extend(middle);
        input.push(LinkEvent::State(LinkState::Ended));
        let ran = run_now(seed, FaultRates::default(), &input);
        prop_assert_eq!(ran, Ran { events: input, told: Vec::new(), counts: FaultCounts::default() });
    }

    #[test]
    fn nothing_is_changed_that_is_not_told(seed: u64, rates in any_rates(), chunks in any_chunks()) {
        let ran = run_now(seed, rates, &live(&chunks));
        prop_assert_eq!(ran.bytes(), rebuilt(&chunks.concat(), &ran.told));
        prop_assert_eq!(ran.counts.total(), ran.told.len() as u64);
    }

    #[test]
    fn chunk_edges_do_not_move_the_faults(seed: u64, rates in any_rates(), chunks in any_chunks()) {
        let joins = |told: &[Injected]| -> Vec<Injected> {
            told.iter().filter(|injected| injected.fault != Fault::Joined).cloned().collect()
        };
        let whole: Vec<Vec<u8>> = Some(chunks.concat()).into_iter().filter(|all| !all.is_empty()).collect();
        let (apart, together) = (run_now(seed, rates, &live(&chunks)), run_now(seed, rates, &live(&whole)));
        prop_assert_eq!(joins(&apart.told), joins(&together.told));
        prop_assert_eq!(apart.bytes(), together.bytes());
    }

    /// What the contract says of the order of events holds for every faulty stream.
    #[test]
    fn the_stream_keeps_its_grammar(seed: u64, rates in any_rates(), chunks in any_chunks()) {
        let ran = run_now(seed, rates, &live(&chunks));
        let mut state = None;
        let mut gap = None;
        for event in &ran.events {
            match event {
                LinkEvent::Bytes(bytes) => {
                    prop_assert!(!bytes.is_empty() && bytes.len() <= CHUNK_BYTES_MAX);
                    prop_assert_eq!(&state, &Some(LinkState::Live));
                }
                LinkEvent::Gap(GapReason::Lost(why)) => prop_assert_eq!(gap.replace(*why), None),
                LinkEvent::Gap(other) => prop_assert!(false, "{}", other),
                LinkEvent::State(new) => {
                    prop_assert_ne!(state.replace(new.clone()), Some(new.clone()));
                    if let LinkState::Lost(why) = new {
                        prop_assert_eq!(gap.take(), Some(*why));
                    }
                    prop_assert_eq!(gap, None);
                }
            }
        }
        prop_assert_eq!(state, Some(LinkState::Ended));
    }
}
