//! One connection: HTTP/1.1 with limits on the head's size and time and on stalled writes. Ends when its slot goes to
//! a newer connection. Knows no routes.

use std::sync::Arc;

use axum::Router;
use hyper::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::sync::watch;

use crate::config::Limits;
use crate::slots::Slot;
use crate::stall::StallLimit;

/// Most header lines in a request.
const HEADERS_MAX: usize = 64;

/// Serves `io` until it ends, until `closing` turns true and the current request is answered, or until `place` is
/// lost. Handlers find `place` in the extensions of their request.
pub(crate) async fn serve_connection<T>(
    io: T,
    routes: Router,
    limits: Limits,
    mut closing: watch::Receiver<bool>,
    place: Arc<Slot>,
) where
    T: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let io = TokioIo::new(StallLimit::new(io, limits.write_stall));
    let routes = TowerToHyperService::new(routes);
    let asked = Arc::clone(&place);
    let service = service_fn(move |mut request: Request<Incoming>| {
        asked.waits();
        request.extensions_mut().insert(Arc::clone(&asked));
        routes.call(request)
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(limits.head_time)
        .max_buf_size(limits.head_bytes_max)
        .max_headers(HEADERS_MAX)
        .serve_connection(io, service);
    let mut connection = std::pin::pin!(connection);
    let served = async {
        tokio::select! {
            result = connection.as_mut() => result,
            () = async { let _ = closing.wait_for(|&closing| closing).await; } => {
                connection.as_mut().graceful_shutdown();
                connection.await
            }
        }
    };
    tokio::select! {
        result = served => if let Err(error) = result {
            tracing::debug!(%error, "a dashboard connection ended early");
        },
        () = place.lost() => {}
    }
}

#[cfg(test)]
mod tests;
