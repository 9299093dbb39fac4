//! Finds the selected meter among the devices in range. Switches no radio on, and never chooses between two that
//! match.

use std::time::Duration;

use tokio::time::{Instant, sleep};

use super::central::{CallFault, Central, DiscoveredDevice, Power};
use super::place::BlePlace;
use super::teardown::{Cleanup, Teardown};
use crate::error::Unavailable;
use crate::shutdown::ShutdownGuard;

/// How long a scan listens. Devices advertise every 20 ms to 10.24 s (Core Specification, Vol 6 Part B, 4.4.2.2), a meter
/// in use about once a second.
pub(super) const SCAN_TIME: Duration = Duration::from_secs(4);
/// How often the scan's result is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(250);

impl DiscoveredDevice {
    fn fits(&self, place: &BlePlace) -> bool {
        match place {
            BlePlace::Address(address) => *address == self.address,
            BlePlace::Id(id) => self.address.strip_prefix("id=") == Some(id),
            BlePlace::Name(name) => *name == self.name,
            BlePlace::Service(uuid) => self.services.contains(uuid),
        }
    }

    /// Whether this can be the meter that was open before: it has the same address, or a random one with everything
    /// else the same.
    fn can_be(&self, before: &Self) -> bool {
        self.address == before.address
            || (self.is_random
                && before.is_random
                && self.name == before.name
                && self.services == before.services)
    }
}

/// Starts a scan on every radio that is on; returns the teardown that ends it.
pub(super) async fn start_scan<C: Central>(
    central: &C,
    hold: &ShutdownGuard,
) -> Result<Teardown<C>, Unavailable> {
    let radios = central.radios().await.map_err(CallFault::service)?;
    let mut told = match radios.first() {
        None => return Err(Unavailable::NoRadio),
        Some(_) if radios.iter().all(|radio| radio.power == Power::Off) => Unavailable::RadioOff,
        Some(_) => Unavailable::NoBluetooth {
            detail:
                "the system does not say whether the radio is on; it may keep Bluetooth from this program"
                    .to_owned(),
        },
    };
    let mut scanning = false;
    let mut scan = Teardown::new(central, hold);
    for radio in radios.iter().filter(|radio| radio.power == Power::On) {
        scan.add(Cleanup::StopScan(radio.key.clone()));
        match central.start_scan(&radio.key).await {
            Ok(()) => scanning = true,
            Err(fault) if fault.scans_already() => {
                scan.remove_last();
                scanning = true;
            }
            Err(fault) => {
                if let CallFault::Refused(_) = &fault {
                    scan.remove_last();
                }
                told = fault.service();
            }
        }
    }
    if scanning { Ok(scan) } else { Err(told) }
}

/// Looks for the meter. A matching address is accepted at once; a name or a service only after a whole scan without a
/// second match. `before` is the meter that this link had open.
///
/// A connected meter does not advertise, so no scan finds it. After a restart of the service, the system may still
/// hold the old connection. Such a meter is accepted without a scan, which may even be impossible while the
/// connection stands.
pub(super) async fn find<C: Central>(
    central: &C,
    scheme: &str,
    place: &BlePlace,
    before: Option<&DiscoveredDevice>,
    hold: &ShutdownGuard,
) -> Result<DiscoveredDevice, Unavailable> {
    let sure = |seen: &&DiscoveredDevice| {
        matches!(place, BlePlace::Address(_) | BlePlace::Id(_))
            || before.is_some_and(|before| before.address == seen.address)
    };
    let held = fitting(central, place).await?;
    if let Some(held) = held.iter().filter(|seen| seen.connected).find(&sure) {
        return Ok(held.clone());
    }
    let scan = start_scan(central, hold).await?;
    let found = listen(central, scheme, place, before, sure).await;
    // Before connecting: a radio that scans connects badly, and what is not needed costs the meters' batteries.
    scan.run().await;
    found
}

/// The devices in range that match the selector.
async fn fitting<C: Central>(central: &C, place: &BlePlace) -> Result<Vec<DiscoveredDevice>, Unavailable> {
    let mut devices = central.devices().await.map_err(CallFault::service)?;
    devices.retain(|seen| seen.fits(place));
    Ok(devices)
}

/// Follows the scan until the meter is found or the time is over.
async fn listen<C: Central>(
    central: &C,
    scheme: &str,
    place: &BlePlace,
    before: Option<&DiscoveredDevice>,
    sure: impl Fn(&&DiscoveredDevice) -> bool,
) -> Result<DiscoveredDevice, Unavailable> {
    let end = Instant::now() + SCAN_TIME;
    loop {
        let fitting = fitting(central, place).await?;
        if let Some(sure) = fitting.iter().find(&sure) {
            return Ok(sure.clone());
        }
        if Instant::now() >= end {
            return choose(fitting, scheme, place, before);
        }
        sleep(LOOK_EVERY).await;
    }
}

fn choose(
    fitting: Vec<DiscoveredDevice>,
    scheme: &str,
    place: &BlePlace,
    before: Option<&DiscoveredDevice>,
) -> Result<DiscoveredDevice, Unavailable> {
    let mut possible: Vec<DiscoveredDevice> =
        fitting.into_iter().filter(|seen| before.is_none_or(|before| seen.can_be(before))).collect();
    match (possible.pop(), possible.as_slice()) {
        (Some(one), []) => Ok(one),
        (Some(one), others) => {
            let devices =
                others.iter().chain([&one]).map(|seen| format!("{scheme}:{}", seen.address)).collect();
            Err(Unavailable::SeveralInRange { what: format!("{scheme}:{place}"), devices })
        }
        (None, _) => {
            let note = before.map_or_else(String::new, |before| format!(" (it was {})", before.address));
            Err(Unavailable::NotFound { what: format!("{scheme}:{place}{note}") })
        }
    }
}
