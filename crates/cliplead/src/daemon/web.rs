//! The page's place in the daemon: binds the address, hands views out and actions in. Does not draw.

use std::net::SocketAddr;
use std::sync::Arc;

use anyhow::Context as _;
use dashboard::ActRequest;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use visit::act::By;

use super::{Ask, Input};

/// Actions that wait at most; further ones are told to come back.
const ACTIONS_MAX: usize = 16;

/// What the page shows, each as JSON text.
pub(super) struct Shown {
    /// The whole view.
    pub(super) view: watch::Receiver<Arc<str>>,
    /// The route as a list, which is long and changes seldom.
    pub(super) route: watch::Receiver<Arc<str>>,
}

/// Binds and serves; gives the address with the port the system chose.
///
/// # Errors
/// When the address is taken, or is not on loopback.
pub(super) async fn open(
    address: SocketAddr,
    shown: Shown,
    inputs: mpsc::Sender<Input>,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<SocketAddr> {
    let config = dashboard::Config::default();
    config.validate(address)?;
    let listener = TcpListener::bind(address).await.with_context(|| {
        format!("the page cannot listen on {address}; is another cliplead running there?")
    })?;
    let bound = listener.local_addr()?;
    let (actions, asked) = mpsc::channel(ACTIONS_MAX);
    tokio::spawn(forward(asked, inputs));
    tokio::spawn(async move {
        let stop = async move {
            let _ = stopped.wait_for(|stop| *stop).await;
        };
        let texts = dashboard::Texts { view: shown.view, route: shown.route };
        if let Err(error) = dashboard::serve(listener, config, texts, actions, stop).await {
            tracing::error!("the page ended: {error}");
        }
    });
    Ok(bound)
}

async fn forward(mut asked: mpsc::Receiver<ActRequest>, inputs: mpsc::Sender<Input>) {
    while let Some(ActRequest { act, check, reply }) = asked.recv().await {
        let ask = Ask { act, by: By::Page, check, reply: Some(reply) };
        if inputs.send(Input::Ask(ask)).await.is_err() {
            return;
        }
    }
}
