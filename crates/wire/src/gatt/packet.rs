//! The message of a GATT packet ([`crate::packet`]): one value of one characteristic with everything needed to
//! interpret it. Holds the layout, its writer and its reader. Does not decode the value.
//!
//! | bytes | field |
//! |---|---|
//! | 0-15 | UUID of the service, in the order of its text |
//! | 16-31 | UUID of the characteristic |
//! | 32 | instance: 1 for the first characteristic of these two UUIDs, in the order of the handles; 255: not known |
//! | then | descriptors: kind, length, bytes; kind 4 is 0x2904, 1 is 0x2901, 6 is 0x2906 |
//! | then | 0, the end of the descriptors |
//! | rest | the value as it came |

use alloc::vec::Vec;

use super::Uuid;

const INSTANCE_AT: usize = 32;
const END: u8 = 0;
const LABEL: u8 = 1;
const PRESENTATION: u8 = 4;
const RANGE: u8 = 6;

/// The most 0x2904 descriptors carried for one characteristic; no number has more than one.
pub const PRESENTATIONS_MAX: usize = 4;

/// The instance of a value that came through an interface that shows one characteristic per UUID and does not say
/// whether there are more.
pub const INSTANCE_UNKNOWN: u8 = 255;

/// A value with its descriptors.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message<'m> {
    /// UUID of the service.
    pub service: Uuid,
    /// UUID of the characteristic.
    pub characteristic: Uuid,
    /// Which of several with the same UUIDs, from 1, or [`INSTANCE_UNKNOWN`].
    pub instance: u8,
    /// Presentation formats (0x2904).
    pub presentations: Vec<&'m [u8]>,
    /// User description (0x2901).
    pub label: Option<&'m [u8]>,
    /// Valid range (0x2906).
    pub range: Option<&'m [u8]>,
    /// The value.
    pub value: &'m [u8],
}

impl<'m> Message<'m> {
    /// The message. `None`: a descriptor has more than 255 bytes, there are too many of them, or the instance is 0.
    #[must_use]
    pub fn write(&self) -> Option<Vec<u8>> {
        if self.instance == 0 || self.presentations.len() > PRESENTATIONS_MAX {
            return None;
        }
        let mut out = Vec::with_capacity(INSTANCE_AT + 32 + self.value.len());
        out.extend_from_slice(&self.service.0);
        out.extend_from_slice(&self.characteristic.0);
        out.push(self.instance);
        let presentations = self.presentations.iter().map(|bytes| (PRESENTATION, *bytes));
        let label = self.label.map(|bytes| (LABEL, bytes));
        let range = self.range.map(|bytes| (RANGE, bytes));
        for (kind, bytes) in presentations.chain(label).chain(range) {
            out.extend_from_slice(&[kind, u8::try_from(bytes.len()).ok()?]);
            out.extend_from_slice(bytes);
        }
        out.push(END);
        out.extend_from_slice(self.value);
        Some(out)
    }

    /// Parses a message. `None`: it does not have the layout, or contains an unknown or duplicate kind of descriptor.
    #[must_use]
    pub fn read(message: &'m [u8]) -> Option<Self> {
        let (uuids, rest) = message.split_at_checked(INSTANCE_AT)?;
        let (service, characteristic) = uuids.split_at_checked(16)?;
        let (instance, mut rest) = rest.split_first()?;
        let mut read = Self {
            service: Uuid(service.try_into().ok()?),
            characteristic: Uuid(characteristic.try_into().ok()?),
            instance: *instance,
            presentations: Vec::new(),
            label: None,
            range: None,
            value: &[],
        };
        loop {
            let (kind, tail) = rest.split_first()?;
            if *kind == END {
                read.value = tail;
                return (read.instance > 0).then_some(read);
            }
            let (length, tail) = tail.split_first()?;
            let (bytes, tail) = tail.split_at_checked(usize::from(*length))?;
            match *kind {
                PRESENTATION if read.presentations.len() < PRESENTATIONS_MAX => {
                    read.presentations.push(bytes);
                }
                LABEL if read.label.is_none() => read.label = Some(bytes),
                RANGE if read.range.is_none() => read.range = Some(bytes),
                _ => return None,
            }
            rest = tail;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The base of the Core Specification (Vol 3 Part B, 2.5.1), written out there as text.
    #[test]
    fn short_and_full_texts_are_one_uuid() {
        let full = "00002A6E-0000-1000-8000-00805f9b34fb";
        assert_eq!(Uuid::parse("0x2a6e"), Uuid::parse(full));
        assert_eq!(Uuid::parse(full).and_then(Uuid::short), Some(0x2A6E));
        let own = "9f3c1d20-5b7e-4c1a-9d55-0a6b2e4f8c31";
        let uuid = Uuid::parse(own).unwrap();
        assert_eq!((uuid.short(), alloc::format!("{uuid}")), (None, own.into()));
        for bad in [
            "",
            "2A6E",
            "0x2A6",
            "0x+2A6",
            "00002A6E00001000800000805f9b34fb",
            "0x2A6E0",
            full.get(1..).unwrap(),
        ] {
            assert_eq!(Uuid::parse(bad), None, "{bad}");
        }
    }

    proptest! {
        #[test]
        fn what_is_written_is_read(
            value in proptest::collection::vec(any::<u8>(), 0..64),
            label in proptest::option::of(proptest::collection::vec(any::<u8>(), 0..40)),
            range in proptest::option::of(proptest::collection::vec(any::<u8>(), 0..9)),
            formats in proptest::collection::vec(proptest::collection::vec(any::<u8>(), 7), 0..=PRESENTATIONS_MAX),
            instance in 1..=255_u8,
        ) {
            let message = Message {
                service: Uuid::from_short(0x181A),
                characteristic: Uuid([7; 16]),
                instance,
                presentations: formats.iter().map(Vec::as_slice).collect(),
                label: label.as_deref(),
                range: range.as_deref(),
                value: &value,
            };
            let written = message.write().unwrap();
            prop_assert_eq!(Message::read(&written), Some(message));
        }

        #[test]
        fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..80)) {
            let _ = Message::read(&bytes);
        }
    }
}
