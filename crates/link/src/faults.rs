//! The fault injector: wraps any adapter or link and does to its stream what bad lines, cables and devices do, from a
//! seed. Counts each fault and reports it to an observer. Requests pass untouched. `plan.rs` decides which fault
//! happens where.
//!
//! A cut looks like a real loss in the stream: one gap, `Lost`, `Opening`, `Syncing`, then later bytes. Drops,
//! doubles, flips and insertions are not reported as gaps: they happen below the link, where a real one would not
//! notice either.

pub(crate) mod plan;

use std::collections::VecDeque;
use std::fmt;
use std::future::Future as _;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};

use tokio::time::{Sleep, sleep};

use self::plan::Plan;
pub use self::plan::{Fault, FaultCounts, FaultRates, Injected};
use crate::adapter::{Adapter, Link, Requests};
use crate::error::OpenError;
use crate::event::{Disconnect, GapReason, LinkCounters, LinkEvent, LinkState};
use crate::forward::{forward_adapter, forward_link};
use crate::options::{CHUNK_BYTES_MAX, OpenOptions};
use crate::selector::Selector;

type Observer = Arc<dyn Fn(&Selector, &Injected) + Send + Sync>;

/// An adapter whose links are faulty.
pub struct FaultyAdapter<A> {
    inner: A,
    seed: u64,
    rates: FaultRates,
    observer: Observer,
    counts: Arc<Mutex<FaultCounts>>,
}

impl<A: Adapter> FaultyAdapter<A> {
    /// Wraps `inner`. The faults of a link depend on `seed`, its selector and its bytes; reopening the same selector
    /// repeats them. `observer` is called in the reader's thread and must not block.
    pub fn new(
        inner: A,
        seed: u64,
        rates: FaultRates,
        observer: impl Fn(&Selector, &Injected) + Send + Sync + 'static,
    ) -> Self {
        Self { inner, seed, rates, observer: Arc::new(observer), counts: Arc::default() }
    }

    /// The faults of all its links so far.
    #[must_use]
    pub fn counts(&self) -> FaultCounts {
        *self.counts.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<A: fmt::Debug> fmt::Debug for FaultyAdapter<A> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("FaultyAdapter")
            .field("inner", &self.inner)
            .field("seed", &self.seed)
            .field("rates", &self.rates)
            .finish_non_exhaustive()
    }
}

impl<A: Adapter> Adapter for FaultyAdapter<A> {
    forward_adapter!(inner);

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let link = self.inner.open(selector, options)?;
        let (observer, counts) = (Arc::clone(&self.observer), Arc::clone(&self.counts));
        Ok(Box::new(FaultyLink::start(link, self.seed, self.rates, observer, counts)))
    }
}

/// A faulty link. Pauses need a tokio runtime with time.
pub struct FaultyLink {
    inner: Box<dyn Link>,
    plan: Plan,
    observer: Observer,
    counts: Arc<Mutex<FaultCounts>>,
    /// Received and not yet processed.
    chunk: VecDeque<u8>,
    /// The index of the next byte of `chunk`.
    at: u64,
    /// Whether cut and pause were already decided for that byte.
    arrived: bool,
    /// This many bytes from here on are dropped.
    skip: u8,
    /// Processed bytes that become the next chunk.
    run: Vec<u8>,
    /// The last bytes passed on, for doubling.
    recent: VecDeque<u8>,
    /// Ready to be delivered.
    out: VecDeque<LinkEvent>,
    /// The last state put into `out`.
    told: Option<LinkState>,
    pause: Option<Pin<Box<Sleep>>>,
    cuts: u64,
}

impl FaultyLink {
    /// Wraps one link, like [`FaultyAdapter::new`].
    pub fn new(
        inner: Box<dyn Link>,
        seed: u64,
        rates: FaultRates,
        observer: impl Fn(&Selector, &Injected) + Send + Sync + 'static,
    ) -> Self {
        Self::start(inner, seed, rates, Arc::new(observer), Arc::default())
    }

    fn start(
        inner: Box<dyn Link>,
        seed: u64,
        rates: FaultRates,
        observer: Observer,
        counts: Arc<Mutex<FaultCounts>>,
    ) -> Self {
        let plan = Plan::new(seed, inner.selector().as_str(), rates);
        Self {
            inner,
            plan,
            observer,
            counts,
            chunk: VecDeque::new(),
            at: 0,
            arrived: false,
            skip: 0,
            run: Vec::new(),
            recent: VecDeque::new(),
            out: VecDeque::new(),
            told: None,
            pause: None,
            cuts: 0,
        }
    }

    /// The faults of this link so far, or of all links of the adapter that opened it.
    #[must_use]
    pub fn counts(&self) -> FaultCounts {
        *self.counts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn inject(&self, fault: Fault) {
        self.counts.lock().unwrap_or_else(PoisonError::into_inner).count(&fault);
        (self.observer)(self.inner.selector(), &Injected { at_byte: self.at, fault });
    }

    fn tell_state(&mut self, state: LinkState) {
        if self.told.as_ref() != Some(&state) {
            self.told = Some(state.clone());
            self.out.push_back(LinkEvent::State(state));
        }
    }

    /// Turns the collected bytes into a chunk.
    fn end_run(&mut self) {
        if !self.run.is_empty() {
            // After a cut the wrapped link, which knows nothing of it, does not say this again.
            self.tell_state(LinkState::Live);
            self.out.push_back(LinkEvent::Bytes(std::mem::take(&mut self.run)));
        }
    }

    fn pass(&mut self, byte: u8) {
        self.run.push(byte);
        if self.run.len() == CHUNK_BYTES_MAX {
            self.end_run();
        }
    }

    fn remember(&mut self, byte: u8) {
        if self.recent.len() == self.plan.run_bytes_max() {
            self.recent.pop_front();
        }
        self.recent.push_back(byte);
    }

    /// An event other than bytes: the collected bytes go first.
    fn other(&mut self, event: LinkEvent) {
        self.end_run();
        match event {
            LinkEvent::State(state) => self.tell_state(state),
            gap => {
                self.skip = 0;
                self.recent.clear();
                self.out.push_back(gap);
            }
        }
    }

    fn cut(&mut self, bytes: u8) {
        self.inject(Fault::Cut { bytes });
        self.cuts += 1;
        let loss = Disconnect::HungUp;
        self.other(LinkEvent::Gap(GapReason::Lost(loss)));
        for state in [LinkState::Lost(loss), LinkState::Opening, LinkState::Syncing] {
            self.tell_state(state);
        }
        self.skip = bytes;
    }

    /// Processes the next byte of the chunk, or starts the pause or cut before it.
    fn step(&mut self) {
        if self.skip == 0 && !self.arrived {
            self.arrived = true;
            if let Some(bytes) = self.plan.cut(self.at) {
                return self.cut(bytes);
            }
            if let Some(pause) = self.plan.paused(self.at) {
                self.inject(Fault::Paused { pause });
                self.end_run();
                self.pause = Some(Box::pin(sleep(pause)));
                return;
            }
        }
        let Some(byte) = self.chunk.pop_front() else { return };
        if self.skip > 0 {
            self.skip -= 1;
        } else {
            self.treat(byte);
        }
        if self.chunk.is_empty() && !self.run.is_empty() {
            if self.plan.joined(self.at) {
                self.inject(Fault::Joined);
            } else {
                self.end_run();
            }
        }
        self.at += 1;
        self.arrived = false;
    }

    fn treat(&mut self, byte: u8) {
        if let Some(bytes) = self.plan.inserted(self.at) {
            for byte in &bytes {
                self.pass(*byte);
            }
            self.inject(Fault::Inserted { bytes });
        }
        if let Some(bytes) = self.plan.dropped(self.at) {
            self.inject(Fault::Dropped { bytes });
            self.skip = bytes - 1;
            return;
        }
        let flipped = self.plan.flipped(self.at);
        if let Some(bit) = flipped {
            self.inject(Fault::Flipped { bit });
        }
        let byte = flipped.map_or(byte, |bit| byte ^ (1 << bit));
        self.pass(byte);
        self.remember(byte);
        if let Some(bytes) = self.plan.doubled(self.at, self.recent.len()) {
            self.inject(Fault::Doubled { bytes });
            let from = self.recent.len().saturating_sub(usize::from(bytes));
            let again: Vec<u8> = self.recent.iter().skip(from).copied().collect();
            for byte in again {
                self.pass(byte);
            }
        }
        if self.plan.split(self.at) {
            self.inject(Fault::Split);
            self.end_run();
        }
    }
}

impl fmt::Debug for FaultyLink {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("FaultyLink")
            .field("inner", &self.inner)
            .field("plan", &self.plan)
            .field("at", &self.at)
            .finish_non_exhaustive()
    }
}

impl Link for FaultyLink {
    forward_link!(inner);

    fn poll_event(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>> {
        loop {
            if let Some(event) = self.out.pop_front() {
                return Poll::Ready(Some(event));
            }
            if let Some(pause) = &mut self.pause {
                if pause.as_mut().poll(cx).is_pending() {
                    return Poll::Pending;
                }
                self.pause = None;
            }
            if !self.chunk.is_empty() {
                self.step();
                continue;
            }
            match self.inner.poll_event(cx) {
                Poll::Pending => return Poll::Pending,
                Poll::Ready(Some(LinkEvent::Bytes(bytes))) => self.chunk.extend(bytes),
                Poll::Ready(Some(event)) => self.other(event),
                Poll::Ready(None) => {
                    self.end_run();
                    if self.out.is_empty() {
                        return Poll::Ready(None);
                    }
                }
            }
        }
    }

    /// The wrapped link's counters, plus the injected cuts as gaps and openings.
    fn counters(&self) -> LinkCounters {
        let inner = self.inner.counters();
        LinkCounters { gaps: inner.gaps + self.cuts, opened: inner.opened + self.cuts, ..inner }
    }

    fn requests(&self) -> Option<Requests> {
        self.inner.requests()
    }
}
