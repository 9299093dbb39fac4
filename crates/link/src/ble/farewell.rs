//! What was begun at the Bluetooth service and has to be ended there: a connection, a scan. Ended by whoever is done with it,
//! and by itself when it is dropped. Does not begin anything.

use super::bus::Bus;
use crate::closing::Hold;

/// The calls that end what was begun. An answer "no" means that it has ended already.
#[derive(Debug)]
pub(super) struct Farewell(Option<Owed>);

#[derive(Debug)]
struct Owed {
    bus: Bus,
    /// Object, interface, method.
    calls: Vec<(String, &'static str, &'static str)>,
    /// Whoever closes the adapter waits for it.
    _hold: Hold,
}

impl Farewell {
    /// Nothing is owed yet.
    pub(super) fn new(bus: &Bus, hold: &Hold) -> Self {
        Self(Some(Owed { bus: bus.clone(), calls: Vec::new(), _hold: hold.clone() }))
    }

    /// This is to be called at the end. Said before the beginning, so that a beginning that is broken off is ended too.
    pub(super) fn owe(&mut self, path: &str, interface: &'static str, method: &'static str) {
        if let Some(owed) = &mut self.0 {
            owed.calls.push((path.to_owned(), interface, method));
        }
    }

    /// The last one is not owed: its beginning was refused.
    pub(super) fn forgive(&mut self) {
        if let Some(owed) = &mut self.0 {
            owed.calls.pop();
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

impl Owed {
    async fn say(self) {
        for (path, interface, method) in &self.calls {
            // Ends by itself: a call has a time limit.
            let _ = self.bus.call(path, interface, method, &()).await;
        }
    }
}

impl Drop for Farewell {
    fn drop(&mut self) {
        let Some(owed) = self.0.take().filter(|owed| !owed.calls.is_empty()) else { return };
        if let Ok(runtime) = tokio::runtime::Handle::try_current() {
            runtime.spawn(owed.say());
        }
    }
}
