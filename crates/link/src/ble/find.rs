//! Finds the meter that is meant among the devices in range. Switches no radio on, and chooses none of two that match.

use std::time::Duration;

use tokio::time::{Instant, sleep};
use wire::gatt::Uuid;
use zbus::Variant;

use super::bus::{ADAPTER, Bus, CallFault, DEVICE, Objects, Properties, property};
use super::farewell::Farewell;
use super::place::BlePlace;
use crate::closing::Hold;
use crate::error::Absence;

/// How long a scan listens. Devices advertise every 20 ms to 10.24 s (Core Specification, Vol 6 Part B, 4.4.2.2), a meter
/// in use about once a second.
pub(super) const SCAN_TIME: Duration = Duration::from_secs(4);
/// How often the scan's result is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(250);

/// A device in range.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Seen {
    pub(super) path: String,
    pub(super) adapter: String,
    pub(super) address: String,
    pub(super) name: String,
    pub(super) services: Vec<Uuid>,
    pub(super) connected: bool,
    /// Its address may change by itself, for privacy.
    pub(super) is_random: bool,
}

impl Seen {
    fn of(path: &str, properties: &Properties) -> Option<Self> {
        let connected = property(properties, "Connected").unwrap_or(false);
        // A device that is only remembered has no signal strength.
        if !connected && property::<i16>(properties, "RSSI").is_none() {
            return None;
        }
        let uuids: Vec<String> = property(properties, "UUIDs").unwrap_or_default();
        let mut services: Vec<Uuid> = uuids.iter().filter_map(|text| Uuid::parse(text)).collect();
        services.sort();
        Some(Self {
            path: path.to_owned(),
            adapter: path.rsplit_once('/')?.0.to_owned(),
            address: property::<String>(properties, "Address")?.to_ascii_uppercase(),
            name: property(properties, "Name").unwrap_or_default(),
            services,
            connected,
            is_random: property::<String>(properties, "AddressType").as_deref() == Some("random"),
        })
    }

    fn fits(&self, place: &BlePlace) -> bool {
        match place {
            BlePlace::Address(address) => *address == self.address,
            BlePlace::Name(name) => *name == self.name,
            BlePlace::Service(uuid) => self.services.contains(uuid),
        }
    }

    /// Whether this can be the meter that was open before: the same address, or one that changes by itself with all else
    /// the same.
    fn can_be(&self, before: &Self) -> bool {
        self.address == before.address
            || (self.is_random
                && before.is_random
                && self.name == before.name
                && self.services == before.services)
    }
}

/// The devices in range, by what the service has now.
pub(super) fn in_range(objects: &Objects) -> Vec<Seen> {
    let of = |interfaces: &std::collections::BTreeMap<String, Properties>, path: &str| {
        interfaces.get(DEVICE).and_then(|properties| Seen::of(path, properties))
    };
    objects.iter().filter_map(|(path, interfaces)| of(interfaces, path.as_str())).collect()
}

/// Starts a scan on every radio that is on; gives what ends it.
pub(super) async fn start_scan(bus: &Bus, hold: &Hold) -> Result<Farewell, Absence> {
    let objects = bus.objects().await.map_err(CallFault::service)?;
    let radios: Vec<(&str, bool)> = objects
        .iter()
        .filter_map(|(path, interfaces)| {
            let properties = interfaces.get(ADAPTER)?;
            Some((path.as_str(), property(properties, "Powered").unwrap_or(false)))
        })
        .collect();
    if radios.is_empty() {
        return Err(Absence::NoRadio);
    }
    let mut told = Absence::RadioOff;
    let mut scanning = false;
    let mut scan = Farewell::new(bus, hold);
    for (path, _) in radios.iter().filter(|(_, powered)| *powered) {
        let filter = std::collections::BTreeMap::from([("Transport", Variant::from("le"))]);
        // An older service without this filter scans all the same.
        let _ = bus.call(path, ADAPTER, "SetDiscoveryFilter", &filter).await;
        scan.owe(path, ADAPTER, "StopDiscovery");
        match bus.call(path, ADAPTER, "StartDiscovery", &()).await {
            Ok(_) => scanning = true,
            // Somebody else's scan is just beginning; what it finds is there for all.
            Err(CallFault::Refused(why)) if why.contains("org.bluez.Error.InProgress") => {
                scan.forgive();
                scanning = true;
            }
            Err(fault) => {
                if let CallFault::Refused(_) = &fault {
                    scan.forgive();
                }
                told = fault.service();
            }
        }
    }
    if scanning { Ok(scan) } else { Err(told) }
}

/// Looks for the meter. An address that fits is taken at once; a name or a service only when the whole scan showed no
/// second one. `before` is the meter that this link had open.
///
/// A connected meter does not advertise, so no scan shows it: after the service was started anew, the system may still hold the
/// connection of the old one. Such a one is taken without a scan, which may not even be possible while it stands.
pub(super) async fn find(
    bus: &Bus,
    place: &BlePlace,
    before: Option<&Seen>,
    hold: &Hold,
) -> Result<Seen, Absence> {
    let fitting = |objects: &Objects| -> Vec<Seen> {
        in_range(objects).into_iter().filter(|seen| seen.fits(place)).collect()
    };
    let sure = |seen: &&Seen| {
        matches!(place, BlePlace::Address(_)) || before.is_some_and(|before| before.address == seen.address)
    };
    let objects = bus.objects().await.map_err(CallFault::service)?;
    if let Some(held) = fitting(&objects).iter().filter(|seen| seen.connected).find(&sure) {
        return Ok(held.clone());
    }
    let scan = start_scan(bus, hold).await?;
    let found = listen(bus, place, before, sure, fitting).await;
    // Before connecting: a radio that scans connects badly, and what is not needed costs the meters' batteries.
    scan.say().await;
    found
}

/// Looks at what the scan shows until the meter is there or the time is over.
async fn listen(
    bus: &Bus,
    place: &BlePlace,
    before: Option<&Seen>,
    sure: impl Fn(&&Seen) -> bool,
    fitting: impl Fn(&Objects) -> Vec<Seen>,
) -> Result<Seen, Absence> {
    let end = Instant::now() + SCAN_TIME;
    loop {
        let objects = bus.objects().await.map_err(CallFault::service)?;
        let fitting = fitting(&objects);
        if let Some(sure) = fitting.iter().find(&sure) {
            return Ok(sure.clone());
        }
        if Instant::now() >= end {
            return choose(fitting, place, before);
        }
        sleep(LOOK_EVERY).await;
    }
}

fn choose(fitting: Vec<Seen>, place: &BlePlace, before: Option<&Seen>) -> Result<Seen, Absence> {
    let mut possible: Vec<Seen> =
        fitting.into_iter().filter(|seen| before.is_none_or(|before| seen.can_be(before))).collect();
    match (possible.pop(), possible.as_slice()) {
        (Some(one), []) => Ok(one),
        (Some(one), others) => {
            let devices = others.iter().chain([&one]).map(|seen| format!("ble:{}", seen.address)).collect();
            Err(Absence::SeveralInRange { what: place.to_string(), devices })
        }
        (None, _) => {
            let note = before.map_or_else(String::new, |before| format!(" (it was {})", before.address));
            Err(Absence::NotFound { what: format!("{place}{note}") })
        }
    }
}
