//! Unplug and replug over a real pseudo-terminal, 50 times: each loss is told, each return is found, no file descriptor
//! is left. Alone in its own process, because it counts the descriptors of the process.
#![cfg(all(feature = "serial", feature = "sim", target_os = "linux"))]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "helpers of a test")]

use std::time::{Duration, Instant};

use link::{
    Adapter, Disconnect, GapReason, Link, LinkEvent, LinkState, OpenOptions, PtyMeter, PtyOptions,
    SerialAdapter, Steps,
};

const CYCLES: usize = 50;
/// Bounds a hang only.
const HANG: Duration = Duration::from_secs(30);

async fn next(link: &mut dyn Link) -> LinkEvent {
    tokio::time::timeout(HANG, link.next()).await.expect("an event within 30 s").expect("the link goes on")
}

fn open_descriptors() -> usize {
    std::fs::read_dir("/proc/self/fd").unwrap().count()
}

/// From the replug (or the start) to the first bytes.
async fn live_again(link: &mut dyn Link, meter: &PtyMeter) {
    while next(link).await != LinkEvent::State(LinkState::Syncing) {}
    meter.send("reading").unwrap();
    let mut got = Vec::new();
    while got.len() < 7 {
        if let LinkEvent::Bytes(more) = next(link).await {
            got.extend(more);
        }
    }
    assert_eq!(got, b"reading");
}

#[tokio::test]
async fn fifty_cycles() {
    let dir = std::env::temp_dir().join(format!("cliplead-replug-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let meter = PtyMeter::spawn(&dir.join("meter"), Steps::once(Vec::new()), PtyOptions::default()).unwrap();
    let options = OpenOptions { silence: None, ..OpenOptions::default() };
    let mut link = SerialAdapter::new().open(&meter.selector().parse().unwrap(), &options).unwrap();
    live_again(&mut *link, &meter).await;

    let before = open_descriptors();
    let mut took = Vec::new();
    for cycle in 0..CYCLES {
        meter.unplug().unwrap();
        // A terminal whose other side is closed reads "no bytes" or an error; either is one loss.
        let gap = next(&mut *link).await;
        assert!(
            matches!(gap, LinkEvent::Gap(GapReason::Lost(Disconnect::HungUp | Disconnect::Io(_)))),
            "cycle {cycle}: {gap:?}"
        );
        assert!(matches!(next(&mut *link).await, LinkEvent::State(LinkState::Lost(_))));
        let begin = Instant::now();
        meter.replug().unwrap();
        live_again(&mut *link, &meter).await;
        took.push(begin.elapsed());
    }
    assert_eq!(open_descriptors(), before, "descriptors after {CYCLES} cycles");
    let counters = link.counters();
    assert_eq!((counters.opened, counters.gaps, counters.panics), (CYCLES as u64 + 1, CYCLES as u64, 0));
    took.sort();
    println!("replug to reading: p50 {:?}, max {:?}", took[CYCLES / 2], took[CYCLES - 1]);
    std::fs::remove_dir_all(&dir).unwrap();
}
