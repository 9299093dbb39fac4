//! The characteristics of an open meter: which there are, what describes each, and its values as packets. Talks to the
//! service only to read descriptors.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::time::sleep;
use wire::gatt::packet::{Message, PRESENTATIONS_MAX};
use wire::gatt::{Characteristic as Known, Uuid};
use wire::packet::{PacketKind, wrap};

use super::bus::{Bus, CHARACTERISTIC, CallFault, DESCRIPTOR, Objects, Properties, SERVICE, property};

/// The most characteristics of one meter that are followed; a packet's index has a byte.
const CHARACTERISTICS_MAX: usize = 64;
/// The longest label and valid range that are carried.
const DESCRIPTOR_BYTES_MAX: usize = 64;
/// How often a descriptor is asked for, and the wait in between.
const READ_TIMES: u32 = 3;
const READ_PAUSE: Duration = Duration::from_millis(200);

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

/// What a meter has, and what of it could not be read, in words.
#[derive(Debug, Default)]
pub(super) struct Loaded {
    pub(super) table: Table,
    pub(super) left_out: Vec<String>,
    /// Something was refused for want of pairing.
    pub(super) wants_pairing: bool,
}

/// What the meter at `device` has. Each descriptor is read once. A label that cannot be read is missing, no more. Without its
/// format or its range a value could be taken for something else, so that costs this characteristic, and no other.
///
/// # Errors
/// The service gave no answer: the next read would wait as long.
pub(super) async fn load(bus: &Bus, objects: &Objects, device: &str) -> Result<Loaded, CallFault> {
    let mut loaded = Loaded::default();
    let mut counted: BTreeMap<(Uuid, Uuid), u8> = BTreeMap::new();
    let mut numbered = 0;
    for (path, interfaces) in objects {
        let path = path.as_str();
        let Some(properties) = interfaces.get(CHARACTERISTIC).filter(|_| is_below(path, device)) else {
            continue;
        };
        let Some((service, uuid)) = uuids(objects, path, properties) else { continue };
        let instance = counted.entry((service, uuid)).or_insert(0);
        *instance = instance.saturating_add(1);
        let Some(index) = u8::try_from(numbered).ok().filter(|_| numbered < CHARACTERISTICS_MAX) else {
            loaded.left_out.push(format!(
                "it has more than {CHARACTERISTICS_MAX} characteristics; the rest is not read"
            ));
            break;
        };
        // One that is left out keeps its number, so that those behind it do not change theirs.
        numbered += 1;
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
        let reads = characteristic.sends || characteristic.readable;
        if !reads || describe(bus, objects, &mut characteristic, &mut loaded).await? {
            loaded.table.insert(path.to_owned(), characteristic);
        }
    }
    Ok(loaded)
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

/// Reads what describes a characteristic; `false`: it cannot be read without.
async fn describe(
    bus: &Bus,
    objects: &Objects,
    of: &mut Characteristic,
    loaded: &mut Loaded,
) -> Result<bool, CallFault> {
    for (path, interfaces) in objects {
        let path = path.as_str();
        let Some(properties) = interfaces.get(DESCRIPTOR).filter(|_| is_below(path, &of.path)) else {
            continue;
        };
        let uuid = property::<String>(properties, "UUID").and_then(|text| Uuid::parse(&text));
        let Some(kind @ (0x2901 | 0x2904 | 0x2906)) = uuid.and_then(Uuid::short) else { continue };
        let read = match read(bus, path).await {
            Ok(bytes) if bytes.len() > DESCRIPTOR_BYTES_MAX => {
                Err(format!("it has {} bytes, {DESCRIPTOR_BYTES_MAX} at most are taken", bytes.len()))
            }
            Ok(_) if kind == 0x2904 && of.presentations.len() == PRESENTATIONS_MAX => {
                Err(format!("there are more than {PRESENTATIONS_MAX} of them"))
            }
            Ok(bytes) => Ok(bytes),
            Err(CallFault::Stalled) => return Err(CallFault::Stalled),
            Err(CallFault::Refused(why)) => {
                loaded.wants_pairing |= wants_pairing(&why);
                Err(why)
            }
        };
        let told = |why: &str, so: &str| {
            format!(
                "descriptor 0x{kind:04X} of characteristic {} (number {}) cannot be read ({why}); {so}",
                of.uuid, of.index
            )
        };
        match (kind, read) {
            (0x2901, Ok(bytes)) => of.label = Some(bytes),
            (0x2906, Ok(bytes)) => of.range = Some(bytes),
            (_, Ok(bytes)) => of.presentations.push(bytes),
            (0x2901, Err(why)) => loaded.left_out.push(told(&why, "its values come without a label")),
            (_, Err(why)) => {
                loaded.left_out.push(told(&why, "it says what its values mean, so they are not read"));
                return Ok(false);
            }
        }
    }
    Ok(true)
}

/// A refusal that another moment may lift is tried again a few times.
async fn read(bus: &Bus, path: &str) -> Result<Vec<u8>, CallFault> {
    for _ in 1..READ_TIMES {
        match bus.read(path, DESCRIPTOR).await {
            Err(CallFault::Refused(why)) if !is_lasting(&why) => sleep(READ_PAUSE).await,
            other => return other,
        }
    }
    bus.read(path, DESCRIPTOR).await
}

/// What a device refuses for good (BlueZ doc/org.bluez.GattDescriptor.rst, ReadValue).
fn is_lasting(why: &str) -> bool {
    why.contains("org.bluez.Error.NotSupported") || wants_pairing(why)
}

/// A refusal that pairing may lift.
pub(super) fn wants_pairing(why: &str) -> bool {
    ["NotPermitted", "NotAuthorized", "Authentication"]
        .iter()
        .any(|name| why.contains(&format!("org.bluez.Error.{name}")))
}
