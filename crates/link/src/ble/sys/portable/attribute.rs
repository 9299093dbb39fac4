//! The attributes of a device: as the library names them, and as the system lists them. Does not compare the two;
//! `listing` does.

use std::collections::BTreeMap;

use wire::gatt::Uuid;

use super::super::library::api::{Characteristic, Descriptor};

/// A characteristic, or one of its descriptors, as the library names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Attribute {
    pub(super) characteristic: Characteristic,
    pub(super) descriptor: Option<Descriptor>,
}

/// A characteristic of the device according to the system.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct SystemCharacteristic {
    pub(super) service: Uuid,
    pub(super) uuid: Uuid,
    /// The number of Presentation Formats (0x2904) that describe it.
    pub(super) formats: usize,
}

/// The attributes of a device by key.
pub(super) type Attributes = BTreeMap<String, Attribute>;
