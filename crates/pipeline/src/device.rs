//! One device in the pipeline: a meter with its decoder, or a person who types. Does not know the round.

use alloc::boxed::Box;
use alloc::vec::Vec;

use quantity::{Accuracy, Instant, Reading, Typed};
use visit::act::Act;
use wire::{Decoder, DecoderCounters, Fault, Profile};

use crate::manual::{ManualFault, ManualLines};

/// How to interpret a device's bytes.
#[derive(Clone, Debug)]
pub enum DeviceKind {
    /// By a profile.
    Meter(Box<Profile>),
    /// As typed lines `POINT=VALUE`: manual entry. The profile of the meter being read, if known, supplies the
    /// accuracy of typed values.
    Manual(Option<Box<Profile>>),
}

/// A device with its decoder.
pub struct Device {
    reader: Reader,
    readings: u64,
}

enum Reader {
    Meter(Box<Decoder>),
    Manual(ManualLines, Option<Box<Profile>>),
}

/// The result of decoding bytes.
pub(crate) enum Item {
    Reading(Reading),
    Dropped(Fault),
    Typed(Act),
    NotTyped(ManualFault),
}

impl Device {
    pub(crate) fn new(kind: DeviceKind) -> Self {
        let reader = match kind {
            DeviceKind::Meter(profile) => Reader::Meter(Box::new(Decoder::new(&profile))),
            DeviceKind::Manual(profile) => Reader::Manual(ManualLines::default(), profile),
        };
        Self { reader, readings: 0 }
    }

    pub(crate) fn bytes(&mut self, now: Instant, data: &[u8]) -> Vec<Item> {
        let mut items = Vec::new();
        match &mut self.reader {
            Reader::Meter(decoder) => decoder.bytes(now, data, &mut |item| {
                items.push(match item {
                    wire::Item::Reading(reading) => Item::Reading(reading),
                    wire::Item::Fault(fault) => Item::Dropped(fault),
                });
            }),
            Reader::Manual(lines, _) => lines.bytes(data, &mut |typed| {
                items.push(match typed {
                    Ok(act) => Item::Typed(act),
                    Err(fault) => Item::NotTyped(fault),
                });
            }),
        }
        // Of what is typed, all counts but the steps on the route.
        let counts = |item: &&Item| match item {
            Item::Reading(_) => true,
            Item::Typed(act) => !act.moves_on_the_route(),
            Item::Dropped(_) | Item::NotTyped(_) => false,
        };
        let readings = items.iter().filter(counts).count();
        self.readings = self.readings.saturating_add(readings as u64);
        items
    }

    pub(crate) fn gap(&mut self, now: Instant) {
        match &mut self.reader {
            Reader::Meter(decoder) => decoder.gap(now),
            Reader::Manual(lines, _) => lines.gap(),
        }
    }

    /// The profile of the meter a person reads from, if this is manual entry and the meter is known.
    pub(crate) fn read_off(&self) -> Option<&Profile> {
        match &self.reader {
            Reader::Manual(_, profile) => profile.as_deref(),
            Reader::Meter(_) => None,
        }
    }

    /// Called at the end of a chunk with the number of the question open at that time.
    pub(crate) fn chunk_ends(&mut self, asked: Option<u32>) {
        if let Reader::Manual(lines, _) = &mut self.reader {
            lines.chunk_ends(asked);
        }
    }

    /// Readings returned since it joined.
    #[must_use]
    pub fn readings(&self) -> u64 {
        self.readings
    }

    /// The decoder's counters; `None` for manual entry.
    #[must_use]
    pub fn counters(&self) -> Option<&DecoderCounters> {
        match &self.reader {
            Reader::Meter(decoder) => Some(decoder.counters()),
            Reader::Manual(..) => None,
        }
    }
}

/// The accuracy that a meter's profile states for a value read off its display; `None` without a unit, or if it
/// states none. [`visit::round::Round::completed`] fills in the unit and AC or DC.
pub(crate) fn typed_accuracy(profile: &Profile, value: &Typed) -> Option<Accuracy> {
    profile.accuracy_read_off(value.unit?, value.coupling, value.number)
}
