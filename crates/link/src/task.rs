//! A link whose source runs as a task. Dropping the link aborts the task. Holds no device code.

use std::future::Future;
use std::task::{Context, Poll};

use tokio::runtime::Handle;
use tokio::task::AbortHandle;

use crate::adapter::{Link, Requests};
use crate::error::OpenError;
use crate::event::{LinkCounters, LinkEvent};
use crate::options::{LineSettings, OpenOptions};
use crate::queue::{Receiver, Sender, queue};
use crate::selector::Selector;

/// The link type of all adapters in this crate.
#[derive(Debug)]
pub(crate) struct TaskLink {
    selector: Selector,
    receiver: Receiver,
    requests: Option<Requests>,
    line: Option<LineSettings>,
    task: AbortHandle,
}

impl TaskLink {
    /// Starts `source` as a task with the sender of a new queue.
    ///
    /// # Errors
    /// An option out of range; no runtime.
    pub(crate) fn start<F>(
        selector: &Selector,
        options: &OpenOptions,
        source: impl FnOnce(Sender) -> F,
    ) -> Result<Self, OpenError>
    where
        F: Future<Output = ()> + Send + 'static,
    {
        options.validate().map_err(OpenError::BadOption)?;
        let runtime = Handle::try_current().map_err(|_| OpenError::NoRuntime)?;
        let (sender, receiver) = queue(options.queue_bytes);
        let task = runtime.spawn(source(sender)).abort_handle();
        Ok(Self { selector: selector.clone(), receiver, requests: None, line: None, task })
    }

    pub(crate) fn with_requests(mut self, requests: Requests) -> Self {
        self.requests = Some(requests);
        self
    }

    pub(crate) fn with_line(mut self, line: LineSettings) -> Self {
        self.line = Some(line);
        self
    }
}

impl Link for TaskLink {
    fn selector(&self) -> &Selector {
        &self.selector
    }

    fn poll_event(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>> {
        self.receiver.poll(cx)
    }

    fn counters(&self) -> LinkCounters {
        self.receiver.counters()
    }

    fn requests(&self) -> Option<Requests> {
        self.requests.clone()
    }

    fn line_settings(&self) -> Option<LineSettings> {
        self.line
    }
}

impl Drop for TaskLink {
    fn drop(&mut self) {
        self.task.abort();
    }
}
