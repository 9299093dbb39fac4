//! One event stream (`/events`): the current view at once, then each newer one, and a heartbeat while nothing
//! changes. Holds no queue: a slow reader gets the newest view next, whatever it missed. Ends when its slot goes to a
//! newer stream.
//!
//! Each event's `id` is `<server time ms>/<age of the view ms>`, both at the moment of sending. The page adds the age
//! to its own clock and derives from the server time how long the event took to arrive.

use axum::body::Bytes;
use futures_util::Stream;
use futures_util::stream::unfold;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

use crate::relay::Stamped;
use crate::slots::Slot;

/// Sent once at the start: a page whose stream has ended reconnects after half a second, long before it greys out.
const RETRY: &str = "retry: 500\n";

struct Reader {
    views: watch::Receiver<Stamped>,
    first: bool,
    started: Instant,
    beat: Duration,
    next_beat: Instant,
    slot: StreamSlot,
}

/// What a stream holds: its slot among the streams, and its connection's slot among the connections.
pub(crate) struct StreamSlot {
    pub(crate) stream: Arc<Slot>,
    pub(crate) connection: Option<Arc<Slot>>,
}

impl StreamSlot {
    fn each(&self) -> impl Iterator<Item = &Slot> {
        std::iter::once(&*self.stream).chain(self.connection.as_deref())
    }
}

/// The stream for one reader. Dropping the stream frees `slot`.
pub(crate) fn stream(
    views: watch::Receiver<Stamped>,
    started: Instant,
    beat: Duration,
    slot: StreamSlot,
) -> impl Stream<Item = Result<Bytes, Infallible>> + Send {
    let reader = Reader { views, first: true, started, beat, next_beat: Instant::now(), slot };
    unfold(reader, |mut reader| async move { reader.next().await.map(|event| (Ok(event), reader)) })
}

impl Reader {
    /// Called for the next event only when the last one is on its way: a stalled reader does not call it.
    async fn next(&mut self) -> Option<Bytes> {
        self.slot.each().for_each(Slot::flows);
        let first = std::mem::take(&mut self.first);
        let view = if first {
            true
        } else {
            tokio::select! {
                biased;
                () = self.slot.stream.lost() => return None,
                changed = self.views.changed() => { changed.ok()?; true }
                () = sleep_until(self.next_beat) => false,
            }
        };
        let now = Instant::now();
        self.next_beat = now + self.beat;
        let stamped = self.views.borrow_and_update();
        let name = if view { "view" } else { "beat" };
        let age_ms = now.saturating_duration_since(stamped.renewed).as_millis();
        let time_ms = now.saturating_duration_since(self.started).as_millis();
        let retry = if first { RETRY } else { "" };
        let head = format!("{retry}event: {name}\nid: {time_ms}/{age_ms}\n");
        let mut event = Vec::with_capacity(head.len() + stamped.data.len());
        event.extend_from_slice(head.as_bytes());
        event.extend_from_slice(if view { &stamped.data } else { b"data: 0\n\n" });
        self.slot.each().for_each(Slot::waits);
        Some(Bytes::from(event))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::slots::Slots;
    use futures_util::StreamExt;
    use tokio::time::advance;

    const BEAT: Duration = Duration::from_secs(1);

    #[tokio::test(start_paused = true)]
    async fn first_the_view_then_beats_then_the_newer_view_then_the_end() {
        let start = Instant::now();
        let (out, views) = watch::channel(Stamped::new("{\"seq\":1}".into(), start));
        let slots = Slots::new("streams", 1);
        let slot = StreamSlot { stream: slots.take(), connection: None };
        let mut events = Box::pin(stream(views, start, BEAT, slot));
        assert_eq!(
            &events.next().await.unwrap().unwrap()[..],
            b"retry: 500\nevent: view\nid: 0/0\ndata: {\"seq\":1}\n\n"
        );
        assert_eq!(start.elapsed(), Duration::ZERO);
        for second in 1..=3 {
            let beat = format!("event: beat\nid: {second}000/{second}000\ndata: 0\n\n");
            assert_eq!(events.next().await.unwrap().unwrap(), beat);
            assert_eq!(start.elapsed().as_secs(), second);
        }
        for seq in 2..50 {
            out.send_replace(Stamped::new(format!("{{\"seq\":{seq}}}").into(), Instant::now()));
        }
        assert_eq!(events.next().await.unwrap().unwrap(), "event: view\nid: 3000/0\ndata: {\"seq\":49}\n\n");
        drop(out);
        assert!(events.next().await.is_none());
        drop(events);
        assert_eq!(slots.taken(), 0);
    }

    /// Two streams with live readers, and one in the middle whose reader stalled.
    #[tokio::test(start_paused = true)]
    async fn the_stream_whose_reader_stopped_makes_room() {
        let (_out, views) = watch::channel(Stamped::new("{}".into(), Instant::now()));
        let slots = Slots::new("streams", 3);
        let open = || {
            let slot = StreamSlot { stream: slots.take(), connection: None };
            Box::pin(stream(views.clone(), Instant::now(), BEAT, slot))
        };
        let [mut first, mut stopped, mut third] = [open(), open(), open()];
        assert!(stopped.next().await.is_some());
        let read = |mut events: std::pin::Pin<Box<_>>| {
            tokio::spawn(async move { while StreamExt::next(&mut events).await.is_some() {} })
        };
        for events in [&mut first, &mut third] {
            assert!(events.next().await.is_some());
        }
        let (first, third) = (read(first), read(third));
        advance(Duration::from_secs(10)).await;
        let mut fourth = open();
        assert!(fourth.next().await.is_some());
        assert!(stopped.next().await.is_none(), "it has lost its place");
        assert!(!first.is_finished() && !third.is_finished());
        // All take what comes: the oldest reconnects by itself.
        let fourth = read(fourth);
        advance(Duration::from_secs(10)).await;
        let _fifth = open();
        first.await.unwrap();
        assert!(!third.is_finished() && !fourth.is_finished());
    }
}
