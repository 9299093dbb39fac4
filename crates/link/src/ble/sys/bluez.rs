//! The Linux backend: the Bluetooth service (BlueZ) over the system bus, by object path, so that two characteristics
//! with the same UUID remain two. Translates the service's objects and signals; finds, connects and watches nothing
//! by itself.

mod bus;

use std::collections::BTreeMap;

use futures_util::StreamExt as _;
use wire::gatt::Uuid;
use zbus::{Message, MessageStream, Variant};

use crate::ble::central::{
    CallFault, Central, Characteristics, DiscoveredDevice, ListedCharacteristic, Power, Radio, Signal,
};
use crate::error::Unavailable;
pub(in crate::ble) use bus::Bus;
use bus::{ADAPTER, CHARACTERISTIC, DESCRIPTOR, DEVICE, Objects, Properties, SERVICE, property};

impl Central for Bus {
    /// The bus address in D-Bus notation; `None`: the system's own.
    type Place = Option<String>;
    type Signals = MessageStream;

    async fn open(place: &Self::Place) -> Result<(Self, MessageStream), Unavailable> {
        Self::connect_to(place.as_deref()).await
    }

    async fn next(signals: &mut MessageStream) -> Signal {
        while let Some(Ok(message)) = signals.next().await {
            if let Some(signal) = signal(&message) {
                return signal;
            }
        }
        Signal::Closed
    }

    async fn radios(&self) -> Result<Vec<Radio>, CallFault> {
        let radio = |(path, interfaces): (String, BTreeMap<String, Properties>)| {
            let on = property(interfaces.get(ADAPTER)?, "Powered").unwrap_or(false);
            Some(Radio { key: path, power: if on { Power::On } else { Power::Off } })
        };
        Ok(self.objects().await?.into_iter().filter_map(radio).collect())
    }

    async fn devices(&self) -> Result<Vec<DiscoveredDevice>, CallFault> {
        let objects = self.objects().await?;
        let of = |interfaces: &BTreeMap<String, Properties>, path: &str| {
            interfaces.get(DEVICE).and_then(|properties| seen(path, properties))
        };
        Ok(objects.iter().filter_map(|(path, interfaces)| of(interfaces, path)).collect())
    }

    async fn start_scan(&self, radio: &str) -> Result<(), CallFault> {
        let filter = BTreeMap::from([("Transport", Variant::from("le"))]);
        // An older service without this filter scans anyway.
        let _ = self.call(radio, ADAPTER, "SetDiscoveryFilter", &filter).await;
        self.call(radio, ADAPTER, "StartDiscovery", &()).await.map(|_| ())
    }

    async fn stop_scan(&self, radio: &str) -> Result<(), CallFault> {
        self.call(radio, ADAPTER, "StopDiscovery", &()).await.map(|_| ())
    }

    async fn connect(&self, seen: &DiscoveredDevice) -> Result<(), CallFault> {
        self.watch_below(&seen.key).await?;
        self.watch_below(&seen.radio).await?;
        self.call(&seen.key, DEVICE, "Connect", &()).await.map(|_| ())
    }

    async fn disconnect(&self, device: &str) -> Result<(), CallFault> {
        self.call(device, DEVICE, "Disconnect", &()).await.map(|_| ())
    }

    async fn characteristics(
        &self,
        seen: &DiscoveredDevice,
    ) -> Result<Option<Characteristics>, Option<CallFault>> {
        let objects = self.objects().await.map_err(Some)?;
        let device = objects.get(&seen.key).and_then(|interfaces| interfaces.get(DEVICE)).ok_or(None)?;
        if property(device, "ServicesResolved") != Some(true) {
            return Ok(None);
        }
        Ok(Some(Characteristics { listed: listed(&objects, &seen.key), withheld: Vec::new() }))
    }

    async fn read(&self, key: &str) -> Result<Vec<u8>, CallFault> {
        self.read_value(key, CHARACTERISTIC).await
    }

    async fn read_descriptor(&self, key: &str) -> Result<Vec<u8>, CallFault> {
        self.read_value(key, DESCRIPTOR).await
    }

    async fn subscribe(&self, key: &str) -> Result<(), CallFault> {
        self.call(key, CHARACTERISTIC, "StartNotify", &()).await.map(|_| ())
    }

    async fn unsubscribe(&self, key: &str) -> Result<(), CallFault> {
        self.call(key, CHARACTERISTIC, "StopNotify", &()).await.map(|_| ())
    }
}

/// The meaning of a message from the service; `None`: irrelevant.
fn signal(message: &Message) -> Option<Signal> {
    let header = message.header();
    let path = header.path()?.as_str().to_owned();
    let body = message.body();
    match header.member()?.as_str() {
        "PropertiesChanged" => {
            let (interface, changed, _): (String, Properties, Vec<String>) = body.deserialize().ok()?;
            let off = |name: &str| property(&changed, name) == Some(false);
            match interface.as_str() {
                CHARACTERISTIC => Some(Signal::Value { key: path, value: property(&changed, "Value")? }),
                DEVICE if off("Connected") => Some(Signal::DeviceGone { key: path }),
                ADAPTER if off("Powered") => Some(Signal::RadioGone { key: path }),
                _ => None,
            }
        }
        "InterfacesRemoved" => {
            let (removed, interfaces): (zbus::OwnedObjectPath, Vec<String>) = body.deserialize().ok()?;
            let key = removed.to_string();
            let has = |name: &str| interfaces.iter().any(|interface| interface == name);
            Some(if has(DEVICE) {
                Signal::DeviceGone { key }
            } else if has(ADAPTER) {
                Signal::RadioGone { key }
            } else {
                Signal::PartGone { key }
            })
        }
        // The service went away, or was restarted and knows nothing of this session.
        "NameOwnerChanged" => Some(Signal::Closed),
        _ => None,
    }
}

fn seen(path: &str, properties: &Properties) -> Option<DiscoveredDevice> {
    let connected = property(properties, "Connected").unwrap_or(false);
    // A device that is only remembered has no signal strength.
    if !connected && property::<i16>(properties, "RSSI").is_none() {
        return None;
    }
    let uuids: Vec<String> = property(properties, "UUIDs").unwrap_or_default();
    let mut services: Vec<Uuid> = uuids.iter().filter_map(|text| Uuid::parse(text)).collect();
    services.sort();
    Some(DiscoveredDevice {
        key: path.to_owned(),
        radio: path.rsplit_once('/')?.0.to_owned(),
        address: property::<String>(properties, "Address")?.to_ascii_uppercase(),
        name: property(properties, "Name").unwrap_or_default(),
        services,
        connected,
        is_random: property::<String>(properties, "AddressType").as_deref() == Some("random"),
    })
}

/// The characteristics of a device in handle order: the service writes handles into paths as hex of fixed width.
fn listed(objects: &Objects, device: &str) -> Vec<ListedCharacteristic> {
    let mut counted: BTreeMap<(Uuid, Uuid), u8> = BTreeMap::new();
    let mut listed = Vec::new();
    for (path, interfaces) in objects {
        let Some(properties) = interfaces.get(CHARACTERISTIC).filter(|_| is_below(path, device)) else {
            continue;
        };
        let Some((service, uuid)) = uuids(objects, path, properties) else { continue };
        let instance = counted.entry((service, uuid)).or_insert(0);
        *instance = instance.saturating_add(1);
        let flags: Vec<String> = property(properties, "Flags").unwrap_or_default();
        let has = |wanted: &[&str]| flags.iter().any(|flag| wanted.contains(&flag.as_str()));
        listed.push(ListedCharacteristic {
            key: path.clone(),
            place: listed.len(),
            service,
            uuid,
            instance: *instance,
            sends: has(&["notify", "indicate"]),
            readable: has(&["read"]),
            descriptors: descriptors(objects, path),
        });
    }
    listed
}

fn descriptors(objects: &Objects, characteristic: &str) -> Vec<(u16, String)> {
    let kind = |(path, interfaces): (&String, &BTreeMap<String, Properties>)| {
        let properties = interfaces.get(DESCRIPTOR).filter(|_| is_below(path, characteristic))?;
        let uuid = Uuid::parse(&property::<String>(properties, "UUID")?)?;
        Some((uuid.short()?, path.clone()))
    };
    objects.iter().filter_map(kind).collect()
}

fn is_below(path: &str, above: &str) -> bool {
    path.strip_prefix(above).is_some_and(|rest| rest.starts_with('/'))
}

fn uuids(objects: &Objects, path: &str, properties: &Properties) -> Option<(Uuid, Uuid)> {
    let (service, _) = path.rsplit_once('/')?;
    let text = |properties: &Properties| property::<String>(properties, "UUID");
    let service = text(objects.get(service)?.get(SERVICE)?)?;
    Some((Uuid::parse(&service)?, Uuid::parse(&text(properties)?)?))
}

#[cfg(test)]
impl crate::BleAdapter {
    /// On the bus at this address in D-Bus notation: `unix:path=/run/other/socket`.
    pub(crate) fn on_bus(address: &str) -> Self {
        Self(crate::ble::Reach::new("ble", Some(address.to_owned())))
    }
}
