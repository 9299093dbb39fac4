//! What is owed to devices when links end: the word to stop that goes to every link of an adapter, and the wait until each has
//! let its device go. Holds no device code.

use std::fmt;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::{Instant, timeout_at};

/// The longest wait for devices to be let go of. The Bluetooth service takes up to 2 s to disconnect one (BlueZ,
/// `DISCONNECT_TIMER` in src/device.c; from memory).
pub const CLOSE_TIME_MAX: Duration = Duration::from_secs(4);

/// The end of an adapter's links; gives how many of them did not let their device go in time.
pub type Closing = Pin<Box<dyn Future<Output = usize> + Send>>;

/// The links of one adapter that have to say something to their devices in parting.
#[derive(Debug, Clone)]
pub(crate) struct Closer(Arc<watch::Sender<bool>>);

/// Held by whatever may still owe something to a device; the wait is over when the last one is dropped.
pub(crate) type Hold = watch::Receiver<bool>;

impl Default for Closer {
    fn default() -> Self {
        Self(Arc::new(watch::Sender::new(false)))
    }
}

impl Closer {
    /// For one link, or one search.
    pub(crate) fn hold(&self) -> Hold {
        self.0.subscribe()
    }

    /// Asks every link to end, those too that are opened later, and waits for them.
    pub(crate) fn close(&self) -> Closing {
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

/// Waits until the links are asked to end.
pub(crate) async fn asked_to_end(hold: &mut Hold) {
    if hold.wait_for(|asked| *asked).await.is_err() {
        // The adapter is gone and can no longer ask; the link goes on.
        std::future::pending::<()>().await;
    }
}

/// Devices that were not let go of in time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotLetGo {
    /// Scheme and number of links.
    pub links: Vec<(&'static str, usize)>,
}

impl fmt::Display for NotLetGo {
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

impl std::error::Error for NotLetGo {}
