//! Windows: the system's own list of services and characteristics, through calls that the library makes too. Compiled
//! for that system by the project's tests; not yet run on one.

use windows::Devices::Bluetooth::GenericAttributeProfile::{GattCommunicationStatus, GattDeviceService};
use windows::Devices::Bluetooth::{BluetoothCacheMode, BluetoothLEDevice};
use windows::core::GUID;
use wire::gatt::Uuid;

use super::super::super::library::{Error, Result};
use super::super::attribute::SystemCharacteristic;
use super::NOT_READ;
use crate::ble::central::DiscoveredDevice;

/// Who can read what is withheld here.
pub(in super::super) const READS_THEM_APART: &str = "cliplead on Linux reads it";

/// The characteristics of the device.
///
/// # Errors
/// The system does not reply, or the device is gone: the order of its characteristics would be a guess.
pub(in super::super) async fn of(seen: &DiscoveredDevice) -> Result<Option<Vec<SystemCharacteristic>>> {
    let digits: String = seen.address.split(':').collect();
    let listed = match u64::from_str_radix(&digits, 16) {
        Ok(address) => list(address).await.ok().flatten(),
        Err(_) => None,
    };
    listed.map(Some).ok_or_else(|| Error::RuntimeError(NOT_READ.to_owned()))
}

/// `None`: the device did not reply, so the list is incomplete.
async fn list(address: u64) -> windows::core::Result<Option<Vec<SystemCharacteristic>>> {
    let device = BluetoothLEDevice::FromBluetoothAddressAsync(address)?.await?;
    let services = device.GetGattServicesWithCacheModeAsync(BluetoothCacheMode::Uncached)?.await?;
    if services.Status()? != GattCommunicationStatus::Success {
        return Ok(None);
    }
    let mut ordered: Vec<(u16, SystemCharacteristic)> = Vec::new();
    // Collected: what goes through the system's list may not be held while another answer is waited for.
    let services: Vec<GattDeviceService> = services.Services()?.into_iter().collect();
    for service in services {
        let found = service.GetCharacteristicsWithCacheModeAsync(BluetoothCacheMode::Uncached)?.await?;
        if found.Status()? != GattCommunicationStatus::Success {
            return Ok(None);
        }
        for characteristic in found.Characteristics()? {
            let formats = characteristic.PresentationFormats()?.Size()?;
            let of = SystemCharacteristic {
                service: uuid(service.Uuid()?),
                uuid: uuid(characteristic.Uuid()?),
                formats: usize::try_from(formats).unwrap_or(usize::MAX),
            };
            ordered.push((characteristic.AttributeHandle()?, of));
        }
    }
    ordered.sort_by_key(|(handle, _)| *handle);
    Ok(Some(ordered.into_iter().map(|(_, of)| of).collect()))
}

fn uuid(guid: GUID) -> Uuid {
    Uuid(guid.to_u128().to_be_bytes())
}
