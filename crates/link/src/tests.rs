//! Tests of this crate, by part; helpers that several parts use.

#[cfg(all(feature = "ble", target_os = "linux"))]
mod ble;
mod conform;
mod faults;
mod manual;
#[cfg(feature = "sim")]
mod polled;
#[cfg(all(feature = "serial", feature = "sim", unix))]
mod polled_pty;
mod queue;
#[cfg(all(feature = "serial", feature = "sim", target_os = "linux"))]
mod serial_pty;
mod sources;
mod supervise;
#[cfg(feature = "tcp")]
mod tcp;
mod text;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use crate::{Link, LinkEvent, LinkState};

/// Bounds a hang only.
pub(crate) const HANG: Duration = Duration::from_secs(30);

/// The next event, or a failed test.
pub(crate) async fn next(link: &mut dyn Link) -> LinkEvent {
    tokio::time::timeout(HANG, link.next()).await.expect("an event within 30 s").expect("the link goes on")
}

/// Skips events until the state.
pub(crate) async fn until(link: &mut dyn Link, state: &LinkState) {
    while next(link).await != LinkEvent::State(state.clone()) {}
}

/// Collects exactly `n` bytes; a gap fails the test.
pub(crate) async fn bytes(link: &mut dyn Link, n: usize) -> Vec<u8> {
    let mut got = Vec::new();
    while got.len() < n {
        match next(link).await {
            LinkEvent::Bytes(more) => got.extend(more),
            LinkEvent::State(_) => {}
            LinkEvent::Gap(gap) => panic!("a gap after {} bytes: {gap}", got.len()),
        }
    }
    got
}

/// A directory of one test, removed at its end.
pub(crate) struct TestDir(PathBuf);

impl TestDir {
    pub(crate) fn new() -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name = format!("cliplead-link-{}-{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub(crate) fn path(&self) -> &Path {
        &self.0
    }

    pub(crate) fn join(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for TestDir {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
