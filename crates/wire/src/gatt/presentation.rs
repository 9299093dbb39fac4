//! The Characteristic Presentation Format descriptor (0x2904): seven bytes that describe a characteristic's value. It
//! cannot express powers of two, "not known", AC or DC, hold or overload; a device that has those needs a profile.
//!
//! Source: Bluetooth Core Specification, Vol 3 Part G, 3.3.3.5; format types and namespace from Assigned Numbers.

use quantity::{Decimal, State, Unit};

use super::raw::{Raw, Scale, Wire, validate_length};
use super::sig::finish;
use super::units::sig_unit;
use super::{GattError, Got, Measured, ValidRange};

/// A format of one number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Format {
    /// Its code, 0x01 to 0x17.
    pub code: u8,
    /// How the number is stored.
    pub wire: Wire,
}

impl Format {
    /// The format with this code.
    ///
    /// # Errors
    /// [`GattError::NotANumber`] for pairs, text and structures (0x18 to 0x1C), [`GattError::FormatReserved`] for the
    /// rest.
    pub const fn from_code(code: u8) -> Got<Self> {
        let wire = match code {
            0x01 => Wire::Unsigned(1),
            0x02 => Wire::Unsigned(2),
            0x03 => Wire::Unsigned(4),
            0x04 => Wire::Unsigned(8),
            0x05 => Wire::Unsigned(12),
            0x06 => Wire::Unsigned(16),
            0x07 => Wire::Unsigned(24),
            0x08 => Wire::Unsigned(32),
            0x09 => Wire::Unsigned(48),
            0x0A => Wire::Unsigned(64),
            0x0B => Wire::Unsigned(128),
            0x0C => Wire::Signed(8),
            0x0D => Wire::Signed(12),
            0x0E => Wire::Signed(16),
            0x0F => Wire::Signed(24),
            0x10 => Wire::Signed(32),
            0x11 => Wire::Signed(48),
            0x12 => Wire::Signed(64),
            0x13 => Wire::Signed(128),
            0x14 => Wire::Float32,
            0x15 => Wire::Float64,
            0x16 => Wire::Sfloat,
            0x17 => Wire::Float,
            0x18..=0x1C => return Err(GattError::NotANumber(code)),
            _ => return Err(GattError::FormatReserved(code)),
        };
        Ok(Self { code, wire })
    }

    /// The exponent applies only to integers of 8 bits and more.
    const fn has_exponent(self) -> bool {
        matches!(self.code, 0x04..=0x13)
    }
}

/// Which of several similar characteristics it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Position {
    /// Not specified.
    Unknown,
    /// First, second and so on: 1 to 255.
    Nth(u8),
    /// A word: `left`, `inside`.
    Named(&'static str),
    /// A description outside the SIG's namespace, or one it does not list: namespace and description.
    Other(u8, u16),
}

/// Names from 0x0100 on.
const NAMES: [&str; 17] = [
    "front",
    "back",
    "top",
    "bottom",
    "upper",
    "lower",
    "main",
    "backup",
    "auxiliary",
    "supplementary",
    "flash",
    "inside",
    "outside",
    "left",
    "right",
    "internal",
    "external",
];

/// A parsed 0x2904 descriptor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Presentation {
    /// How the number is stored.
    pub format: Format,
    /// Power of ten of an integer; ignored for other formats.
    pub exponent: i8,
    /// Unit UUID.
    pub unit: u16,
    /// Which of several similar characteristics it is.
    pub position: Position,
}

impl Presentation {
    /// Parses the descriptor.
    ///
    /// # Errors
    /// [`GattError::Length`] unless it has seven bytes; as for [`Format::from_code`].
    pub fn parse(bytes: &[u8]) -> Got<Self> {
        let [format, exponent, unit_low, unit_high, namespace, low, high] = *bytes else {
            return Err(validate_length(bytes, 7).err().unwrap_or(GattError::NotDescribed));
        };
        Ok(Self {
            format: Format::from_code(format)?,
            exponent: exponent.cast_signed(),
            unit: u16::from_le_bytes([unit_low, unit_high]),
            position: position(namespace, u16::from_le_bytes([low, high])),
        })
    }

    /// The value in `told`, otherwise in the unit of the descriptor.
    ///
    /// # Errors
    /// [`GattError`].
    pub fn measure(&self, bytes: &[u8], told: Option<Unit>, range: Option<&ValidRange>) -> Got<Measured> {
        let (unit, power) = sig_unit(self.unit)?.resolve(told)?;
        finish(self.digits(bytes)?, unit, power, range, None)
    }

    /// The digits in the SIG's unit, or the state.
    ///
    /// # Errors
    /// [`GattError::Length`], [`GattError::Padding`], [`GattError::TooManyDigits`].
    pub fn digits(&self, bytes: &[u8]) -> Got<State> {
        match self.format.wire.read(bytes)? {
            Raw::Whole(whole) => self.scale().digits(whole).map(State::Value),
            Raw::Digits(digits) => Ok(State::Value(digits)),
            Raw::State(state) => Ok(state),
        }
    }

    fn scale(&self) -> Scale {
        Scale::tenth(if self.format.has_exponent() { self.exponent } else { 0 })
    }

    /// Digits of one end of a valid range; a reserved pattern cannot be an end.
    pub(super) fn end(&self, bytes: &[u8]) -> Got<Decimal> {
        match self.digits(bytes) {
            Ok(State::Value(end)) => Ok(end),
            _ => Err(GattError::RangeBroken),
        }
    }
}

fn position(namespace: u8, description: u16) -> Position {
    if description == 0 {
        return Position::Unknown;
    }
    if namespace != 1 {
        return Position::Other(namespace, description);
    }
    if let Ok(nth) = u8::try_from(description) {
        return Position::Nth(nth);
    }
    let name = description.checked_sub(0x0100).and_then(|at| NAMES.get(usize::from(at)));
    name.map_or(Position::Other(namespace, description), |name| Position::Named(name))
}
