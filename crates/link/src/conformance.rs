//! The adapter contract as a test that every adapter runs: lists, refuses, opens, delivers in order, reports loss,
//! reopens, stops when dropped. Knows nothing of any one adapter; a [`Fixture`] plays the device.

use std::fmt;
use std::time::Duration;

use tokio::runtime::Handle;
use tokio::time::timeout;

use crate::adapter::{Adapter, Link};
use crate::error::OpenError;
use crate::event::{GapReason, LinkEvent, LinkState};
use crate::options::OpenOptions;
use crate::selector::Selector;

/// Bounds a hang; a conforming adapter never comes near it.
const HANG: Duration = Duration::from_secs(30);

/// The device's side of the test.
pub trait Fixture {
    /// The adapter under test.
    fn adapter(&self) -> &dyn Adapter;

    /// What to open.
    fn selector(&self) -> String;

    /// Bytes that this kind of source can carry.
    fn sample(&self) -> Vec<u8> {
        (0..=255).cycle().take(1500).collect()
    }

    /// Whether the source ends by itself.
    fn is_finite(&self) -> bool {
        false
    }

    /// Called before each opening: a recorded source prepares its bytes here.
    fn before_open(&mut self, sample: &[u8]) {
        let _ = sample;
    }

    /// Called when the link is open: a live device sends here.
    fn feed(&mut self, sample: &[u8]) {
        let _ = sample;
    }

    /// Makes the device go away; `false` if this kind cannot.
    fn lose(&mut self) -> bool {
        false
    }

    /// Brings it back.
    fn restore(&mut self) {}

    /// Whether it can be opened a second time after the first link is dropped.
    fn opens_again(&self) -> bool {
        true
    }
}

/// The clause that an adapter violated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// The clause, in words.
    pub clause: &'static str,
    /// What happened instead.
    pub found: String,
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the adapter breaks its contract: {}; found: {}", self.clause, self.found)
    }
}

impl std::error::Error for Violation {}

fn violation<T>(clause: &'static str, found: impl fmt::Debug) -> Result<T, Violation> {
    Err(Violation { clause, found: format!("{found:?}") })
}

/// Tests the whole contract against one adapter. Needs a tokio runtime with nothing else running on it.
///
/// # Errors
/// The first clause that does not hold.
pub async fn verify(bench: &mut dyn Fixture) -> Result<(), Violation> {
    lists_and_refuses(bench)?;
    let sample = bench.sample();
    let tasks_before = Handle::current().metrics().num_alive_tasks();
    let mut link = open(bench, &sample)?;
    delivers(bench, &mut *link, &sample).await?;
    if bench.is_finite() {
        ends(&mut *link).await?;
    } else if bench.lose() {
        loss_is_told(&mut *link).await?;
        bench.restore();
        delivers(bench, &mut *link, &sample).await?;
    }
    drop(link);
    stops(tasks_before).await?;
    if bench.opens_again() {
        // A port that was not let go would now be "in use".
        let mut again = open(bench, &sample)?;
        delivers(bench, &mut *again, &sample).await?;
        drop(again);
        stops(tasks_before).await?;
    }
    Ok(())
}

fn lists_and_refuses(bench: &dyn Fixture) -> Result<(), Violation> {
    let adapter = bench.adapter();
    for found in adapter.list() {
        let Some(selector) = found.selector else { continue };
        if selector.scheme() != adapter.scheme() || adapter.validate(&selector).is_err() {
            return violation("a listed selector is one that the adapter opens", selector);
        }
    }
    match bench.selector().parse::<Selector>() {
        Ok(selector) if selector.to_string() == bench.selector() && adapter.validate(&selector).is_ok() => {
            Ok(())
        }
        other => violation("its own selector is taken and printed as written", other),
    }
}

fn open(bench: &mut dyn Fixture, sample: &[u8]) -> Result<Box<dyn Link>, Violation> {
    bench.before_open(sample);
    let opened: Result<_, OpenError> = bench
        .selector()
        .parse()
        .and_then(|selector| bench.adapter().open(&selector, &OpenOptions::default()));
    opened.or_else(|error| violation("it opens", error))
}

async fn next(link: &mut dyn Link, clause: &'static str) -> Result<Option<LinkEvent>, Violation> {
    timeout(HANG, link.next()).await.or_else(|_| violation(clause, "nothing within 30 s"))
}

/// Waits for `Syncing`, has the device send, and compares.
async fn delivers(bench: &mut dyn Fixture, link: &mut dyn Link, sample: &[u8]) -> Result<(), Violation> {
    let clause = "no bytes before Syncing, then every byte in order";
    loop {
        match next(link, clause).await? {
            Some(LinkEvent::State(LinkState::Syncing)) => break,
            Some(LinkEvent::State(LinkState::Opening | LinkState::Absent(_))) => {}
            other => return violation(clause, other),
        }
    }
    bench.feed(sample);
    let mut got = Vec::new();
    while got.len() < sample.len() {
        match next(link, clause).await? {
            Some(LinkEvent::Bytes(bytes)) if !bytes.is_empty() => got.extend(bytes),
            Some(LinkEvent::State(LinkState::Live)) if got.is_empty() => {}
            other => return violation(clause, (got.len(), other)),
        }
    }
    if got == sample { Ok(()) } else { violation(clause, got) }
}

async fn loss_is_told(link: &mut dyn Link) -> Result<(), Violation> {
    let clause = "a loss is one gap, then the state that says why";
    let gap = next(link, clause).await?;
    let state = next(link, clause).await?;
    match (&gap, &state) {
        (Some(LinkEvent::Gap(GapReason::Lost(why))), Some(LinkEvent::State(LinkState::Lost(same))))
            if why == same =>
        {
            Ok(())
        }
        _ => violation(clause, (gap, state)),
    }
}

async fn ends(link: &mut dyn Link) -> Result<(), Violation> {
    let clause = "a finite source tells Ended, then nothing";
    let state = next(link, clause).await?;
    let after = next(link, clause).await?;
    if state == Some(LinkEvent::State(LinkState::Ended)) && after.is_none() {
        Ok(())
    } else {
        violation(clause, (state, after))
    }
}

/// Waits until the runtime has no more tasks than before the opening.
async fn stops(tasks_before: usize) -> Result<(), Violation> {
    let gone = async {
        while Handle::current().metrics().num_alive_tasks() > tasks_before {
            tokio::task::yield_now().await;
        }
    };
    timeout(HANG, gone)
        .await
        .or_else(|_| violation("dropping the link stops its task", "still running after 30 s"))
}
