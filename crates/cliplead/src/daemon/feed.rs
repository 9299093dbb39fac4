//! One task per device: opens its link and hands what it says to the core, stamped on receipt. One bad device never
//! stops or delays the others. Does not interpret bytes.

use std::time::Instant;

use link::Registry;
use tokio::sync::mpsc;

use super::Input;
use crate::config::{self, DeviceConfig};

/// Opens a device and follows it. A selector that can never open is told as the device's state.
pub(super) fn attach(index: usize, device: &DeviceConfig, registry: &Registry, inputs: mpsc::Sender<Input>) {
    // A typed device may be silent for hours.
    let profile = device.profile.as_ref().map(|(profile, _)| profile).filter(|_| !device.typed);
    let opened = config::open_options(profile).and_then(|options| {
        registry.open_as(&device.selector, &options, profile).map_err(anyhow::Error::from)
    });
    match opened {
        Ok(mut link) => {
            tokio::spawn(async move {
                while let Some(event) = link.next().await {
                    let input = Input::Link { device: index, at: Instant::now(), event };
                    if inputs.send(input).await.is_err() {
                        return;
                    }
                }
            });
        }
        Err(error) => {
            let why = format!("{error:#}");
            tokio::spawn(async move {
                let _ = inputs.send(Input::CannotOpen { device: index, why }).await;
            });
        }
    }
}
