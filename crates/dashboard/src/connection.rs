//! One connection: HTTP/1.1 with bounds on the head's size and time and on stalled writes. It knows no route.

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::sync::watch;

use crate::config::Limits;
use crate::stall::StallLimit;

/// Most header lines in a request.
const HEADERS_MAX: usize = 64;

/// Serves `io` until it ends, or until `closing` turns true and the request under way is answered.
pub(crate) async fn serve_connection<T>(
    io: T,
    routes: Router,
    limits: Limits,
    mut closing: watch::Receiver<bool>,
) where
    T: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let io = TokioIo::new(StallLimit::new(io, limits.write_stall));
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(limits.head_time)
        .max_buf_size(limits.head_bytes_max)
        .max_headers(HEADERS_MAX)
        .serve_connection(io, TowerToHyperService::new(routes));
    let mut connection = std::pin::pin!(connection);
    let result = tokio::select! {
        result = connection.as_mut() => result,
        () = async { let _ = closing.wait_for(|&closing| closing).await; } => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    if let Err(error) = result {
        tracing::debug!(%error, "a dashboard connection ended early");
    }
}

#[cfg(test)]
mod tests;
