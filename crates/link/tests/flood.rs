//! A babbling device on a real pseudo-terminal, with a reader that does not read: memory stays bounded, every dropped byte
//! is counted in a gap, and the newest bytes come through. Alone in its own process, because it measures its memory.
#![cfg(all(feature = "serial", feature = "sim", target_os = "linux"))]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "helpers of a test")]

use std::time::{Duration, Instant};

use link::{Adapter, GapReason, LinkEvent, OpenOptions, PtyMeter, PtyOptions, SerialAdapter, Step, WhenFull};

const FLOOD_BYTES: u64 = 16 * 1024 * 1024;
const QUEUE_BYTES: usize = 64 * 1024;
const GROWTH_KIB_MAX: u64 = 4 * 1024;
/// Bounds a hang only.
const HANG: Duration = Duration::from_secs(120);

/// Resident memory of this process, KiB.
fn resident_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[tokio::test]
async fn sixteen_mebibytes_into_a_full_queue() {
    let dir = std::env::temp_dir().join(format!("cliplead-flood-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let rubbish: Vec<u8> = (0..4096_usize).map(|i| u8::try_from(i * 7 % 256).unwrap()).collect();
    let flood = move || Some(Step::send(0, rubbish.clone()));
    let options = PtyOptions { when_full: WhenFull::Wait, ..PtyOptions::default() };
    let meter = PtyMeter::spawn(&dir.join("meter"), flood, options).unwrap();
    let options = OpenOptions { queue_bytes: QUEUE_BYTES, ..OpenOptions::default() };
    let mut link = SerialAdapter::new().open(&meter.selector().parse().unwrap(), &options).unwrap();

    let received = |n: u64, link: &dyn link::Link| link.counters().received_bytes >= n;
    let begin = Instant::now();
    let warm = async {
        while !received(1024 * 1024, &*link) {
            tokio::task::yield_now().await
        }
    };
    tokio::time::timeout(HANG, warm).await.unwrap();
    let before_kib = resident_kib();
    let full = async {
        while !received(FLOOD_BYTES, &*link) {
            tokio::task::yield_now().await
        }
    };
    tokio::time::timeout(HANG, full).await.unwrap();
    let growth_kib = resident_kib().saturating_sub(before_kib);
    let rate = FLOOD_BYTES as f64 / begin.elapsed().as_secs_f64() / 1.0e6;

    let counted = link.counters();
    assert!(counted.queued_bytes_peak <= QUEUE_BYTES, "{counted:?}");
    assert!(counted.dropped_bytes >= FLOOD_BYTES - 2 * QUEUE_BYTES as u64, "{counted:?}");
    assert!(growth_kib <= GROWTH_KIB_MAX, "memory grew by {growth_kib} KiB");

    // Read what is there now: one gap that holds everything dropped so far, then bytes.
    let mut gap = None;
    loop {
        match tokio::time::timeout(HANG, link.next()).await.unwrap().unwrap() {
            LinkEvent::Gap(GapReason::Overflow { bytes }) => assert_eq!(gap.replace(bytes), None),
            LinkEvent::Bytes(_) => break,
            LinkEvent::State(_) => {}
            other => panic!("{other:?}"),
        }
    }
    assert!(gap.is_some_and(|bytes| bytes >= counted.dropped_bytes), "{gap:?} for {counted:?}");
    println!(
        "flood: {rate:.0} MB/s, memory +{growth_kib} KiB, {} bytes dropped in one gap",
        counted.dropped_bytes
    );
    drop((link, meter));
    let _ = std::fs::remove_dir_all(&dir);
}
