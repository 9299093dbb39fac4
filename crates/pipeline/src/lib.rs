//! The whole data path in one place: bytes -> readings -> round -> outputs, for all devices at once.
//!
//! The daemon, the replay, the rule tests and a microcontroller all drive one function, [`Pipeline::step`]. The
//! pipeline owns one decoder per device and the round. The same events at the same times produce the same outputs.
//!
//! Does not: open ports, read a clock, store, print, or know how rules are written.
#![no_std]
extern crate alloc;
#[cfg(test)]
extern crate std;

mod device;
mod manual;

use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec::Vec;

use judge::rule::RuleSet;
use quantity::{Instant, Reading};
use visit::act::{Act, By, Display};
use visit::round::{self, Round, Route, Settings};
use wire::{Fault, Profile};

use device::typed_accuracy;
pub use device::{Device, DeviceKind};
pub use manual::ManualFault;

/// An input.
#[derive(Clone, Debug)]
pub enum Event {
    /// A device joins, or rejoins with another profile; its decoder starts afresh.
    Joined {
        /// Its name, unique.
        device: String,
        /// How to interpret its bytes.
        kind: DeviceKind,
    },
    /// Bytes as received.
    Bytes {
        /// The device's name.
        device: String,
        /// The bytes.
        data: Vec<u8>,
    },
    /// Bytes were lost, or the link was.
    Gap {
        /// The device's name.
        device: String,
    },
    /// An event for the round itself: arming, hold points, answers, rules, time.
    Round(round::Event),
}

/// An output.
#[derive(Clone, Debug, PartialEq)]
pub enum Output {
    /// A device sent a reading.
    Reading {
        /// The device's name.
        device: String,
        /// The reading.
        reading: Reading,
    },
    /// Bytes of a device were dropped.
    Dropped {
        /// The device's name.
        device: String,
        /// Why, and how many.
        fault: Fault,
    },
    /// A typed line was rejected.
    NotTyped {
        /// The device's name.
        device: String,
        /// Why.
        fault: ManualFault,
    },
    /// An output of the round.
    Round(round::Output),
}

/// An output with its time.
#[derive(Clone, Debug, PartialEq)]
pub struct Stamped {
    /// When.
    pub at: Instant,
    /// What.
    pub output: Output,
}

/// The decoders and the round.
pub struct Pipeline {
    devices: BTreeMap<String, Device>,
    /// The first manual-entry device with a known meter: values that come from no device are assumed to be read off
    /// that meter.
    typed_by: Option<String>,
    round: Round,
}

impl Pipeline {
    /// A pipeline without devices.
    #[must_use]
    pub fn new(rules: RuleSet, settings: Settings) -> Self {
        Self { devices: BTreeMap::new(), typed_by: None, round: Round::new(rules, settings) }
    }

    /// The same, with a route.
    #[must_use]
    pub fn on(self, route: Route) -> Self {
        Self { round: self.round.on(route), ..self }
    }

    /// The round, for inspection.
    #[must_use]
    pub fn round(&self) -> &Round {
        &self.round
    }

    /// The devices by name, for inspection.
    pub fn devices(&self) -> impl Iterator<Item = (&str, &Device)> {
        self.devices.iter().map(|(name, device)| (name.as_str(), device))
    }

    /// When something is due even without another event.
    #[must_use]
    pub fn poll_at(&self) -> Option<Instant> {
        self.round.poll_at()
    }

    /// Processes one event at `now`, which must not go backwards.
    pub fn step(&mut self, event: Event, now: Instant) -> Vec<Stamped> {
        let mut out = Vec::new();
        match event {
            Event::Joined { device, kind } => {
                let joined = Device::new(kind);
                if joined.read_off().is_some() && self.typed_by.is_none() {
                    self.typed_by = Some(device.clone());
                }
                let known = self.devices.insert(device.clone(), joined).is_some();
                if known {
                    self.round_step(round::Event::Gap { device: device.clone() }, now, &mut out);
                    self.round_step(round::Event::Rejoined { device }, now, &mut out);
                }
            }
            Event::Bytes { device, data } => self.bytes(&device, &data, now, &mut out),
            Event::Gap { device } => {
                if let Some(known) = self.devices.get_mut(&device) {
                    known.gap(now);
                }
                self.round_step(round::Event::Gap { device }, now, &mut out);
            }
            Event::Round(event) => {
                let event = self.with_accuracy(self.typed_by.as_deref(), event);
                self.round_step(event, now, &mut out);
            }
        }
        out
    }

    /// Gives a typed value without its own accuracy that of the meter it was read from, after filling in the unit and
    /// AC or DC.
    fn with_accuracy(&self, device: Option<&str>, event: round::Event) -> round::Event {
        let round::Event::Act { act: Act::Type { point, value: Display::Value(value), accuracy: None }, by } =
            event
        else {
            return event;
        };
        let profile = device.and_then(|name| self.devices.get(name)?.read_off());
        let accuracy =
            profile.and_then(|profile| typed_accuracy(profile, &self.round.completed(&point, value)));
        round::Event::Act { act: Act::Type { point, value: Display::Value(value), accuracy }, by }
    }

    fn bytes(&mut self, device: &str, data: &[u8], now: Instant, out: &mut Vec<Stamped>) {
        let Some(known) = self.devices.get_mut(device) else { return };
        for item in known.bytes(now, data) {
            let name = String::from(device);
            match item {
                device::Item::Reading(reading) => {
                    out.push(Stamped { at: now, output: Output::Reading { device: name.clone(), reading } });
                    self.round_step(round::Event::Reading { device: name, reading }, now, out);
                }
                device::Item::Dropped(fault) => {
                    out.push(Stamped { at: now, output: Output::Dropped { device: name, fault } });
                }
                device::Item::Typed(act) => {
                    let event = round::Event::Act { act, by: By::Device(name) };
                    let event = self.with_accuracy(Some(device), event);
                    self.round_step(event, now, out);
                }
                device::Item::NotTyped(fault) => {
                    out.push(Stamped { at: now, output: Output::NotTyped { device: name, fault } });
                }
            }
        }
        let asked = self.round.question().map(|(number, _)| number);
        if let Some(known) = self.devices.get_mut(device) {
            known.chunk_ends(asked);
        }
    }

    fn round_step(&mut self, event: round::Event, now: Instant, out: &mut Vec<Stamped>) {
        let stamped = self.round.step(event, now);
        out.extend(stamped.into_iter().map(|s| Stamped { at: s.at, output: Output::Round(s.output) }));
    }
}

/// A device's profile, for [`DeviceKind::Meter`].
#[must_use]
pub fn meter(profile: Profile) -> DeviceKind {
    DeviceKind::Meter(alloc::boxed::Box::new(profile))
}

#[cfg(test)]
mod tests;
