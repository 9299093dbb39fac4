//! A link whose source runs as a task. Dropping it aborts the task. Holds no device code.

use std::future::Future;
use std::task::{Context, Poll};

use tokio::runtime::Handle;
use tokio::task::AbortHandle;

use crate::adapter::{Link, Requests};
use crate::error::OpenError;
use crate::event::{Counters, LinkEvent};
use crate::options::{LineSettings, OpenOptions};
use crate::queue::{Inlet, Outlet, queue};
use crate::selector::Selector;

/// What all adapters of this crate open.
#[derive(Debug)]
pub(crate) struct TaskLink {
    selector: Selector,
    inlet: Inlet,
    requests: Option<Requests>,
    line: Option<LineSettings>,
    task: AbortHandle,
}

impl TaskLink {
    /// Starts `source` as a task with the writing end of a fresh queue.
    ///
    /// # Errors
    /// An option out of range; no runtime.
    pub(crate) fn start<F>(
        selector: &Selector,
        options: &OpenOptions,
        source: impl FnOnce(Outlet) -> F,
    ) -> Result<Self, OpenError>
    where
        F: Future<Output = ()> + Send + 'static,
    {
        options.check().map_err(OpenError::BadOption)?;
        let runtime = Handle::try_current().map_err(|_| OpenError::NoRuntime)?;
        let (outlet, inlet) = queue(options.queue_bytes);
        let task = runtime.spawn(source(outlet)).abort_handle();
        Ok(Self { selector: selector.clone(), inlet, requests: None, line: None, task })
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
        self.inlet.poll(cx)
    }

    fn counters(&self) -> Counters {
        self.inlet.counters()
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
