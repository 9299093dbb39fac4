//! In place of the page in builds without it: an address in the site's file is an error, not silence.

use std::net::SocketAddr;
use std::sync::Arc;

use tokio::sync::{mpsc, watch};

use super::Input;

/// What a page would show.
#[allow(dead_code)] // the same as the build with a page has
pub(super) struct Shown {
    pub(super) view: watch::Receiver<Arc<str>>,
    pub(super) route: watch::Receiver<Arc<str>>,
}

/// There is no page in this build.
///
/// # Errors
/// Always.
#[allow(clippy::unused_async)] // the same signature as the build with a page
pub(super) async fn open(
    _address: SocketAddr,
    _shown: Shown,
    _inputs: mpsc::Sender<Input>,
    _stopped: watch::Receiver<bool>,
) -> anyhow::Result<SocketAddr> {
    anyhow::bail!("this build has no page (feature \"dashboard\"); take `dashboard` out of the site's file")
}
