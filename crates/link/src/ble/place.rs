//! Selects a Bluetooth meter: by its address, its name, or a service it offers. Parses and prints the part after the
//! scheme; touches no radio.

use std::fmt;

use wire::gatt::Uuid;

use crate::error::SelectorFault;

/// The longest name that a device can advertise under, in bytes (GAP device name: Core Specification, Vol 3 Part C, 12.1).
const NAME_BYTES_MAX: usize = 248;
/// The text of a whole UUID, in characters.
const UUID_CHARS: usize = 36;

/// A Bluetooth LE meter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BlePlace {
    /// The device with this address, `AA:BB:CC:DD:EE:FF` in capitals.
    Address(String),
    /// The device with this id on this machine, a lower-case UUID, on systems that hide addresses.
    Id(String),
    /// The one device in range with this name.
    Name(String),
    /// The one device in range that offers this service.
    Service(Uuid),
}

impl fmt::Display for BlePlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Address(address) => f.write_str(address),
            Self::Id(id) => write!(f, "id={id}"),
            Self::Name(name) => write!(f, "name={name}"),
            Self::Service(uuid) => write!(f, "service={uuid}"),
        }
    }
}

impl BlePlace {
    /// Parses the part of a selector after `ble:`.
    ///
    /// # Errors
    /// What is wrong with it and what to write instead.
    pub fn parse(rest: &str) -> Result<Self, SelectorFault> {
        if rest.is_empty() {
            return Err(SelectorFault::RestMissing);
        }
        if let Some(name) = rest.strip_prefix("name=") {
            let fits = !name.trim().is_empty() && name.len() <= NAME_BYTES_MAX;
            return if fits { Ok(Self::Name(name.to_owned())) } else { Err(SelectorFault::BadBle) };
        }
        if let Some(uuid) = rest.strip_prefix("service=") {
            return Uuid::parse(uuid).map(Self::Service).ok_or(SelectorFault::BadBle);
        }
        if let Some(id) = rest.strip_prefix("id=") {
            let whole = id.len() == UUID_CHARS && Uuid::parse(id).is_some();
            return if whole { Ok(Self::Id(id.to_ascii_lowercase())) } else { Err(SelectorFault::BadBle) };
        }
        let mut parts = rest.split(':');
        let good = |part: &str| part.len() == 2 && part.bytes().all(|b| b.is_ascii_hexdigit());
        let six = (0..6).all(|_| parts.next().is_some_and(good)) && parts.next().is_none();
        if six { Ok(Self::Address(rest.to_ascii_uppercase())) } else { Err(SelectorFault::BadBle) }
    }
}
