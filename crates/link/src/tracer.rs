//! The tracer: calls a watcher for everything that passes a link, and changes nothing. Wraps any adapter or link.
//! Does not store or format; the watcher does.

use std::fmt;
use std::sync::Arc;
use std::task::{Context, Poll};

use crate::adapter::{Adapter, Link, Requests};
use crate::error::OpenError;
use crate::event::{LinkCounters, LinkEvent};
use crate::forward::{forward_adapter, forward_link};
use crate::options::OpenOptions;
use crate::selector::Selector;

/// One thing that passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Traced<'a> {
    /// From the device to the reader.
    In(&'a LinkEvent),
    /// A request that the link accepted for the device.
    Out(&'a [u8]),
    /// The source has ended.
    End,
}

type Watcher = Arc<dyn Fn(&Selector, Traced<'_>) + Send + Sync>;

/// An adapter whose links are traced.
pub struct TracedAdapter<A> {
    inner: A,
    watcher: Watcher,
}

impl<A: Adapter> TracedAdapter<A> {
    /// Wraps `inner`. `watcher` is called in the reader's thread and must not block.
    pub fn new(inner: A, watcher: impl Fn(&Selector, Traced<'_>) + Send + Sync + 'static) -> Self {
        Self { inner, watcher: Arc::new(watcher) }
    }
}

impl<A: fmt::Debug> fmt::Debug for TracedAdapter<A> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("TracedAdapter").field("inner", &self.inner).finish_non_exhaustive()
    }
}

impl<A: Adapter> Adapter for TracedAdapter<A> {
    forward_adapter!(inner);

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let inner = self.inner.open(selector, options)?;
        Ok(Box::new(TracedLink { inner, watcher: Arc::clone(&self.watcher) }))
    }
}

/// A traced link.
pub struct TracedLink {
    inner: Box<dyn Link>,
    watcher: Watcher,
}

impl TracedLink {
    /// Wraps one link. `watcher` is called in the reader's thread and must not block.
    pub fn new(
        inner: Box<dyn Link>,
        watcher: impl Fn(&Selector, Traced<'_>) + Send + Sync + 'static,
    ) -> Self {
        Self { inner, watcher: Arc::new(watcher) }
    }
}

impl fmt::Debug for TracedLink {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("TracedLink").field("inner", &self.inner).finish_non_exhaustive()
    }
}

impl Link for TracedLink {
    forward_link!(inner);

    fn poll_event(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>> {
        let polled = self.inner.poll_event(cx);
        match &polled {
            Poll::Ready(Some(event)) => (self.watcher)(self.inner.selector(), Traced::In(event)),
            Poll::Ready(None) => (self.watcher)(self.inner.selector(), Traced::End),
            Poll::Pending => {}
        }
        polled
    }

    fn counters(&self) -> LinkCounters {
        self.inner.counters()
    }

    fn requests(&self) -> Option<Requests> {
        let watcher = Arc::clone(&self.watcher);
        let selector = self.inner.selector().clone();
        let tap = Arc::new(move |request: &[u8]| watcher(&selector, Traced::Out(request)));
        self.inner.requests().map(|requests| requests.tapped(tap))
    }
}
