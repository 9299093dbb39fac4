//! Links to devices that speak only when asked: runs the poller of a profile over any link that accepts requests.
//! Emits the poller's packets as ordinary bytes. Does not know what a request or a reply means (`wire` does).

use std::hash::{BuildHasher as _, RandomState};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::time::{Instant, sleep};
use wire::Profile;
use wire::poll::{PollCounters, PollOutput, PollReason, Poller};

use crate::adapter::{Adapter, Link, Requests};
use crate::error::{OpenError, Unavailable};
use crate::event::{Disconnect, GapReason, LinkCounters, LinkEvent, LinkState};
use crate::forward::forward_adapter;
use crate::guard::catch_panic;
use crate::options::{LineSettings, OpenOptions};
use crate::queue::Sender;
use crate::selector::Selector;
use crate::supervise::sleep_until_some;
use crate::task::TaskLink;

/// The longest silence time that options may set.
const SILENCE_MAX: Duration = Duration::from_secs(3600);
/// The wait after a bug in the poller.
const PANIC_WAIT: Duration = Duration::from_millis(100);

/// An adapter whose links are polled by one profile.
#[derive(Debug)]
pub struct PolledAdapter<A> {
    inner: A,
    profile: Profile,
}

impl<A: Adapter> PolledAdapter<A> {
    /// Wraps `inner`. If the profile's device speaks by itself, this changes nothing.
    pub fn new(inner: A, profile: &Profile) -> Self {
        Self { inner, profile: profile.clone() }
    }
}

impl<A: Adapter> Adapter for PolledAdapter<A> {
    forward_adapter!(inner);

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        open(&self.inner, selector, options, Some(&self.profile))
    }
}

/// Opens a link, and polls the device if the profile says that it speaks only when asked and the link accepts
/// requests.
///
/// The silence time of `options` then counts replies. A device that has replied and then stops for that long is
/// reported as lost and polling starts over; one that never replied is reported as absent, with the reason. After
/// twice that time without a byte the line below is reopened.
pub(crate) fn open(
    adapter: &dyn Adapter,
    selector: &Selector,
    options: &OpenOptions,
    profile: Option<&Profile>,
) -> Result<Box<dyn Link>, OpenError> {
    let seed = u16::try_from(RandomState::new().hash_one(selector.as_str()) & 0xFFFF).unwrap_or(0);
    let Some(poller) = profile.and_then(|profile| profile.poller(seed)) else {
        return adapter.open(selector, options);
    };
    options.validate().map_err(OpenError::BadOption)?;
    let silence = options.silence.map(|silence| silence.saturating_mul(2).min(SILENCE_MAX));
    let inner = adapter.open(selector, &OpenOptions { silence, ..options.clone() })?;
    // Bytes of a file or a pipe are packets already.
    let Some(requests) = inner.requests() else { return Ok(inner) };
    let line = inner.line_settings();
    let counts = Arc::new(Mutex::new(PollCounters::default()));
    let shared = Arc::clone(&counts);
    let silence = options.silence;
    let task = TaskLink::start(selector, options, |sender| {
        let drive = Drive {
            inner,
            requests,
            poller,
            sender,
            silence,
            counts: shared,
            start: Instant::now(),
            heard: None,
            mute_at: None,
            mute: false,
            trouble: PollReason::Timeout.words(),
            serial: line.is_some(),
        };
        drive.run()
    })?;
    Ok(Box::new(PolledLink { task, line, counts }))
}

/// A link with a poller.
#[derive(Debug)]
struct PolledLink {
    task: TaskLink,
    line: Option<LineSettings>,
    counts: Arc<Mutex<PollCounters>>,
}

impl Link for PolledLink {
    fn selector(&self) -> &Selector {
        self.task.selector()
    }

    fn poll_event(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>> {
        self.task.poll_event(cx)
    }

    fn counters(&self) -> LinkCounters {
        self.task.counters()
    }

    fn line_settings(&self) -> Option<LineSettings> {
        self.line
    }

    fn poll_counters(&self) -> Option<PollCounters> {
        Some(*self.counts.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// The task's own state.
struct Drive {
    inner: Box<dyn Link>,
    requests: Requests,
    poller: Poller,
    sender: Sender,
    silence: Option<Duration>,
    counts: Arc<Mutex<PollCounters>>,
    start: Instant,
    /// When the last reply came, since the line was opened.
    heard: Option<Instant>,
    /// When to report that the open line gives no replies.
    mute_at: Option<Instant>,
    /// That was reported.
    mute: bool,
    /// The result of the last request.
    trouble: &'static str,
    /// The line is a serial port of this machine.
    serial: bool,
}

impl Drive {
    async fn run(mut self) {
        while catch_panic(self.follow()).await.is_err() {
            self.sender.lost(Disconnect::Panicked);
            sleep(PANIC_WAIT).await;
            self.begin_anew();
        }
        self.sender.end();
    }

    /// Follows the line until it ends, if it does.
    async fn follow(&mut self) {
        loop {
            let due = self.poller.poll_at().map(|at| self.start + micros(at));
            let silent = self.silence.and_then(|silence| Some(self.heard? + silence));
            tokio::select! {
                biased;
                event = self.inner.next() => match event {
                    None => return,
                    Some(event) => self.take(event),
                },
                () = sleep_until_some(due) => self.ask(),
                () = sleep_until_some(silent) => self.fell_silent(),
                () = sleep_until_some(self.mute_at) => self.is_mute(),
            }
            *self.counts.lock().unwrap_or_else(PoisonError::into_inner) = *self.poller.counters();
        }
    }

    fn now(&self) -> quantity::Instant {
        let us = self.start.elapsed().as_micros();
        quantity::Instant::from_micros(i64::try_from(us).unwrap_or(i64::MAX))
    }

    fn take(&mut self, event: LinkEvent) {
        match event {
            LinkEvent::Bytes(bytes) => {
                let (now, mut done) = (self.now(), Vec::new());
                self.poller.received(now, &bytes, &mut |polled| done.push(polled));
                self.hand_on(done);
            }
            LinkEvent::Gap(GapReason::Lost(loss)) => {
                self.poller.closed();
                (self.heard, self.mute_at, self.mute) = (None, None, false);
                self.sender.lost(loss);
            }
            // Bytes are missing, but no reply that was passed on: only the pending request starts over.
            LinkEvent::Gap(GapReason::Overflow { .. }) => self.poller.opened(self.now()),
            LinkEvent::State(LinkState::Syncing) => self.begin_anew(),
            // Bytes alone do not show that the device replies; and a loss was reported with its gap.
            LinkEvent::State(LinkState::Live | LinkState::Lost(_) | LinkState::Ended) => {}
            LinkEvent::State(state) => self.sender.state(state),
        }
    }

    fn ask(&mut self) {
        let (now, mut done) = (self.now(), Vec::new());
        self.poller.tick(now, &mut |polled| done.push(polled));
        self.hand_on(done);
    }

    fn hand_on(&mut self, done: Vec<PollOutput>) {
        for polled in done {
            match polled {
                // A request that is not taken is one that nobody answers, and is counted as such.
                PollOutput::Send(request) => drop(self.requests.send(request)),
                PollOutput::Reply(packet) => {
                    self.heard = Some(Instant::now());
                    self.mute_at = None;
                    if std::mem::take(&mut self.mute) {
                        self.sender.state(LinkState::Syncing);
                    }
                    self.sender.bytes(&packet);
                }
                // Counted by the poller.
                PollOutput::Fault(fault) => self.trouble = fault.reason.words(),
            }
        }
    }

    fn begin_anew(&mut self) {
        self.heard = None;
        self.mute = false;
        self.mute_at = self.silence.map(|silence| Instant::now() + silence);
        self.sender.state(LinkState::Syncing);
        self.poller.opened(self.now());
    }

    /// Once per opening: the line is open and nothing came that could be passed on.
    fn is_mute(&mut self) {
        self.mute_at = None;
        self.mute = true;
        self.sender.state(LinkState::Absent(Unavailable::Mute { why: self.trouble, serial: self.serial }));
    }

    fn fell_silent(&mut self) {
        let after_ms =
            self.silence.map_or(0, |silence| u64::try_from(silence.as_millis()).unwrap_or(u64::MAX));
        self.sender.lost(Disconnect::Silent { after_ms });
        self.sender.state(LinkState::Opening);
        self.begin_anew();
    }
}

fn micros(at: quantity::Instant) -> Duration {
    Duration::from_micros(u64::try_from(at.micros()).unwrap_or(0))
}
