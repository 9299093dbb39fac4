//! Turns a panic inside a future into a value, so that a failing source can be counted and restarted.

use std::future::{Future, poll_fn};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::pin;
use std::task::Poll;

/// The future panicked. Its state is not used again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Panicked;

/// Runs the future until it completes or panics.
pub(crate) async fn catch_panic<F: Future>(future: F) -> Result<F::Output, Panicked> {
    let mut future = pin!(future);
    poll_fn(|cx| match catch_unwind(AssertUnwindSafe(|| future.as_mut().poll(cx))) {
        Ok(Poll::Pending) => Poll::Pending,
        Ok(Poll::Ready(output)) => Poll::Ready(Ok(output)),
        Err(_payload) => Poll::Ready(Err(Panicked)),
    })
    .await
}
