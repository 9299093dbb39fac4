//! One event stream (`/events`): the present view at once, then each newer one, and a heartbeat when nothing changes.
//! It holds no queue: a slow reader gets the newest view next, whatever it missed.
//!
//! Each event's `id` is `<server time ms>/<age of the view ms>`, both at the moment of sending. The page adds the age
//! to its own clock and finds by the server time how long the event was on its way.

use axum::body::Bytes;
use futures_util::Stream;
use futures_util::stream::unfold;
use std::convert::Infallible;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};
use tokio::time::{Instant, sleep_until};

use crate::relay::Stamped;

struct Reader {
    views: watch::Receiver<Stamped>,
    first: bool,
    started: Instant,
    beat: Duration,
    next_beat: Instant,
    _place: OwnedSemaphorePermit,
}

/// The stream for one reader. `place` is given back when the stream is dropped.
pub(crate) fn stream(
    views: watch::Receiver<Stamped>,
    started: Instant,
    beat: Duration,
    place: OwnedSemaphorePermit,
) -> impl Stream<Item = Result<Bytes, Infallible>> + Send {
    let reader = Reader { views, first: true, started, beat, next_beat: Instant::now(), _place: place };
    unfold(reader, |mut reader| async move { reader.next().await.map(|event| (Ok(event), reader)) })
}

impl Reader {
    async fn next(&mut self) -> Option<Bytes> {
        let view = if self.first {
            self.first = false;
            true
        } else {
            tokio::select! {
                biased;
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
        let head = format!("event: {name}\nid: {time_ms}/{age_ms}\n");
        let mut event = Vec::with_capacity(head.len() + stamped.data.len());
        event.extend_from_slice(head.as_bytes());
        event.extend_from_slice(if view { &stamped.data } else { b"data: 0\n\n" });
        Some(Bytes::from(event))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::StreamExt;
    use std::sync::Arc;
    use tokio::sync::Semaphore;

    #[tokio::test(start_paused = true)]
    async fn first_the_view_then_beats_then_the_newer_view_then_the_end() {
        let start = Instant::now();
        let (out, views) = watch::channel(Stamped::new("{\"seq\":1}".into(), start));
        let places = Arc::new(Semaphore::new(1));
        let place = Arc::clone(&places).try_acquire_owned().unwrap();
        let mut events = Box::pin(stream(views, start, Duration::from_secs(1), place));
        assert_eq!(
            &events.next().await.unwrap().unwrap()[..],
            b"event: view\nid: 0/0\ndata: {\"seq\":1}\n\n"
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
        assert_eq!(places.available_permits(), 1);
    }
}
