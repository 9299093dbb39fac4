//! The bounded queue between a source and its reader: one producer, one consumer. On overflow the whole backlog
//! becomes one counted gap. Holds no I/O and no clock.

use std::collections::VecDeque;
use std::future::poll_fn;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll, Waker};

use crate::event::{Disconnect, GapReason, LinkCounters, LinkEvent, LinkState};
use crate::options::CHUNK_BYTES_MAX;

/// The most events that can wait. Consecutive bytes are joined, so few are needed.
pub(crate) const QUEUE_EVENTS_MAX: usize = 256;

#[derive(Debug)]
struct Inner {
    events: VecDeque<LinkEvent>,
    /// Bytes that wait in `events`.
    bytes: usize,
    bytes_max: usize,
    /// The last state reported, so that each state is reported once.
    state: Option<LinkState>,
    ended: bool,
    reader_gone: bool,
    reader: Option<Waker>,
    writer: Option<Waker>,
    counters: LinkCounters,
}

impl Inner {
    /// Replaces the backlog with one counted gap, followed by the newest state if one was waiting.
    fn collapse(&mut self) {
        let mut dropped: u64 = 0;
        let mut state = None;
        for event in self.events.drain(..) {
            match event {
                LinkEvent::Bytes(bytes) => {
                    let n = bytes.len() as u64;
                    dropped += n;
                    self.counters.dropped_bytes += n;
                }
                // Counted in dropped_bytes when they were dropped.
                LinkEvent::Gap(GapReason::Overflow { bytes }) => dropped += bytes,
                LinkEvent::Gap(GapReason::Lost(_)) => {}
                LinkEvent::State(newest) => state = Some(newest),
            }
        }
        self.bytes = 0;
        self.events.push_back(LinkEvent::Gap(GapReason::Overflow { bytes: dropped }));
        self.events.extend(state.map(LinkEvent::State));
    }

    fn push(&mut self, event: LinkEvent) {
        if self.events.len() >= QUEUE_EVENTS_MAX {
            self.collapse();
        }
        self.events.push_back(event);
        self.counters.queued_events_peak = self.counters.queued_events_peak.max(self.events.len());
        if let Some(waker) = self.reader.take() {
            waker.wake();
        }
    }

    fn state(&mut self, state: LinkState) {
        if self.state.as_ref() != Some(&state) {
            self.state = Some(state.clone());
            self.push(LinkEvent::State(state));
        }
    }

    fn bytes(&mut self, chunk: &[u8]) {
        self.counters.received_bytes += chunk.len() as u64;
        if self.state != Some(LinkState::Live) {
            self.state(LinkState::Live);
        }
        if self.bytes.saturating_add(chunk.len()) > self.bytes_max {
            self.collapse();
        }
        self.bytes = self.bytes.saturating_add(chunk.len());
        self.counters.queued_bytes_peak = self.counters.queued_bytes_peak.max(self.bytes);
        if let Some(LinkEvent::Bytes(tail)) = self.events.back_mut()
            && tail.len().saturating_add(chunk.len()) <= CHUNK_BYTES_MAX
        {
            tail.extend_from_slice(chunk);
        } else {
            self.push(LinkEvent::Bytes(chunk.to_vec()));
        }
    }

    fn has_room(&self) -> bool {
        self.bytes.saturating_add(CHUNK_BYTES_MAX) <= self.bytes_max
            && self.events.len().saturating_add(2) <= QUEUE_EVENTS_MAX
    }

    fn pop(&mut self) -> Option<LinkEvent> {
        let event = self.events.pop_front()?;
        match &event {
            LinkEvent::Bytes(bytes) => self.bytes = self.bytes.saturating_sub(bytes.len()),
            LinkEvent::Gap(_) => self.counters.gaps += 1,
            LinkEvent::State(_) => {}
        }
        if self.has_room()
            && let Some(waker) = self.writer.take()
        {
            waker.wake();
        }
        Some(event)
    }
}

/// Both ends share this. A poisoned lock is taken anyway: the queue is consistent between statements.
fn lock(inner: &Mutex<Inner>) -> MutexGuard<'_, Inner> {
    inner.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The source's end. Nothing here waits, except [`Sender::room`] for finite sources.
#[derive(Debug, Clone)]
pub(crate) struct Sender(Arc<Mutex<Inner>>);

/// The reader's end.
#[derive(Debug)]
pub(crate) struct Receiver(Arc<Mutex<Inner>>);

/// A queue of at most `bytes_max` bytes (no less than two chunks) and [`QUEUE_EVENTS_MAX`] events.
pub(crate) fn queue(bytes_max: usize) -> (Sender, Receiver) {
    let inner = Arc::new(Mutex::new(Inner {
        events: VecDeque::new(),
        bytes: 0,
        bytes_max: bytes_max.max(2 * CHUNK_BYTES_MAX),
        state: None,
        ended: false,
        reader_gone: false,
        reader: None,
        writer: None,
        counters: LinkCounters::default(),
    }));
    (Sender(Arc::clone(&inner)), Receiver(inner))
}

impl Sender {
    /// Enqueues bytes as received, after `Live` if that state is new.
    pub(crate) fn bytes(&self, received: &[u8]) {
        let mut inner = lock(&self.0);
        if !inner.reader_gone {
            for chunk in received.chunks(CHUNK_BYTES_MAX) {
                inner.bytes(chunk);
            }
        }
    }

    /// Counts bytes that were received but cannot be passed on, and reports them as a gap.
    pub(crate) fn unusable(&self, bytes: usize) {
        let bytes = bytes as u64;
        let mut inner = lock(&self.0);
        inner.counters.received_bytes += bytes;
        inner.counters.dropped_bytes += bytes;
        inner.push(LinkEvent::Gap(GapReason::Overflow { bytes }));
    }

    /// Reports a change of state; repeating a state does nothing.
    pub(crate) fn state(&self, state: LinkState) {
        let mut inner = lock(&self.0);
        match state {
            LinkState::Syncing => inner.counters.opened += 1,
            LinkState::Absent(_) => inner.counters.open_failed += 1,
            _ => {}
        }
        inner.state(state);
    }

    /// Reports that the open device is lost: the gap, then the state.
    pub(crate) fn lost(&self, loss: Disconnect) {
        let mut inner = lock(&self.0);
        if loss == Disconnect::Panicked {
            inner.counters.panics += 1;
        }
        inner.push(LinkEvent::Gap(GapReason::Lost(loss)));
        inner.state(LinkState::Lost(loss));
    }

    /// Counts a panic in a library below; the link continues.
    pub(crate) fn panicked(&self) {
        lock(&self.0).counters.panics += 1;
    }

    /// Ends the queue: the reader gets what is waiting, then `None`.
    pub(crate) fn end(&self) {
        let mut inner = lock(&self.0);
        inner.state(LinkState::Ended);
        inner.ended = true;
    }

    /// Counts a request that was dropped because the device was not open.
    pub(crate) fn request_dropped(&self) {
        lock(&self.0).counters.requests_dropped += 1;
    }

    /// Whether the reader is gone.
    pub(crate) fn reader_gone(&self) -> bool {
        lock(&self.0).reader_gone
    }

    /// Whether a whole chunk fits without dropping anything.
    pub(crate) fn has_room(&self) -> bool {
        lock(&self.0).has_room()
    }

    /// Waits until a whole chunk fits, or the reader is gone.
    pub(crate) async fn room(&self) {
        poll_fn(|cx| {
            let mut inner = lock(&self.0);
            if inner.reader_gone || inner.has_room() {
                return Poll::Ready(());
            }
            inner.writer = Some(cx.waker().clone());
            Poll::Pending
        })
        .await;
    }
}

impl Receiver {
    /// The next event; `None` at the end. Only the last caller's waker is kept.
    pub(crate) fn poll(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>> {
        let mut inner = lock(&self.0);
        if let Some(event) = inner.pop() {
            return Poll::Ready(Some(event));
        }
        if inner.ended {
            return Poll::Ready(None);
        }
        inner.reader = Some(cx.waker().clone());
        Poll::Pending
    }

    pub(crate) fn counters(&self) -> LinkCounters {
        lock(&self.0).counters
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        let mut inner = lock(&self.0);
        inner.reader_gone = true;
        inner.events.clear();
        inner.bytes = 0;
        if let Some(waker) = inner.writer.take() {
            waker.wake();
        }
    }
}
