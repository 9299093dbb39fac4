//! What was begun at the Bluetooth service and has to be ended there: a connection, a scan. Ended by whoever is done with it,
//! and by itself when it is dropped. Does not begin anything.

use super::central::{CallFault, Central};
use crate::closing::Hold;

/// What ends it.
#[derive(Debug)]
pub(super) enum Ending {
    /// Of a connection to this device.
    Disconnect(String),
    /// Of a scan on this radio.
    StopScan(String),
}

/// The calls that end what was begun. An answer "no" means that it has ended already.
#[derive(Debug)]
pub(super) struct Farewell<C: Central>(Option<Owed<C>>);

#[derive(Debug)]
struct Owed<C> {
    central: C,
    endings: Vec<Ending>,
    /// Whoever closes the adapter waits for it.
    _hold: Hold,
}

impl<C: Central> Farewell<C> {
    /// Nothing is owed yet.
    pub(super) fn new(central: &C, hold: &Hold) -> Self {
        Self(Some(Owed { central: central.clone(), endings: Vec::new(), _hold: hold.clone() }))
    }

    /// This is to be called at the end. Said before the beginning, so that a beginning that is broken off is ended too.
    pub(super) fn owe(&mut self, ending: Ending) {
        if let Some(owed) = &mut self.0 {
            owed.endings.push(ending);
        }
    }

    /// The last one is not owed: its beginning was refused.
    pub(super) fn forgive(&mut self) {
        if let Some(owed) = &mut self.0 {
            owed.endings.pop();
        }
    }

    /// Ends it and waits for the answers.
    pub(super) async fn say(mut self) {
        if let Some(owed) = self.0.take() {
            owed.say().await;
        }
    }

    /// It has ended by itself, and a late word would end what comes after it.
    pub(super) fn drop_unsaid(mut self) {
        self.0 = None;
    }
}

impl<C: Central> Owed<C> {
    async fn say(self) {
        for ending in &self.endings {
            // Ends by itself: a call has a time limit.
            let _: Result<(), CallFault> = match ending {
                Ending::Disconnect(device) => self.central.disconnect(device).await,
                Ending::StopScan(radio) => self.central.stop_scan(radio).await,
            };
        }
    }
}

impl<C: Central> Drop for Farewell<C> {
    fn drop(&mut self) {
        let Some(owed) = self.0.take().filter(|owed| !owed.endings.is_empty()) else { return };
        if let Ok(runtime) = tokio::runtime::Handle::try_current() {
            runtime.spawn(owed.say());
        }
    }
}
