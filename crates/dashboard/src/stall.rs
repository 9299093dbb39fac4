//! A byte stream that fails when the other side has taken nothing for a set time, so that a stuck reader cannot hold
//! a slot. Does not limit reading; hyper's own header timeout does.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Sleep, sleep};

/// `T` with a limit on how long a write may wait.
pub(crate) struct StallLimit<T> {
    inner: T,
    limit: Duration,
    waiting: Option<Pin<Box<Sleep>>>,
}

impl<T> StallLimit<T> {
    pub(crate) fn new(inner: T, limit: Duration) -> Self {
        Self { inner, limit, waiting: None }
    }

    /// Passes a result on; while it is pending, the timer runs.
    fn limited<R>(&mut self, cx: &mut Context<'_>, poll: Poll<io::Result<R>>) -> Poll<io::Result<R>> {
        if poll.is_ready() {
            self.waiting = None;
            return poll;
        }
        let limit = self.limit;
        let waiting = self.waiting.get_or_insert_with(|| Box::pin(sleep(limit)));
        match waiting.as_mut().poll(cx) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl<T: AsyncRead + Unpin> AsyncRead for StallLimit<T> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_read(cx, buf)
    }
}

impl<T: AsyncWrite + Unpin> AsyncWrite for StallLimit<T> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let poll = Pin::new(&mut self.inner).poll_write(cx, bytes);
        self.limited(cx, poll)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let poll = Pin::new(&mut self.inner).poll_flush(cx);
        self.limited(cx, poll)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let poll = Pin::new(&mut self.inner).poll_shutdown(cx);
        self.limited(cx, poll)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::{AsyncReadExt, AsyncWriteExt, duplex};
    use tokio::time::Instant;

    #[tokio::test(start_paused = true)]
    async fn a_reader_that_takes_nothing_is_dropped_in_time() {
        let (ours, _theirs) = duplex(8);
        let mut out = StallLimit::new(ours, Duration::from_secs(20));
        let start = Instant::now();
        let error = out.write_all(&[7; 64]).await.unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::TimedOut);
        assert_eq!(start.elapsed().as_secs(), 20);
    }

    #[tokio::test(start_paused = true)]
    async fn a_slow_reader_is_kept() {
        let (ours, mut theirs) = duplex(8);
        let mut out = StallLimit::new(ours, Duration::from_secs(20));
        let reader = tokio::spawn(async move {
            let mut taken = 0;
            let mut eight = [0; 8];
            while taken < 64 {
                sleep(Duration::from_secs(19)).await;
                taken += theirs.read(&mut eight).await.unwrap();
            }
            taken
        });
        out.write_all(&[7; 64]).await.unwrap();
        assert_eq!(reader.await.unwrap(), 64);
    }
}
