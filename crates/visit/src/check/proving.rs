//! The proof of the hold point that is asked for: one for each device and channel, since a tester proved on one meter proves no
//! other. Takes readings, says what they show; does not know what the hold point is for.

use alloc::string::String;
use alloc::vec::Vec;

use quantity::{DeviceChannel, Reading};

use crate::hold::proof::{Progress, Proof};
use crate::hold::{self, ByStream};

/// Devices that can work on one hold point at the same time; more are ignored.
const PROVING_MAX: usize = 8;

/// The proof of one hold point.
#[derive(Clone, Debug)]
pub(super) struct Proving {
    name: String,
    kind: ByStream,
    sources: Vec<(DeviceChannel, Proof)>,
    /// What the reading before was told to wait for.
    says: String,
}

/// What a reading has shown.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Proved {
    /// Nothing yet.
    Nothing,
    /// The hold point, with these readings.
    Shown(String),
    /// The same, if the leads were on: only a person knows.
    ShownIfOn(String),
}

impl Proving {
    /// `None` when no stream can show this hold point.
    pub(super) fn new(name: &str) -> Option<Self> {
        let kind = hold::of(name).by_stream;
        (kind != ByStream::No).then(|| Self {
            name: String::from(name),
            kind,
            sources: Vec::new(),
            says: String::new(),
        })
    }

    /// The hold point.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// What it waits for, in words; empty before the first reading.
    pub(super) fn says(&self) -> &str {
        &self.says
    }

    /// Whether its last reading is of a known live source.
    pub(super) fn ends_on_live_source(&self) -> bool {
        self.kind == ByStream::LiveDeadLive
    }

    /// Takes a reading.
    pub(super) fn push(&mut self, device: &str, reading: &Reading) -> Proved {
        let known = self.sources.iter_mut().find(|(from, _)| from.is(device, reading.channel));
        let progress = match known {
            Some((_, proof)) => proof.push(reading),
            None => self.begin(device, reading),
        };
        match progress {
            Progress::Ignored => Proved::Nothing,
            Progress::Waiting(says) => {
                self.says = says;
                Proved::Nothing
            }
            Progress::Shown(says) => Proved::Shown(says),
            Progress::ShownIfOn(says) => Proved::ShownIfOn(says),
        }
    }

    /// Takes the first reading of a source; one that has nothing to do with the proof takes no place.
    fn begin(&mut self, device: &str, reading: &Reading) -> Progress {
        let has_place = self.sources.len() < PROVING_MAX;
        let Some(mut proof) = Proof::new(self.kind).filter(|_| has_place) else { return Progress::Ignored };
        let progress = proof.push(reading);
        if progress != Progress::Ignored {
            self.sources.push((DeviceChannel::new(device, reading.channel), proof));
        }
        progress
    }

    /// Forgets what every device has shown so far.
    pub(super) fn forget(&mut self) {
        self.sources.iter_mut().for_each(|(_, proof)| proof.reset());
    }

    /// A person says that the leads were not on: everything begins anew, and nothing is said.
    pub(super) fn begin_anew(&mut self) {
        self.says.clear();
        self.forget();
    }

    /// The link of this device is lost; true if it was under way.
    pub(super) fn lose(&mut self, device: &str) -> bool {
        let mut under_way = false;
        for (_, proof) in self.sources.iter_mut().filter(|(from, _)| from.device == device) {
            under_way |= proof.is_under_way();
            proof.reset();
        }
        if under_way {
            self.says.clear();
        }
        under_way
    }
}

#[cfg(test)]
mod tests;
