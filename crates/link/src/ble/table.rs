//! The characteristics of an open meter: which there are, what describes each, and its values as packets. Talks to the
//! service only to read descriptors.

use std::collections::BTreeMap;

use wire::gatt::packet::{Message, PRESENTATIONS_MAX};
use wire::gatt::{Characteristic as Known, Uuid};
use wire::packet::{PacketKind, wrap};

use super::bus::{Bus, CHARACTERISTIC, DESCRIPTOR, Objects, Properties, SERVICE, property};

/// The most characteristics of one meter that are followed; a packet's index has a byte.
const CHARACTERISTICS_MAX: usize = 64;
/// The longest label and valid range that are carried.
const DESCRIPTOR_BYTES_MAX: usize = 64;

/// One characteristic.
#[derive(Clone, Debug)]
pub(super) struct Characteristic {
    pub(super) path: String,
    index: u8,
    service: Uuid,
    uuid: Uuid,
    instance: u8,
    /// It sends by itself.
    pub(super) sends: bool,
    readable: bool,
    presentations: Vec<Vec<u8>>,
    label: Option<Vec<u8>>,
    range: Option<Vec<u8>>,
}

impl Characteristic {
    /// A value with what describes it. `None`: too long for a packet.
    pub(super) fn packet(&self, value: &[u8]) -> Option<Vec<u8>> {
        let message = Message {
            service: self.service,
            characteristic: self.uuid,
            instance: self.instance,
            presentations: self.presentations.iter().map(Vec::as_slice).collect(),
            label: self.label.as_deref(),
            range: self.range.as_deref(),
            value,
        };
        wrap(PacketKind::Gatt, self.index, &message.write()?)
    }

    /// It never sends by itself, but holds a measurement that can be asked for.
    pub(super) fn is_asked(&self) -> bool {
        let measures = !self.presentations.is_empty() || self.uuid.short().and_then(Known::find).is_some();
        self.readable && !self.sends && measures
    }
}

/// The characteristics by path, in the order of their handles: the service writes handles into paths as hex of one width.
pub(super) type Table = BTreeMap<String, Characteristic>;

/// What the meter at `device` has. Each descriptor is read once; one that cannot be read makes the whole table refused,
/// for a value without its description could be taken for something else.
pub(super) async fn load(bus: &Bus, objects: &Objects, device: &str) -> Result<Table, String> {
    let mut table = Table::new();
    let mut counted: BTreeMap<(Uuid, Uuid), u8> = BTreeMap::new();
    for (path, interfaces) in objects {
        let path = path.as_str();
        let Some(properties) = interfaces.get(CHARACTERISTIC).filter(|_| is_below(path, device)) else {
            continue;
        };
        let Some((service, uuid)) = uuids(objects, path, properties) else { continue };
        let instance = counted.entry((service, uuid)).or_insert(0);
        *instance = instance.saturating_add(1);
        let Some(index) = u8::try_from(table.len()).ok().filter(|_| table.len() < CHARACTERISTICS_MAX) else {
            break;
        };
        let flags: Vec<String> = property(properties, "Flags").unwrap_or_default();
        let has = |wanted: &[&str]| flags.iter().any(|flag| wanted.contains(&flag.as_str()));
        let mut characteristic = Characteristic {
            path: path.to_owned(),
            index,
            service,
            uuid,
            instance: *instance,
            sends: has(&["notify", "indicate"]),
            readable: has(&["read"]),
            presentations: Vec::new(),
            label: None,
            range: None,
        };
        if characteristic.sends || characteristic.readable {
            describe(bus, objects, &mut characteristic).await?;
        }
        table.insert(path.to_owned(), characteristic);
    }
    Ok(table)
}

fn is_below(path: &str, above: &str) -> bool {
    path.strip_prefix(above).is_some_and(|rest| rest.starts_with('/'))
}

fn uuids(objects: &Objects, path: &str, properties: &Properties) -> Option<(Uuid, Uuid)> {
    let (service, _) = path.rsplit_once('/')?;
    let (_, interfaces) = objects.iter().find(|(known, _)| known.as_str() == service)?;
    let text = |properties: &Properties| property::<String>(properties, "UUID");
    let service = text(interfaces.get(SERVICE)?)?;
    Some((Uuid::parse(&service)?, Uuid::parse(&text(properties)?)?))
}

async fn describe(bus: &Bus, objects: &Objects, of: &mut Characteristic) -> Result<(), String> {
    for (path, interfaces) in objects {
        let path = path.as_str();
        let Some(properties) = interfaces.get(DESCRIPTOR).filter(|_| is_below(path, &of.path)) else {
            continue;
        };
        let uuid = property::<String>(properties, "UUID").and_then(|text| Uuid::parse(&text));
        let Some(kind @ (0x2901 | 0x2904 | 0x2906)) = uuid.and_then(Uuid::short) else { continue };
        let bytes = bus
            .read(path, DESCRIPTOR)
            .await
            .map_err(|fault| format!("descriptor 0x{kind:04X} cannot be read: {}", fault.words()))?;
        if bytes.len() > DESCRIPTOR_BYTES_MAX {
            return Err(format!("descriptor 0x{kind:04X} has {} bytes", bytes.len()));
        }
        match kind {
            0x2901 => of.label = Some(bytes),
            0x2906 => of.range = Some(bytes),
            _ if of.presentations.len() < PRESENTATIONS_MAX => of.presentations.push(bytes),
            _ => return Err("too many descriptors 0x2904".to_owned()),
        }
    }
    Ok(())
}
