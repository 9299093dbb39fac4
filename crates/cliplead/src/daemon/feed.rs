//! One task per device: opens its link and hands what it says to the core, stamped on receipt. One bad device never
//! stops or delays the others. Does not interpret bytes.

use std::sync::PoisonError;

use link::{Link, LinkEvent, Registry};
use site::Device;
use tokio::sync::{mpsc, oneshot};

use super::Input;
use super::health::{LinkCounts, SharedCounts};
use crate::clock::Clock;
use crate::config;

/// What a device's task needs besides its device.
#[derive(Clone)]
pub(super) struct Feed {
    pub(super) inputs: mpsc::Sender<Input>,
    pub(super) clock: Clock,
}

/// Opens a device and follows it. A selector that can never open is told as the device's state.
pub(super) fn attach(index: usize, device: &Device, registry: &Registry, counts: SharedCounts, feed: Feed) {
    // A typed device may be silent for hours.
    let profile = device.profile.as_ref().map(|(profile, _)| profile).filter(|_| !device.typed);
    let opened = config::open_options(profile).and_then(|options| {
        registry.open_as(&device.selector, &options, profile).map_err(anyhow::Error::from)
    });
    match opened {
        Ok(link) => {
            let typed = device.typed;
            tokio::spawn(async move { follow(index, typed, link, &counts, &feed).await });
        }
        Err(error) => {
            let why = format!("{error:#}");
            tokio::spawn(async move {
                let _ = feed.inputs.send(Input::CannotOpen { device: index, why }).await;
            });
        }
    }
}

async fn follow(device: usize, typed: bool, mut link: Box<dyn Link>, counts: &SharedCounts, feed: &Feed) {
    while let Some(event) = link.next().await {
        let at = (feed.clock)();
        let counted = LinkCounts { link: link.counters(), asked: link.poll_counters() };
        *counts.lock().unwrap_or_else(PoisonError::into_inner) = counted;
        let (input, taken) = match event {
            LinkEvent::Bytes(data) if typed => {
                let (taken, all_taken) = oneshot::channel();
                (Input::Typed { device, at, data, taken }, Some(all_taken))
            }
            event => (Input::Link { device, at, event }, None),
        };
        if feed.inputs.send(input).await.is_err() {
            return;
        }
        if let Some(taken) = taken {
            // Its end is dropped when the lines are taken; nothing is ever sent.
            let _ = taken.await;
        }
    }
}
