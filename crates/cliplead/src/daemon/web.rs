//! The page's place in the daemon: binds the address, hands views out and actions in. Does not draw.

use std::net::SocketAddr;
use std::sync::Arc;

use anyhow::Context as _;
use dashboard::{Action, Asked};
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};

use super::{Act, Ask, Input};

/// Actions that wait at most; further ones are told to come back.
const ACTIONS_MAX: usize = 16;

/// Binds and serves; gives the address with the port the system chose.
///
/// # Errors
/// When the address is taken, or is not on loopback.
pub(super) async fn open(
    address: SocketAddr,
    view: watch::Receiver<Arc<str>>,
    inputs: mpsc::Sender<Input>,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<SocketAddr> {
    let config = dashboard::Config::default();
    config.check(address)?;
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
        if let Err(error) = dashboard::serve(listener, config, view, actions, stop).await {
            tracing::error!("the page ended: {error}");
        }
    });
    Ok(bound)
}

async fn forward(mut asked: mpsc::Receiver<Asked>, inputs: mpsc::Sender<Input>) {
    while let Some(Asked { action, check, reply }) = asked.recv().await {
        let act = match action {
            Action::Confirm { hold_point } => Act::Confirm(hold_point),
            Action::Withdraw { hold_point } => Act::Withdraw(hold_point),
            Action::Type { point, text } => Act::Type { point, text },
            Action::Answer { question, yes } => Act::Answer { question, yes },
            Action::Again => Act::Again,
            Action::Next => Act::Next,
            Action::Finish => Act::Finish,
            Action::Energised => Act::Energised,
        };
        if inputs.send(Input::Ask(Ask { act, check, reply: Some(reply) })).await.is_err() {
            return;
        }
    }
}
