//! Device profiles: how a class of device frames its bytes and what the frames mean. Does not read the text of one (`load` does,
//! behind the feature `toml`) and does not touch bytes of a stream.

mod accuracy;
mod link;
#[cfg(feature = "toml")]
mod load;

use alloc::string::String;
use alloc::vec::Vec;

use quantity::{Accuracy, Coupling, Decimal, Duration, Instant, Reading, State, Timing, Unit};

use crate::agree::Evidence;
use crate::decode::{Decode, Decoded};
use crate::frame::Framing;
use crate::poll::{Poller, Protocol};
use accuracy::AccuracyRow;
pub use link::{LinkHints, LinkKind, Parity, StopBits};

/// What describes a class of device: how its bytes are framed and what the frames mean.
#[derive(Clone, Debug)]
pub struct Profile {
    id: String,
    title: String,
    silence: Duration,
    conversion_s: Option<f64>,
    agree: u8,
    link: Option<LinkHints>,
    frame: Framing,
    decode: Decode,
    protocol: Option<Protocol>,
    accuracy: Vec<AccuracyRow>,
}

impl Profile {
    /// Short name: lower case letters, digits and hyphens.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// What the device is, for people; may be empty.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// After this long without a byte the source is stale (default 3 s).
    #[must_use]
    pub const fn silence(&self) -> Duration {
        self.silence
    }

    /// Frames that must bear a reading out, itself included. Default 2, but 1 where two bytes of checksum cover all
    /// fields or a fixed-width line carries one, and 3 for a loose pattern without.
    #[must_use]
    pub const fn agree(&self) -> u8 {
        self.agree
    }

    /// What bears a reading out.
    #[must_use]
    pub fn evidence(&self) -> Evidence {
        match (is_checked(&self.frame, &self.decode), self.agree) {
            (true, 1) => Evidence::Checksum,
            (true, frames) => Evidence::ChecksumAndAgreement { frames },
            (false, frames) => Evidence::Agreement { frames },
        }
    }

    /// How the device is usually reached, if the profile says so.
    #[must_use]
    pub const fn link(&self) -> Option<&LinkHints> {
        self.link.as_ref()
    }

    /// The most bytes a decoder of this profile holds: a frame, and the one beside it where two ways to cut are compared.
    #[must_use]
    pub fn frame_bytes_max(&self) -> usize {
        self.frame.held_max()
    }

    /// The stated accuracy for a value shown in `unit`: the first row of its quantity that reaches up to the value. A
    /// value above every row gets the last one, which is the widest statement there is, not none.
    #[must_use]
    pub fn accuracy(&self, unit: Unit, coupling: Option<Coupling>, value: f64) -> Option<Accuracy> {
        accuracy::find(&self.accuracy, unit, coupling, value)
    }

    /// As [`Profile::accuracy`], for digits that a person read off the display. Where the row says the display's step and
    /// the digits are coarser, the accuracy carries that step as the size of its counts: 7.4 read off a display with
    /// steps of 0.01.
    #[must_use]
    pub fn accuracy_read_off(
        &self,
        unit: Unit,
        coupling: Option<Coupling>,
        digits: Decimal,
    ) -> Option<Accuracy> {
        accuracy::find_read_off(&self.accuracy, unit, coupling, digits)
    }

    /// How fast the device follows what is measured, for a value shown in `unit`: as the row of its range says, else as the
    /// profile says for all of them.
    #[must_use]
    pub fn timing(&self, unit: Unit, coupling: Option<Coupling>, value: f64) -> Timing {
        let row = accuracy::timing(&self.accuracy, unit, coupling, value);
        Timing { conversion_s: row.conversion_s.or(self.conversion_s), ..row }
    }

    /// Less agreement than a profile may ask for, to measure what agreement is worth.
    #[cfg(test)]
    pub(crate) fn with_agree(self, agree: u8) -> Self {
        Self { agree, ..self }
    }

    /// Leaves the marker out where the loader would not, to measure what it is worth.
    #[cfg(test)]
    pub(crate) fn without_marker(&mut self) {
        let Some(Protocol::Rtu(settings)) = &mut self.protocol else { return };
        settings.marker = false;
    }

    pub(crate) const fn frame(&self) -> &Framing {
        &self.frame
    }

    pub(crate) const fn decode(&self) -> &Decode {
        &self.decode
    }

    /// A poller for a device that speaks when asked; `None`: the profile has no `[poll]`.
    ///
    /// `seed` sets where the markers' numbers begin. Take another one at each start of the program, so that what an
    /// earlier run left in the line is told apart.
    #[must_use]
    pub fn poller(&self, seed: u16) -> Option<Poller> {
        let bits_per_second = self.link.as_ref().map_or(9_600, |hints| hints.baud);
        Some(Poller::new(self.protocol.as_ref()?, bits_per_second, seed))
    }

    /// Whether the device speaks only when asked: then a [`Poller`] asks.
    #[must_use]
    pub const fn is_polled(&self) -> bool {
        self.protocol.is_some()
    }

    pub(crate) fn reading(&self, at: Instant, seq: u64, decoded: Decoded) -> Reading {
        let Decoded { channel, unit, coupling, state, flags, accuracy } = decoded;
        let accuracy = match state {
            State::Value(shown) => self.accuracy(unit, coupling, shown.to_f64()).or(accuracy),
            State::Overload(_) | State::NoValue => None,
        };
        let timing = match state {
            State::Value(shown) => self.timing(unit, coupling, shown.to_f64()),
            State::Overload(_) | State::NoValue => Timing::default(),
        };
        Reading { at, seq, channel, unit, coupling, state, flags, accuracy, timing }
    }
}

/// Whether a checksum of the device covers its frames. That of a packet is ours, and an answer in text has none.
fn is_checked(frame: &Framing, decode: &Decode) -> bool {
    frame.has_checksum() && !matches!(decode, Decode::Answers(_))
}
