//! The supervisor on invented openers and paused time: waits, silence, loss, panics, requests.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
use tokio::time::Instant;

use super::{next, until};
use crate::adapter::Requests;
use crate::backoff::Backoff;
use crate::supervise::{Opener, Watch, supervise};
use crate::task::TaskLink;
use crate::{Disconnect, GapReason, Link, LinkEvent, LinkState, OpenOptions, Selector, Unavailable};

/// What an attempt to open gives.
enum Attempt {
    Stream(DuplexStream),
    Absent(Unavailable),
    Panic,
}

/// Gives the attempts in order, then for ever "not there"; notes when each was made.
#[derive(Clone, Default)]
struct Scripted {
    attempts: Arc<Mutex<VecDeque<Attempt>>>,
    times: Arc<Mutex<Vec<Instant>>>,
}

impl Opener for Scripted {
    type Stream = DuplexStream;

    async fn open(&self) -> Result<DuplexStream, Unavailable> {
        self.times.lock().unwrap().push(Instant::now());
        let attempt = self.attempts.lock().unwrap().pop_front();
        match attempt {
            Some(Attempt::Stream(stream)) => Ok(stream),
            Some(Attempt::Absent(absence)) => Err(absence),
            Some(Attempt::Panic) => panic!("on purpose"),
            None => Err(missing()),
        }
    }
}

fn missing() -> Unavailable {
    Unavailable::NotFound { what: "it".to_owned() }
}

fn forbidden() -> Unavailable {
    Unavailable::PermissionDenied { path: "p".to_owned(), group: "g".to_owned() }
}

fn start(opener: impl Opener, silence: Option<Duration>) -> Box<dyn Link> {
    let selector: Selector = "test:one".parse().unwrap();
    let options = OpenOptions { silence, ..OpenOptions::default() };
    let (requests, receiver) = Requests::channel();
    let backoff = Backoff::new(&selector);
    let link = TaskLink::start(&selector, &options, |sender| {
        supervise(opener, Watch { sender, requests: receiver, silence, backoff })
    });
    Box::new(link.unwrap().with_requests(requests))
}

fn scripted(attempts: impl IntoIterator<Item = Attempt>) -> Scripted {
    let opener = Scripted::default();
    opener.attempts.lock().unwrap().extend(attempts);
    opener
}

fn waits(opener: &Scripted) -> Vec<u128> {
    let times = opener.times.lock().unwrap();
    times.windows(2).map(|pair| (pair[1] - pair[0]).as_millis()).collect()
}

#[tokio::test(start_paused = true)]
async fn an_absent_device_is_looked_for_for_ever_at_most_every_half_second() {
    let opener = scripted([]);
    let mut link = start(opener.clone(), None);
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Opening));
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Absent(missing())));
    // The same absence is not told again.
    let told = tokio::time::timeout(Duration::from_secs(3600), link.next()).await;
    assert!(told.is_err(), "{told:?}");
    let waits = waits(&opener);
    assert!((75..=100).contains(&waits[0]), "{waits:?}");
    assert!((150..=200).contains(&waits[1]), "{waits:?}");
    assert!(waits.iter().all(|ms| *ms <= 501), "{waits:?}");
    assert!((7100..11_000).contains(&waits.len()), "{}", waits.len());
}

#[tokio::test(start_paused = true)]
async fn a_change_of_hindrance_is_told_and_tried_at_most_every_second() {
    let opener = scripted((0..20).map(|_| Attempt::Absent(forbidden())));
    let mut link = start(opener.clone(), None);
    until(&mut *link, &LinkState::Absent(forbidden())).await;
    until(&mut *link, &LinkState::Absent(missing())).await;
    let waits = waits(&opener);
    assert!(waits.iter().all(|ms| *ms <= 1001) && waits.iter().any(|ms| *ms >= 750), "{waits:?}");
}

#[tokio::test(start_paused = true)]
async fn a_port_that_hangs_up_at_once_is_not_hammered() {
    let dead = (0..1000).map(|_| Attempt::Stream(duplex(64).0));
    let opener = scripted(dead);
    let mut link = start(opener.clone(), None);
    let end = Instant::now() + Duration::from_secs(60);
    while tokio::time::timeout_at(end, link.next()).await.is_ok() {}
    let opened = opener.times.lock().unwrap().len();
    assert!((50..=85).contains(&opened), "{opened} openings in 60 s");
}

#[tokio::test(start_paused = true)]
async fn silence_is_a_loss_after_exactly_the_silence_time() {
    let (near, mut far) = duplex(64);
    let mut link = start(scripted([Attempt::Stream(near)]), Some(Duration::from_secs(3)));
    far.write_all(b"reading").await.unwrap();
    until(&mut *link, &LinkState::Live).await;
    assert_eq!(next(&mut *link).await, LinkEvent::Bytes(b"reading".to_vec()));
    let begin = Instant::now();
    let loss = Disconnect::Silent { after_ms: 3000 };
    assert_eq!(next(&mut *link).await, LinkEvent::Gap(GapReason::Lost(loss)));
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Lost(loss)));
    assert_eq!(begin.elapsed().as_millis() / 10, 300);
    // The device was closed before the loss was told.
    assert_eq!(far.read(&mut [0; 8]).await.unwrap(), 0);
}

#[tokio::test(start_paused = true)]
async fn a_device_that_never_spoke_is_opened_again_after_ten_silence_times() {
    let (near, _far) = duplex(64);
    let mut link = start(scripted([Attempt::Stream(near)]), Some(Duration::from_secs(2)));
    until(&mut *link, &LinkState::Lost(Disconnect::Silent { after_ms: 20_000 })).await;
}

#[tokio::test(start_paused = true)]
async fn without_a_silence_time_a_quiet_device_stays_open() {
    let (near, mut far) = duplex(64);
    let mut link = start(scripted([Attempt::Stream(near)]), None);
    until(&mut *link, &LinkState::Syncing).await;
    tokio::time::advance(Duration::from_secs(30 * 24 * 3600)).await;
    far.write_all(b"x").await.unwrap();
    assert_eq!(super::bytes(&mut *link, 1).await, b"x");
}

#[tokio::test(start_paused = true)]
async fn a_panic_is_counted_and_the_source_started_again() {
    let (near, mut far) = duplex(64);
    let mut link = start(scripted([Attempt::Panic, Attempt::Panic, Attempt::Stream(near)]), None);
    until(&mut *link, &LinkState::Lost(Disconnect::Panicked)).await;
    until(&mut *link, &LinkState::Syncing).await;
    far.write_all(b"alive").await.unwrap();
    assert_eq!(super::bytes(&mut *link, 5).await, b"alive");
    assert_eq!(link.counters().panics, 2);
}

#[tokio::test(start_paused = true)]
async fn a_stuck_opening_does_not_delay_another_link() {
    struct Stuck;
    impl Opener for Stuck {
        type Stream = DuplexStream;
        async fn open(&self) -> Result<DuplexStream, Unavailable> {
            std::future::pending().await
        }
    }
    let _stuck = start(Stuck, None);
    let (near, mut far) = duplex(64);
    let mut link = start(scripted([Attempt::Stream(near)]), None);
    far.write_all(b"first").await.unwrap();
    let begin = Instant::now();
    assert_eq!(super::bytes(&mut *link, 5).await, b"first");
    assert_eq!(begin.elapsed(), Duration::ZERO);
}

#[tokio::test(start_paused = true)]
async fn requests_reach_an_open_device_and_stale_ones_are_dropped_and_counted() {
    let (near, mut far) = duplex(64);
    let mut link = start(scripted([Attempt::Absent(missing()), Attempt::Stream(near)]), None);
    let requests = link.requests().unwrap();
    until(&mut *link, &LinkState::Absent(missing())).await;
    requests.send(b"stale".to_vec()).unwrap();
    until(&mut *link, &LinkState::Syncing).await;
    requests.send(b"fresh".to_vec()).unwrap();
    let mut got = [0; 5];
    far.read_exact(&mut got).await.unwrap();
    assert_eq!(&got, b"fresh");
    assert_eq!(link.counters().requests_dropped, 1);
    assert!(requests.send(Vec::new()).is_err() && requests.send(vec![0; 1025]).is_err());
}

#[tokio::test(start_paused = true)]
async fn a_device_that_takes_no_request_is_lost_after_a_second() {
    let (near, _far) = duplex(4);
    let mut link = start(scripted([Attempt::Stream(near)]), None);
    until(&mut *link, &LinkState::Syncing).await;
    link.requests().unwrap().send(b"longer than four".to_vec()).unwrap();
    until(&mut *link, &LinkState::Lost(Disconnect::WriteStalled)).await;
}

#[tokio::test(start_paused = true)]
async fn dropping_the_link_closes_the_device() {
    let (near, mut far) = duplex(64);
    let mut link = start(scripted([Attempt::Stream(near)]), None);
    until(&mut *link, &LinkState::Syncing).await;
    let requests = link.requests().unwrap();
    drop(link);
    assert_eq!(far.read(&mut [0; 8]).await.unwrap(), 0);
    assert_eq!(requests.send(b"x".to_vec()), Err(crate::RequestRefused::Closed));
}

#[tokio::test(start_paused = true)]
async fn a_device_that_spoke_is_opened_again_soon_however_long_it_was_away() {
    let (near, mut far) = duplex(64);
    let long_away = (0..20).map(|_| Attempt::Absent(missing()));
    let (again, _kept) = duplex(64);
    let opener = scripted(long_away.chain([Attempt::Stream(near), Attempt::Stream(again)]));
    let mut link = start(opener, None);
    until(&mut *link, &LinkState::Syncing).await;
    far.write_all(b"x").await.unwrap();
    assert_eq!(super::bytes(&mut *link, 1).await, b"x");
    drop(far);
    until(&mut *link, &LinkState::Lost(Disconnect::HungUp)).await;
    let lost = Instant::now();
    until(&mut *link, &LinkState::Syncing).await;
    assert!(lost.elapsed() <= Duration::from_millis(101), "{:?}", lost.elapsed());
}
