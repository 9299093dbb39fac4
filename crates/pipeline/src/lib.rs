//! The way of the data in one place: bytes -> readings -> round -> outputs, for every device at once.
//!
//! [`Pipeline::step`] is the one function that the daemon, the replay, the rule tests and a microcontroller drive. It
//! owns a decoder per device and the round; equal events at equal times give equal outputs.
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

/// What can happen.
#[derive(Clone, Debug)]
pub enum Event {
    /// A device joins, or joins anew with another profile; its decoder starts fresh.
    Joined {
        /// Its name, unique.
        device: String,
        /// How its bytes are read.
        kind: DeviceKind,
    },
    /// Bytes as received.
    Bytes {
        /// The device's name.
        device: String,
        /// The bytes.
        data: Vec<u8>,
    },
    /// Bytes were lost, or the link went.
    Gap {
        /// The device's name.
        device: String,
    },
    /// Anything the round itself takes: arming, hold points, answers, rules, time.
    Round(round::Event),
}

/// What comes out.
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
    /// A typed line was not taken.
    NotTyped {
        /// The device's name.
        device: String,
        /// Why.
        fault: ManualFault,
    },
    /// The round says something.
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

/// Decoders and round together.
pub struct Pipeline {
    devices: BTreeMap<String, Device>,
    /// The first device of typed entry whose meter is known: values that come from no device are read off that meter.
    typed_by: Option<String>,
    round: Round,
}

impl Pipeline {
    /// A pipeline without devices.
    #[must_use]
    pub fn new(rules: RuleSet, settings: Settings) -> Self {
        Self { devices: BTreeMap::new(), typed_by: None, round: Round::new(rules, settings) }
    }

    /// The same, with a route to go.
    #[must_use]
    pub fn on(self, route: Route) -> Self {
        Self { round: self.round.on(route), ..self }
    }

    /// The round, to be looked at.
    #[must_use]
    pub fn round(&self) -> &Round {
        &self.round
    }

    /// The devices by name, to be looked at.
    pub fn devices(&self) -> impl Iterator<Item = (&str, &Device)> {
        self.devices.iter().map(|(name, device)| (name.as_str(), device))
    }

    /// When something is due without a further event.
    #[must_use]
    pub fn poll_at(&self) -> Option<Instant> {
        self.round.poll_at()
    }

    /// Takes one event at `now`, which must not go backwards.
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
                    self.round_step(round::Event::Gap { device }, now, &mut out);
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

    /// A typed value without an accuracy of its own gets that of the meter it was read off, whatever of its unit and ac or
    /// dc was left out.
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
