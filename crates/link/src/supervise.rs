//! Keeps one device open forever: look, open, read, notice a loss, close, wait, repeat. Works on any byte stream from
//! an [`Opener`]; serial ports and sockets share it. Holds no device code.

use std::future::Future;
use std::io;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::sync::mpsc::Receiver;
use tokio::time::{Instant, sleep, sleep_until, timeout};

use crate::backoff::Backoff;
use crate::catch_panic::{Panicked, catch_panic};
use crate::error::Unavailable;
use crate::event::{Disconnect, LinkState};
use crate::options::CHUNK_BYTES_MAX;
use crate::queue::Sender;

/// The longest time for writing one request.
const WRITE_TIME_MAX: Duration = Duration::from_secs(1);
/// An absent device is looked for at least this often.
const LOOK_EVERY_MAX: Duration = Duration::from_millis(500);
/// A device that was opened and never sent a byte is reopened after this many silence times.
const QUIET_TIMES: u32 = 10;

/// Opens one device.
pub(crate) trait Opener: Send + Sync + 'static {
    /// What it opens; dropping it closes the device.
    type Stream: AsyncRead + AsyncWrite + Unpin + Send + 'static;

    /// The meaning of a read that returns no bytes. It never means "wait".
    const END_OF_STREAM: Disconnect = Disconnect::HungUp;

    /// One attempt. Must not block the thread.
    fn open(&self) -> impl Future<Output = Result<Self::Stream, Unavailable>> + Send;
}

/// What the supervisor needs besides the opener.
#[derive(Debug)]
pub(crate) struct Watch {
    pub(crate) sender: Sender,
    pub(crate) requests: Receiver<Vec<u8>>,
    pub(crate) silence: Option<Duration>,
    pub(crate) backoff: Backoff,
}

/// Runs until aborted. A panic below is counted and reported as a loss, and the source is restarted.
pub(crate) async fn supervise<O: Opener>(opener: O, mut watch: Watch) {
    loop {
        let Err(Panicked) = catch_panic(session(&opener, &mut watch)).await;
        watch.sender.lost(Disconnect::Panicked);
        sleep(watch.backoff.step()).await;
    }
}

/// Never ends by itself.
async fn session<O: Opener>(opener: &O, watch: &mut Watch) -> std::convert::Infallible {
    watch.sender.state(LinkState::Opening);
    loop {
        match opener.open().await {
            Err(absence) => {
                let there = !matches!(absence, Unavailable::NotFound { .. });
                watch.sender.state(LinkState::Absent(absence));
                let wait = watch.backoff.step();
                sleep(if there { wait } else { wait.min(LOOK_EVERY_MAX) }).await;
            }
            Ok(stream) => {
                watch.sender.state(LinkState::Syncing);
                drop_stale_requests(watch);
                let loss = pump(stream, watch, O::END_OF_STREAM).await;
                watch.sender.lost(loss);
                sleep(watch.backoff.step()).await;
                watch.sender.state(LinkState::Opening);
            }
        }
    }
}

/// Drops requests made while the device was away: nothing waits for their replies any more.
fn drop_stale_requests(watch: &mut Watch) {
    while watch.requests.try_recv().is_ok() {
        watch.sender.request_dropped();
    }
}

/// Reads until the device is lost. The stream is closed when this returns, before anything is reported.
async fn pump<S: AsyncRead + AsyncWrite + Unpin>(
    mut stream: S,
    watch: &mut Watch,
    at_end: Disconnect,
) -> Disconnect {
    let mut buffer = vec![0_u8; CHUNK_BYTES_MAX];
    let far = Duration::from_secs(365 * 24 * 3600);
    let mut limit = watch.silence.map_or(far, |silence| silence.saturating_mul(QUIET_TIMES));
    let quiet = sleep(limit);
    tokio::pin!(quiet);
    let mut requests_open = true;
    loop {
        tokio::select! {
            read = stream.read(&mut buffer) => match read {
                // A serial port whose device is gone reads as "no bytes" forever, and so does a closed connection.
                Ok(0) => return at_end,
                Ok(n) => {
                    watch.sender.bytes(buffer.get(..n).unwrap_or_default());
                    watch.backoff.reset();
                    limit = watch.silence.unwrap_or(far);
                    quiet.as_mut().reset(Instant::now() + limit);
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Disconnect::Io(error.kind()),
            },
            request = watch.requests.recv(), if requests_open => match request {
                None => requests_open = false,
                Some(request) => match timeout(WRITE_TIME_MAX, stream.write_all(&request)).await {
                    Ok(Ok(())) => {}
                    Ok(Err(error)) => return Disconnect::Io(error.kind()),
                    Err(_elapsed) => return Disconnect::WriteStalled,
                },
            },
            () = &mut quiet => {
                return Disconnect::Silent { after_ms: u64::try_from(limit.as_millis()).unwrap_or(u64::MAX) };
            }
        }
    }
}

/// Sleeps until `at`, or forever.
pub(crate) async fn sleep_until_some(at: Option<Instant>) {
    match at {
        Some(at) => sleep_until(at).await,
        None => std::future::pending().await,
    }
}
