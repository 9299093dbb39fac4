//! Ends the links of an adapter: signals every link to stop and waits until each has released its device. Holds no device
//! code.

use std::fmt;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::{Instant, timeout_at};

/// The longest wait for links to release their devices. The Bluetooth service takes up to 2 s to disconnect one (BlueZ,
/// `DISCONNECT_TIMER` in src/device.c; from memory).
pub const CLOSE_TIME_MAX: Duration = Duration::from_secs(4);

/// Resolves when the links of an adapter have ended, to the number of links that did not release their device in time.
pub type CloseFuture = Pin<Box<dyn Future<Output = usize> + Send>>;

/// Ends the links of one adapter that must disconnect their devices before they stop.
#[derive(Debug, Clone)]
pub(crate) struct Shutdown(Arc<watch::Sender<bool>>);

/// Held by whatever may still have to disconnect a device. The wait is over when the last guard is dropped.
pub(crate) type ShutdownGuard = watch::Receiver<bool>;

impl Default for Shutdown {
    fn default() -> Self {
        Self(Arc::new(watch::Sender::new(false)))
    }
}

impl Shutdown {
    /// A guard for one link, or one scan.
    pub(crate) fn guard(&self) -> ShutdownGuard {
        self.0.subscribe()
    }

    /// Asks every link to end, including links opened later, and waits for them.
    pub(crate) fn close(&self) -> CloseFuture {
        let until = Instant::now() + CLOSE_TIME_MAX;
        self.0.send_replace(true);
        let ended = Arc::clone(&self.0);
        Box::pin(async move {
            match timeout_at(until, ended.closed()).await {
                Ok(()) => 0,
                Err(_elapsed) => ended.receiver_count(),
            }
        })
    }
}

/// Waits until somebody asks the links to end.
pub(crate) async fn shutdown_requested(guard: &mut ShutdownGuard) {
    if guard.wait_for(|asked| *asked).await.is_err() {
        // The adapter is gone and can no longer ask; the link goes on.
        std::future::pending::<()>().await;
    }
}

/// Some links did not release their device in time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotReleased {
    /// The scheme and the number of links of each adapter concerned.
    pub links: Vec<(&'static str, usize)>,
}

impl fmt::Display for NotReleased {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let links: Vec<String> =
            self.links.iter().map(|(scheme, count)| format!("{count} {scheme}:")).collect();
        write!(
            f,
            "devices not let go of within {} s: {}; they may stay connected and hidden from others: {}",
            CLOSE_TIME_MAX.as_secs(),
            links.join(", "),
            crate::sys::words::BLUETOOTH.free
        )
    }
}

impl std::error::Error for NotReleased {}
