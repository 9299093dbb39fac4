//! The characteristics of an open meter: which exist, their descriptors, and their values as packets. Talks to the
//! service only to read descriptors.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::time::sleep;
use wire::gatt::packet::{Message, PRESENTATIONS_MAX};
use wire::gatt::{Characteristic as Known, Uuid};
use wire::packet::{PacketKind, wrap};

use super::central::{CallFault, Central, Characteristics, ListedCharacteristic};

/// The most characteristics followed on one meter; a packet's index is one byte.
const CHARACTERISTICS_MAX: usize = 64;
/// The longest label and valid range that a packet carries.
const DESCRIPTOR_BYTES_MAX: usize = 64;
/// How often to try reading a descriptor, and the wait in between.
const READ_TIMES: u32 = 3;
const READ_PAUSE: Duration = Duration::from_millis(200);

/// One characteristic.
#[derive(Clone, Debug)]
pub(super) struct Characteristic {
    pub(super) key: String,
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
    /// A value with its descriptors. `None`: too long for a packet.
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

    /// It never sends by itself, but holds a measurement that can be read.
    pub(super) fn is_asked(&self) -> bool {
        let measures = !self.presentations.is_empty() || self.uuid.short().and_then(Known::find).is_some();
        self.readable && !self.sends && measures
    }
}

/// The characteristics by the backend's key.
pub(super) type Table = BTreeMap<String, Characteristic>;

/// The characteristics of a meter, and what could not be read, as text.
#[derive(Debug, Default)]
pub(super) struct Discovered {
    pub(super) table: Table,
    pub(super) left_out: Vec<String>,
    /// Something was refused for lack of pairing.
    pub(super) wants_pairing: bool,
}

/// Reads what the meter has. Each descriptor is read once. A label that cannot be read is merely missing. Without its
/// format or range a value could be misread, so that costs this characteristic, and no other.
///
/// # Errors
/// The service did not reply: the next read would wait just as long.
pub(super) async fn load<C: Central>(
    central: &C,
    characteristics: Characteristics,
) -> Result<Discovered, CallFault> {
    let mut loaded = Discovered { left_out: characteristics.withheld, ..Discovered::default() };
    for listed in characteristics.listed {
        // One that is left out keeps its number, so that those behind it do not change theirs.
        let Some(index) = u8::try_from(listed.place).ok().filter(|_| listed.place < CHARACTERISTICS_MAX)
        else {
            loaded.left_out.push(format!(
                "it has more than {CHARACTERISTICS_MAX} characteristics; the rest is not read"
            ));
            break;
        };
        let ListedCharacteristic { key, service, uuid, instance, sends, readable, descriptors, .. } = listed;
        let mut characteristic = Characteristic {
            key: key.clone(),
            index,
            service,
            uuid,
            instance,
            sends,
            readable,
            presentations: Vec::new(),
            label: None,
            range: None,
        };
        let reads = sends || readable;
        if !reads || describe(central, &descriptors, &mut characteristic, &mut loaded).await? {
            loaded.table.insert(key, characteristic);
        }
    }
    Ok(loaded)
}

/// Reads the descriptors of a characteristic; `false` if it cannot be read without the missing ones.
async fn describe<C: Central>(
    central: &C,
    descriptors: &[(u16, String)],
    of: &mut Characteristic,
    loaded: &mut Discovered,
) -> Result<bool, CallFault> {
    for (kind, key) in descriptors {
        let kind @ (0x2901 | 0x2904 | 0x2906) = *kind else { continue };
        let read = match read(central, key).await {
            Ok(bytes) if bytes.len() > DESCRIPTOR_BYTES_MAX => {
                Err(format!("it has {} bytes, {DESCRIPTOR_BYTES_MAX} at most are taken", bytes.len()))
            }
            Ok(_) if kind == 0x2904 && of.presentations.len() == PRESENTATIONS_MAX => {
                Err(format!("there are more than {PRESENTATIONS_MAX} of them"))
            }
            Ok(bytes) => Ok(bytes),
            Err(stalled @ CallFault::Stalled(_)) => return Err(stalled),
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

/// Retries a refusal a few times if it may be temporary.
async fn read<C: Central>(central: &C, key: &str) -> Result<Vec<u8>, CallFault> {
    for _ in 1..READ_TIMES {
        match central.read_descriptor(key).await {
            Err(CallFault::Refused(why)) if !is_lasting(&why) => sleep(READ_PAUSE).await,
            other => return other,
        }
    }
    central.read_descriptor(key).await
}

/// What a device refuses permanently (BlueZ doc/org.bluez.GattDescriptor.rst, ReadValue).
fn is_lasting(why: &str) -> bool {
    why.contains("org.bluez.Error.NotSupported") || wants_pairing(why)
}

/// A refusal that pairing may lift: by BlueZ's error names, and by the texts of ATT's error codes 0x05 and 0x0F (Core
/// Specification, Vol 3 Part F, 3.4.1.1) on other systems.
pub(super) fn wants_pairing(why: &str) -> bool {
    ["NotPermitted", "NotAuthorized", "Authentication"]
        .iter()
        .any(|name| why.contains(&format!("org.bluez.Error.{name}")))
        || ["Authentication is insufficient", "Encryption is insufficient"]
            .iter()
            .any(|words| why.contains(words))
}
