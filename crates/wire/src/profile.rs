//! Device profiles: how a class of device frames its bytes and what the frames mean. Does not parse the text of a
//! profile (`load` does, behind the feature `toml`) and does not touch the bytes of a stream.

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

/// Describes a class of device: how it frames its bytes and what the frames mean.
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
    /// Short name: lower-case letters, digits and hyphens.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// A description for people; may be empty.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The source is stale after this long without a byte (default 3 s).
    #[must_use]
    pub const fn silence(&self) -> Duration {
        self.silence
    }

    /// How many frames, the reading's own included, must agree. Default 2; 1 if two bytes of checksum cover all
    /// fields or a fixed-width line carries a checksum; 3 for a loose pattern without a checksum.
    #[must_use]
    pub const fn agree(&self) -> u8 {
        self.agree
    }

    /// Why readings are accepted.
    #[must_use]
    pub fn evidence(&self) -> Evidence {
        match (is_checked(&self.frame, &self.decode), self.agree) {
            (true, 1) => Evidence::Checksum,
            (true, frames) => Evidence::ChecksumAndAgreement { frames },
            (false, frames) => Evidence::Agreement { frames },
        }
    }

    /// How the device is usually connected, if the profile says so.
    #[must_use]
    pub const fn link(&self) -> Option<&LinkHints> {
        self.link.as_ref()
    }

    /// The most bytes that a decoder of this profile buffers: one frame, plus a second one where two ways to cut the
    /// bytes are compared.
    #[must_use]
    pub fn frame_bytes_max(&self) -> usize {
        self.frame.held_max()
    }

    /// The stated accuracy for a value shown in `unit`: the first row for its quantity whose range includes the
    /// value. A value above every row gets the last row, the widest statement there is.
    #[must_use]
    pub fn accuracy(&self, unit: Unit, coupling: Option<Coupling>, value: f64) -> Option<Accuracy> {
        accuracy::find(&self.accuracy, unit, coupling, value)
    }

    /// As [`Profile::accuracy`], for digits that a person read off the display. If the row states the display's step
    /// and the digits are coarser, the accuracy uses their step as the size of one count: 7.4 read off a display with
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

    /// How fast the device follows the measured value, for a value shown in `unit`: from the row of its range,
    /// otherwise from the profile's general setting.
    #[must_use]
    pub fn timing(&self, unit: Unit, coupling: Option<Coupling>, value: f64) -> Timing {
        let row = accuracy::timing(&self.accuracy, unit, coupling, value);
        Timing { conversion_s: row.conversion_s.or(self.conversion_s), ..row }
    }

    /// Lowers agreement below what a profile may ask for, to measure its effect.
    #[cfg(test)]
    pub(crate) fn with_agree(self, agree: u8) -> Self {
        Self { agree, ..self }
    }

    /// Omits the marker where the loader would insist on it, to measure its effect.
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

    /// A poller for a device that speaks only when asked; `None` if the profile has no `[poll]`.
    ///
    /// `seed` is the first marker number. Pass a different one at each start of the program, so that replies left
    /// over from an earlier run are recognised.
    #[must_use]
    pub fn poller(&self, seed: u16) -> Option<Poller> {
        let bits_per_second = self.link.as_ref().map_or(9_600, |hints| hints.baud);
        Some(Poller::new(self.protocol.as_ref()?, bits_per_second, seed))
    }

    /// Whether the device speaks only when asked and so needs a [`Poller`].
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
        Reading {
            at,
            seq,
            channel,
            display: quantity::DisplayUnit { unit, coupling },
            state,
            flags,
            accuracy,
            timing,
        }
    }
}

/// Whether a checksum made by the device covers its frames. A packet's checksum is ours, and a text reply has none.
fn is_checked(frame: &Framing, decode: &Decode) -> bool {
    frame.has_checksum() && !matches!(decode, Decode::Scpi(_))
}
