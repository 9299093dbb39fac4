//! The parts of a device: as the library names them, and as the system lists them. Does not compare the two; `listing` does.

use std::collections::BTreeMap;

use wire::gatt::Uuid;

use super::super::library::api::{Characteristic, Descriptor};

/// A characteristic, or one of its descriptors, as the library names them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Attribute {
    pub(super) characteristic: Characteristic,
    pub(super) descriptor: Option<Descriptor>,
}

/// A characteristic that the system says the device has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct SystemCharacteristic {
    pub(super) service: Uuid,
    pub(super) uuid: Uuid,
    /// How many Presentation Formats (0x2904) describe it.
    pub(super) formats: usize,
}

/// The parts of a device by key.
pub(super) type Attributes = BTreeMap<String, Attribute>;
