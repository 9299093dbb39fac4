//! File, stdin, the in-memory simulator and the tracer.
#![cfg(all(feature = "file", feature = "stdin", feature = "sim"))]

use std::io;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::time::Instant;

use super::{TestDir, bytes, next, until};
use crate::{
    Adapter, Disconnect, FileAdapter, GapReason, LinkEvent, LinkState, OpenError, OpenOptions, Pace, Script,
    SimAdapter, StdinAdapter, Step, Steps, Traced, TracedAdapter,
};

fn pattern(n: usize) -> Vec<u8> {
    (0..n).map(|i| u8::try_from(i % 251).unwrap()).collect()
}

#[tokio::test]
async fn a_file_larger_than_the_queue_loses_nothing() {
    let dir = TestDir::new();
    let path = dir.join("bytes.raw");
    std::fs::write(&path, pattern(1_000_000)).unwrap();
    let selector = format!("file:{}", path.display()).parse().unwrap();
    let options = OpenOptions { queue_bytes: 8192, ..OpenOptions::default() };
    let mut link = FileAdapter.open(&selector, &options).unwrap();
    assert!(bytes(&mut *link, 1_000_000).await == pattern(1_000_000));
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Ended));
    assert_eq!(link.next().await, None);
    assert_eq!(link.counters().dropped_bytes, 0);
    assert!(link.counters().queued_bytes_peak <= 8192);
}

#[tokio::test(start_paused = true)]
async fn a_paced_file_takes_its_time() {
    let dir = TestDir::new();
    let path = dir.join("bytes.raw");
    std::fs::write(&path, pattern(9600)).unwrap();
    let selector = format!("file:{}", path.display()).parse().unwrap();
    let options = OpenOptions { pace: Pace::BytesPerSecond(960), ..OpenOptions::default() };
    let begin = Instant::now();
    let mut link = FileAdapter.open(&selector, &options).unwrap();
    assert_eq!(bytes(&mut *link, 9600).await, pattern(9600));
    let took = begin.elapsed().as_secs_f64();
    assert!((9.5..10.5).contains(&took), "{took} s for 10 s of bytes");
}

#[tokio::test]
async fn what_is_no_file_is_refused_at_once() {
    let dir = TestDir::new();
    let open = |path: &std::path::Path| {
        FileAdapter.open(&format!("file:{}", path.display()).parse().unwrap(), &OpenOptions::default())
    };
    assert!(matches!(open(dir.path()), Err(OpenError::NotAFile { .. })));
    let device = if cfg!(windows) { "con" } else { "/dev/zero" };
    assert!(matches!(open(device.as_ref()), Err(OpenError::NotAFile { .. })));
    let missing = open(&dir.join("none"));
    assert!(matches!(missing, Err(OpenError::Unreadable { kind: io::ErrorKind::NotFound, .. })));
}

#[test]
fn outside_a_runtime_is_an_error_not_a_panic() {
    let adapter = SimAdapter::new().with("m", || Steps::once(Vec::new()));
    let opened = adapter.open(&"sim:m".parse().unwrap(), &OpenOptions::default());
    assert!(matches!(opened, Err(OpenError::NoRuntime)), "{opened:?}");
}

/// Gives its bytes in small reads, then fails.
struct Failing(usize);

impl io::Read for Failing {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.0 == 0 {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        self.0 -= 1;
        buffer[..3].copy_from_slice(b"abc");
        Ok(3)
    }
}

#[tokio::test]
async fn a_broken_stdin_is_a_gap_then_the_end() {
    let adapter = StdinAdapter::reading(Failing(2));
    let selector = "stdin:".parse().unwrap();
    let mut link = adapter.open(&selector, &OpenOptions::default()).unwrap();
    assert_eq!(bytes(&mut *link, 6).await, b"abcabc");
    let loss = Disconnect::Io(io::ErrorKind::BrokenPipe);
    assert_eq!(next(&mut *link).await, LinkEvent::Gap(GapReason::Lost(loss)));
    until(&mut *link, &LinkState::Ended).await;
    let again = adapter.open(&selector, &OpenOptions::default());
    assert!(matches!(again, Err(OpenError::AlreadyOpen { .. })));
}

#[tokio::test]
async fn an_endless_stdin_waits_for_its_reader() {
    let adapter = StdinAdapter::reading(io::repeat(7));
    let options = OpenOptions { queue_bytes: 8192, ..OpenOptions::default() };
    let mut link = adapter.open(&"stdin:".parse().unwrap(), &options).unwrap();
    assert!(bytes(&mut *link, 1_000_000).await.iter().all(|byte| *byte == 7));
    assert_eq!(link.counters().dropped_bytes, 0);
    assert!(link.counters().queued_bytes_peak <= 8192);
}

/// Sends one line, is unplugged, sends another; answers requests.
struct Talking(Steps);

impl Script for Talking {
    fn next_step(&mut self) -> Option<Step> {
        self.0.next_step()
    }

    fn reply(&mut self, request: &[u8]) -> Vec<u8> {
        [b"you said ", request].concat()
    }
}

#[tokio::test(start_paused = true)]
async fn the_simulator_keeps_its_times_answers_and_unplugs() {
    let adapter = SimAdapter::new().with("m", || {
        Talking(Steps::once(vec![Step::send(500, "one\n"), Step::unplug(2000), Step::send(100, "two\n")]))
    });
    let mut link = adapter.open(&"sim:m".parse().unwrap(), &OpenOptions::default()).unwrap();
    let begin = Instant::now();
    until(&mut *link, &LinkState::Syncing).await;
    link.requests().unwrap().send(b"hello".to_vec()).unwrap();
    assert_eq!(bytes(&mut *link, 14).await, b"you said hello");
    assert_eq!(begin.elapsed(), Duration::ZERO);
    assert_eq!(bytes(&mut *link, 4).await, b"one\n");
    assert_eq!(begin.elapsed().as_millis() / 10, 50);
    assert_eq!(next(&mut *link).await, LinkEvent::Gap(GapReason::Lost(Disconnect::HungUp)));
    until(&mut *link, &LinkState::Syncing).await;
    assert_eq!(bytes(&mut *link, 4).await, b"two\n");
    assert_eq!(begin.elapsed().as_millis() / 10, 260);
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Ended));
}

#[tokio::test(start_paused = true)]
async fn a_script_that_panics_is_counted_and_goes_on() {
    let mut n = 0;
    let adapter = SimAdapter::new().with("m", move || {
        move || {
            n += 1;
            assert_ne!(n, 2, "on purpose");
            (n < 4).then(|| Step::send(1, "x"))
        }
    });
    let mut link = adapter.open(&"sim:m".parse().unwrap(), &OpenOptions::default()).unwrap();
    until(&mut *link, &LinkState::Lost(Disconnect::Panicked)).await;
    assert_eq!(bytes(&mut *link, 1).await, b"x");
    until(&mut *link, &LinkState::Ended).await;
    assert_eq!(link.counters().panics, 1);
}

#[tokio::test(start_paused = true)]
async fn the_tracer_sees_both_ways_and_changes_nothing() {
    let seen = Arc::new(Mutex::new(Vec::new()));
    let notes = Arc::clone(&seen);
    let inner = SimAdapter::new().with("m", || Talking(Steps::once(vec![Step::send(10, "one\n")])));
    let adapter = TracedAdapter::new(inner, move |selector, traced| {
        let what = match traced {
            Traced::In(event) => format!("in {event:?}"),
            Traced::Out(request) => format!("out {}", String::from_utf8_lossy(request)),
            Traced::End => "end".to_owned(),
        };
        notes.lock().unwrap().push(format!("{selector} {what}"));
    });
    let mut link = adapter.open(&"sim:m".parse().unwrap(), &OpenOptions::default()).unwrap();
    link.requests().unwrap().send(b"hi".to_vec()).unwrap();
    let mut got = Vec::new();
    while let Some(event) = link.next().await {
        got.push(format!("sim:m in {event:?}"));
    }
    let mut expected = vec!["sim:m out hi".to_owned()];
    expected.append(&mut got);
    expected.push("sim:m end".to_owned());
    assert_eq!(*seen.lock().unwrap(), expected);
}
