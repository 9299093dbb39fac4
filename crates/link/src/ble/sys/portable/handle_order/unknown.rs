//! Systems that list a device's characteristics only through calls that safe code cannot make (macOS): order unknown.

use super::super::super::library::Result;
use super::super::attribute::SystemCharacteristic;
use crate::ble::central::DiscoveredDevice;

/// Who can read what is withheld here.
pub(in super::super) const READS_THEM_APART: &str = "cliplead on Linux reads it";

/// Nobody can be asked.
pub(in super::super) async fn of(_seen: &DiscoveredDevice) -> Result<Option<Vec<SystemCharacteristic>>> {
    Ok(None)
}
