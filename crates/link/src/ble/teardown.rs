//! Undoes what was started at the Bluetooth service: a connection, a scan. The caller runs the teardown when it is done;
//! otherwise dropping it does. Starts nothing itself.

use super::central::{CallFault, Central};
use crate::shutdown::ShutdownGuard;

/// One call that undoes something.
#[derive(Debug)]
pub(super) enum Cleanup {
    /// Disconnects this device.
    Disconnect(String),
    /// Stops the scan on this radio.
    StopScan(String),
}

/// The calls that undo what was started. If the service refuses one, the thing has ended already.
#[derive(Debug)]
pub(super) struct Teardown<C: Central>(Option<Pending<C>>);

#[derive(Debug)]
struct Pending<C> {
    central: C,
    cleanups: Vec<Cleanup>,
    /// Makes whoever closes the adapter wait for this teardown.
    _guard: ShutdownGuard,
}

impl<C: Central> Teardown<C> {
    /// An empty teardown.
    pub(super) fn new(central: &C, guard: &ShutdownGuard) -> Self {
        Self(Some(Pending { central: central.clone(), cleanups: Vec::new(), _guard: guard.clone() }))
    }

    /// Adds a call. Add it before the start, so that an interrupted start is undone too.
    pub(super) fn add(&mut self, cleanup: Cleanup) {
        if let Some(pending) = &mut self.0 {
            pending.cleanups.push(cleanup);
        }
    }

    /// Removes the last call: the service refused the start.
    pub(super) fn remove_last(&mut self) {
        if let Some(pending) = &mut self.0 {
            pending.cleanups.pop();
        }
    }

    /// Makes the calls and waits for the replies.
    pub(super) async fn run(mut self) {
        if let Some(pending) = self.0.take() {
            pending.run().await;
        }
    }

    /// Discards the calls: what they would undo has ended by itself, and a late call would end its successor.
    pub(super) fn disarm(mut self) {
        self.0 = None;
    }
}

impl<C: Central> Pending<C> {
    async fn run(self) {
        for cleanup in &self.cleanups {
            // Ends by itself: a call has a time limit.
            let _: Result<(), CallFault> = match cleanup {
                Cleanup::Disconnect(device) => self.central.disconnect(device).await,
                Cleanup::StopScan(radio) => self.central.stop_scan(radio).await,
            };
        }
    }
}

impl<C: Central> Drop for Teardown<C> {
    fn drop(&mut self) {
        let Some(pending) = self.0.take().filter(|pending| !pending.cleanups.is_empty()) else { return };
        if let Ok(runtime) = tokio::runtime::Handle::try_current() {
            runtime.spawn(pending.run());
        }
    }
}
