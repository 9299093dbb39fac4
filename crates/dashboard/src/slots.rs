//! A limited number of slots for clients. When all are taken, the newest client gets the slot of the one that has
//! left its own unused longest. Does not know what a slot is for, and closes nothing itself.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::Notify;
use tokio::time::Instant;

/// Least time between two log messages about evicted clients.
const TOLD_GAP: Duration = Duration::from_secs(60);

/// A set of slots of one kind.
pub(crate) struct Slots {
    /// What holds a slot, for the log: `connections`.
    what: &'static str,
    most: usize,
    kept: Mutex<State>,
}

#[derive(Default)]
struct State {
    next_id: u64,
    holders: BTreeMap<u64, Holder>,
    /// Clients evicted so far, and how many of them have been logged.
    left: u64,
    told: u64,
    told_at: Option<Instant>,
}

struct Holder {
    /// Since when it has been waiting for its client; `None` while the client takes what it is given.
    waits_since: Option<Instant>,
    leave: Arc<Notify>,
}

impl Slots {
    pub(crate) fn new(what: &'static str, most: usize) -> Arc<Self> {
        Arc::new(Self { what, most, kept: Mutex::default() })
    }

    /// A slot for the newest client, which has requested nothing yet.
    pub(crate) fn take(self: &Arc<Self>) -> Arc<Slot> {
        let mut kept = self.kept();
        while kept.holders.len() >= self.most.max(1) {
            if !self.send_one_away(&mut kept) {
                break;
            }
        }
        let id = kept.next_id;
        kept.next_id += 1;
        let leave = Arc::new(Notify::new());
        kept.holders.insert(id, Holder { waits_since: Some(Instant::now()), leave: Arc::clone(&leave) });
        Arc::new(Slot { slots: Arc::clone(self), id, leave })
    }

    /// Frees one slot that is waiting for its client, if there is one.
    pub(crate) fn make_room(&self) {
        let mut kept = self.kept();
        if kept.holders.values().any(|holder| holder.waits_since.is_some()) {
            self.send_one_away(&mut kept);
        }
    }

    /// Evicts the slot that has waited for its client longest; if none waits, the oldest.
    fn send_one_away(&self, kept: &mut State) -> bool {
        let order = |(id, holder): &(&u64, &Holder)| (holder.waits_since.is_none(), holder.waits_since, **id);
        let Some(id) = kept.holders.iter().min_by_key(order).map(|(id, _)| *id) else { return false };
        if let Some(holder) = kept.holders.remove(&id) {
            holder.leave.notify_one();
        }
        kept.left += 1;
        if kept.told_at.is_none_or(|at| at.elapsed() >= TOLD_GAP) {
            let (what, most, count) = (self.what, self.most, kept.left - kept.told);
            tracing::warn!(
                "the page: all {most} {what} were taken, so the ones left unused longest were closed for new visitors \
                 ({count} so far that were not told of); a program here holds them open"
            );
            kept.told = kept.left;
            kept.told_at = Some(Instant::now());
        }
        true
    }

    fn kept(&self) -> MutexGuard<'_, State> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    #[cfg(test)]
    pub(crate) fn taken(&self) -> usize {
        self.kept().holders.len()
    }
}

/// One client's slot; freed on drop.
pub(crate) struct Slot {
    slots: Arc<Slots>,
    id: u64,
    leave: Arc<Notify>,
}

impl Slot {
    /// From now on it waits for its client: for a request, or to take what it was given.
    pub(crate) fn waits(&self) {
        self.set(Some(Instant::now()));
    }

    /// The client has taken everything so far, and more is to come.
    pub(crate) fn flows(&self) {
        self.set(None);
    }

    fn set(&self, waits_since: Option<Instant>) {
        if let Some(holder) = self.slots.kept().holders.get_mut(&self.id) {
            holder.waits_since = waits_since;
        }
    }

    /// Resolves when the slot has gone to another client.
    pub(crate) async fn lost(&self) {
        self.leave.notified().await;
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        self.slots.kept().holders.remove(&self.id);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::FutureExt;
    use tokio::time::advance;

    fn is_lost(place: &Slot) -> bool {
        place.lost().now_or_never().is_some()
    }

    #[tokio::test(start_paused = true)]
    async fn the_newest_gets_the_place_that_waits_longest() {
        let slots = Slots::new("seats", 3);
        let [first, second, third] = [slots.take(), slots.take(), slots.take()];
        advance(Duration::from_secs(1)).await;
        // The first one's visitor has asked again since, the third's takes what comes.
        first.waits();
        third.flows();
        let fourth = slots.take();
        assert_eq!([&first, &second, &third, &fourth].map(|p| is_lost(p)), [false, true, false, false]);
        // What a place that is lost says, and its end, change nothing.
        second.waits();
        drop(second);
        assert_eq!(slots.taken(), 3);
        advance(Duration::from_secs(1)).await;
        fourth.waits();
        let fifth = slots.take();
        assert_eq!([&first, &third, &fourth, &fifth].map(|p| is_lost(p)), [true, false, false, false]);
    }

    #[tokio::test(start_paused = true)]
    async fn when_none_waits_the_one_that_came_first_leaves() {
        let slots = Slots::new("seats", 2);
        let (first, second) = (slots.take(), slots.take());
        first.flows();
        second.flows();
        slots.make_room();
        assert!(!is_lost(&first) && !is_lost(&second), "there is no need to send away who takes what comes");
        let third = slots.take();
        assert_eq!([&first, &second, &third].map(|p| is_lost(p)), [true, false, false]);
        slots.make_room();
        assert_eq!([&second, &third].map(|p| is_lost(p)), [false, true]);
    }

    #[tokio::test(start_paused = true)]
    async fn a_place_given_back_is_free() {
        let slots = Slots::new("seats", 1);
        for _ in 0..100 {
            let place = slots.take();
            assert!(!is_lost(&place));
        }
        assert_eq!(slots.taken(), 0);
    }
}
