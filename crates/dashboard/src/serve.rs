//! The server as a whole: validates the address, accepts connections, ends those above the limit, and ends all of
//! them at shutdown. Binds no socket: the caller passes a bound one.

use std::future::Future;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;
use tokio::time::{Instant, sleep, timeout};

use crate::act::ActRequest;
use crate::config::{Config, ServeError};
use crate::connection::serve_connection;
use crate::page::Page;
use crate::relay::{Stamped, relay};
use crate::routes::{App, router};
use crate::slots::Slots;

/// Wait after a failed accept (usually for lack of file descriptors).
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);

/// Kernel send buffer per client that does not read, bytes (Linux doubles it). The default would grow to several
/// megabytes of outdated views; the next view is worth more than any of them.
const SEND_BUFFER: usize = 64 * 1024;

/// What the page is made from, each as JSON text (the page's contract).
#[derive(Clone, Debug)]
pub struct Texts {
    /// The whole view, which goes to every page as it changes.
    pub view: watch::Receiver<Arc<str>>,
    /// The route as a list, which a page asks for when it shows it. The view's `route.rev` says which one is the newest.
    pub route: watch::Receiver<Arc<str>>,
}

/// Serves the dashboard on a bound listener until `shutdown` completes.
///
/// `texts.view` is the whole view. Send it at least once a second even if it is
/// unchanged: a page greys out if the view it shows was not renewed for 4 s. Send it as often as something happens:
/// views without new content are not forwarded, and the others are limited to one per
/// [`Limits::view_gap`](crate::Limits). `actions` receives the mechanic's requests; a full channel is answered with
/// 503, an act without a reply within 3 s with 504.
///
/// # Errors
/// [`ServeError`] if the server may not listen on the address or a configured host cannot be parsed. Once it serves,
/// it returns only `Ok`.
pub async fn serve(
    listener: TcpListener,
    config: Config,
    texts: Texts,
    actions: mpsc::Sender<ActRequest>,
    shutdown: impl Future<Output = ()> + Send,
) -> Result<(), ServeError> {
    let addr = listener.local_addr().map_err(ServeError::Listener)?;
    config.validate(addr)?;
    let allowed = config.allowed(addr)?;
    let limits = config.limits;
    let Texts { view, route } = texts;
    let first = Stamped::new(Arc::clone(&view.borrow()), Instant::now());
    let (out, views) = watch::channel(first);
    let streams = Slots::new("event streams", limits.streams_max);
    let app =
        App { allowed, limits, page: Page::new(), views, route, actions, streams, started: Instant::now() };
    let routes = router(Arc::new(app));
    let (close, closing) = watch::channel(false);
    let mut tasks = JoinSet::new();
    let connections = Slots::new("connections", limits.connections_max);

    let relaying = relay(view, out, limits);
    let accepting = async {
        loop {
            while tasks.try_join_next().is_some() {}
            match listener.accept().await {
                Ok((socket, _)) => {
                    let _ = socket.set_nodelay(true);
                    let _ = socket2::SockRef::from(&socket).set_send_buffer_size(SEND_BUFFER);
                    let place = connections.take();
                    tasks.spawn(serve_connection(socket, routes.clone(), limits, closing.clone(), place));
                }
                Err(error) => {
                    tracing::warn!(%error, "the dashboard could not accept a visitor; it goes on");
                    // As a rule no file descriptor is left; a visitor that asks for nothing holds one.
                    connections.make_room();
                    sleep(ACCEPT_PAUSE).await;
                }
            }
        }
    };
    tokio::select! {
        () = shutdown => {}
        () = accepting => {}
        // When the daemon drops its view the streams end, and the pages grey out; the server stays to say so.
        () = async { relaying.await; std::future::pending::<()>().await } => {}
    }
    // The relay is dropped here with its sender, which ends every stream.
    close.send_replace(true);
    let ended = async { while tasks.join_next().await.is_some() {} };
    if timeout(limits.shutdown_time, ended).await.is_err() {
        tracing::debug!("dashboard connections were cut at the shutdown");
    }
    Ok(())
}

#[cfg(test)]
mod tests;
