//! Linux: asks the Bluetooth service over the bus, like the other backend.

use super::super::super::bluez::Bus;
use super::super::super::library::{Error, Result};
use super::super::attribute::SystemCharacteristic;
use super::NOT_READ;
use crate::ble::central::{Central as _, DiscoveredDevice};

/// Who can read what is withheld here.
pub(in super::super) const READS_THEM_APART: &str = "`ble:` in place of `ble+portable:` reads it";

/// The characteristics of the device.
///
/// # Errors
/// The service does not reply, or the device is gone: the order of its characteristics would be a guess.
pub(in super::super) async fn of(seen: &DiscoveredDevice) -> Result<Option<Vec<SystemCharacteristic>>> {
    let listed = list(seen).await;
    listed.map(Some).ok_or_else(|| Error::RuntimeError(NOT_READ.to_owned()))
}

async fn list(seen: &DiscoveredDevice) -> Option<Vec<SystemCharacteristic>> {
    let (bus, _signals) = Bus::open(&None).await.ok()?;
    let own = bus.devices().await.ok()?.into_iter().find(|own| own.address == seen.address)?;
    let characteristics = bus.characteristics(&own).await.ok().flatten()?;
    let ordered = characteristics.listed.into_iter().map(|listed| SystemCharacteristic {
        service: listed.service,
        uuid: listed.uuid,
        formats: listed.descriptors.iter().filter(|(kind, _)| *kind == 0x2904).count(),
    });
    Some(ordered.collect())
}
