//! Bluetooth GATT values -> unit and digits or state: characteristics that the Bluetooth SIG defines by its own
//! table, anything else by its Presentation Format descriptor (0x2904). All functions are pure. Does not use a radio,
//! find services, or assign a reading its time and channel.
//!
//! Sources: Bluetooth SIG Assigned Numbers (units, format types, namespace) and GATT Specification Supplement
//! (structure and special values of characteristics); IEEE 11073-20601 for FLOAT and SFLOAT.
//!
//! # Digits
//! Digits are scaled by exact powers of ten, so a raw 2149 at 0.01 is 21.49 and nothing else. If one raw step is not
//! a power of ten (1/64 V, 0.5 degC), the value is rounded to the first decimal place finer than the step: 1/64 V
//! shows hundredths, so that no two raw values look alike. A hundredth is finer than the resolution on the wire;
//! [`Measured::accuracy`] therefore includes half a step as a fixed term, and the standard uncertainty is never
//! better than the wire allows.
//!
//! # Unit
//! A SIG unit may be ambiguous (pascal: gauge, absolute or a difference?). The caller must then state the unit;
//! nothing is guessed. If the caller's unit contradicts the device's, that is an error.

mod descriptor;
mod error;
pub mod packet;
mod presentation;
mod range;
mod raw;
mod sig;
mod statistics;
mod thermometer;
mod units;
mod uuid;

use quantity::{Accuracy, Flags, State, Unit};

pub use descriptor::text;
pub use error::GattError;
pub use presentation::{Format, Position, Presentation};
pub use range::ValidRange;
pub use raw::{Scale, Wire};
pub use sig::{Characteristic, TABLE};
pub use statistics::{Span, Statistics, average, statistics};
pub use thermometer::{Stamp, Thermometer, thermometer};
pub use units::{SigUnit, sig_unit, validate_unit};
pub use uuid::Uuid;

type Got<T> = Result<T, GattError>;

/// One value of one characteristic.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The unit of the digits.
    pub unit: Unit,
    /// The digits, or a state that is not a number.
    pub state: State,
    /// `min_max` for an average, minimum or maximum; otherwise none: GATT has no bit for hold or low battery.
    pub flags: Flags,
    /// Half a step of the wire format, if the last digit is finer than the step; the profile's statement overrides
    /// it.
    pub accuracy: Option<Accuracy>,
}

impl Measured {
    /// Rejects a number that is impossible in its unit.
    fn checked(unit: Unit, state: State, accuracy: Option<Accuracy>) -> Got<Self> {
        match state {
            State::Value(number) if !unit.is_possible(number) => Err(GattError::Impossible),
            _ => Ok(Self { unit, state, flags: Flags::default(), accuracy }),
        }
    }

    fn stored(self) -> Self {
        Self { flags: Flags { min_max: true, ..self.flags }, ..self }
    }
}

/// Decodes a value: by the table if the SIG defines the characteristic, otherwise by its presentation format.
///
/// `told` is the unit stated by a profile, which is then the unit of the digits; `range` comes from
/// [`ValidRange::parse`].
///
/// # Errors
/// [`GattError`]: neither in the table nor described, a wrong length, a prohibited value, a unit that is ambiguous or
/// contradictory (profile against device, or table against descriptor), a value outside its valid range.
pub fn measure(
    uuid: Option<u16>,
    presentation: Option<&Presentation>,
    bytes: &[u8],
    told: Option<Unit>,
    range: Option<&ValidRange>,
) -> Got<Measured> {
    match (uuid.and_then(|uuid| TABLE.iter().find(|row| row.uuid == uuid)), presentation) {
        (Some(row), Some(presentation)) if presentation.unit != row.unit => {
            Err(GattError::TableContradicts { table: row.unit, descriptor: presentation.unit })
        }
        (Some(row), _) => row.measure(bytes, told, range),
        (None, Some(presentation)) => presentation.measure(bytes, told, range),
        (None, None) => Err(GattError::NotDescribed),
    }
}

#[cfg(test)]
mod tests;
