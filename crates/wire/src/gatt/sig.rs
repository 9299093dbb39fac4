//! Characteristics that the Bluetooth SIG defines, by a table. Does not hold those of several numbers (statistics,
//! thermometer) or of text.
//!
//! Source of every row: GATT Specification Supplement, the characteristic of that name ("Represented values", allowed
//! range, special values); unit UUIDs from Assigned Numbers. High Voltage prints b = 6 beside "a resolution of 1/64 V";
//! its stated maximum 262143.97 V fits 1/64 V only, so b = -6 here.

use quantity::{Decimal, State, Unit};

use super::raw::{OR_LESS, OR_MORE, Raw, Scale, Wire, shifted};
use super::units::sig_unit;
use super::{GattError, Got, Measured, ValidRange};

/// A characteristic of one number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Characteristic {
    /// Its UUID.
    pub uuid: u16,
    /// Its name.
    pub name: &'static str,
    /// How it is stored.
    pub wire: Wire,
    /// The value of one count; unused for SFLOAT, which carries its own scale.
    pub scale: Scale,
    /// Least and greatest raw value allowed, without special values.
    allowed: (i64, i64),
    /// Raw values from, to, and the state they denote.
    special: &'static [(i64, i64, State)],
    /// Unit UUID.
    pub unit: u16,
    /// The unit, if the characteristic is more specific than its unit UUID (percent of relative humidity).
    pub means: Option<Unit>,
}

const U8: Wire = Wire::Unsigned(8);
const U16: Wire = Wire::Unsigned(16);
const U24: Wire = Wire::Unsigned(24);
const U32: Wire = Wire::Unsigned(32);
const S8: Wire = Wire::Signed(8);
const S16: Wire = Wire::Signed(16);
const S32: Wire = Wire::Signed(32);
const NONE: State = State::NoValue;
const SIXTY_FOURTH: Scale = Scale { times: 1, ten: 0, two: -6 };
const HALF: Scale = Scale { times: 1, ten: 0, two: -1 };
const NOT_KNOWN_16: &[(i64, i64, State)] = &[(0xFFFF, 0xFFFF, NONE)];
const NOT_KNOWN_24: &[(i64, i64, State)] = &[(0xFF_FFFF, 0xFF_FFFF, NONE)];
const NOT_VALID_OR_KNOWN_24: &[(i64, i64, State)] = &[(0xFF_FFFE, 0xFF_FFFF, NONE)];
const NOT_KNOWN_S32: &[(i64, i64, State)] = &[(0x7FFF_FFFF, 0x7FFF_FFFF, NONE)];

macro_rules! rows {
    ($($uuid:literal $name:literal, $wire:expr, $scale:expr, $least:literal..=$most:literal, $special:expr, $unit:literal $(= $means:ident)?;)*) => {
        /// Every characteristic of one number that is decoded by definition.
        pub const TABLE: &[Characteristic] = &[$(Characteristic {
            uuid: $uuid, name: $name, wire: $wire, scale: $scale, allowed: ($least, $most), special: $special,
            unit: $unit, means: rows!(@ $($means)?),
        }),*];
    };
    (@) => { None };
    (@ $means:ident) => { Some(Unit::$means) };
}

rows! {
    0x2A19 "Battery Level", U8, Scale::tenth(0), 0..=100, &[], 0x27AD = PERCENT;
    0x2A6D "Pressure", U32, Scale::tenth(-1), 0..=0xFFFF_FFFF, &[], 0x2724;
    0x2A6E "Temperature", S16, Scale::tenth(-2), -27315..=32767, &[(-0x8000, -0x8000, NONE)], 0x272F;
    0x2A6F "Humidity", U16, Scale::tenth(-2), 0..=10000, NOT_KNOWN_16, 0x27AD = PERCENT_RH;
    0x2A70 "True Wind Speed", U16, Scale::tenth(-2), 0..=0xFFFF, &[], 0x2712;
    0x2A72 "Apparent Wind Speed", U16, Scale::tenth(-2), 0..=0xFFFF, &[], 0x2712;
    0x2A7B "Dew Point", S8, Scale::tenth(0), -128..=127, &[], 0x272F;
    0x2AEE "Electric Current", U16, Scale::tenth(-2), 0..=65534, NOT_KNOWN_16, 0x2704;
    0x2AF2 "Energy", U24, Scale::tenth(0), 0..=16777214, NOT_KNOWN_24, 0x27AB;
    0x2B02 "Mass Flow", U16, Scale::tenth(0), 0..=65534, NOT_KNOWN_16, 0x27C1;
    0x2B05 "Power", U24, Scale::tenth(-1), 0..=16777213, NOT_VALID_OR_KNOWN_24, 0x2726;
    0x2B0D "Temperature 8", S8, HALF, -128..=126, &[(0x7F, 0x7F, NONE)], 0x272F;
    // "The minimum representable value represents the minimum value or lower, the maximum representable value
    // represents the maximum value or higher": 0 V may be any negative voltage, and 1022 V and above any higher one, so
    // neither end is a number. A dead conductor is not shown by this characteristic.
    0x2B18 "Voltage", U16, SIXTY_FOURTH, 1..=65407,
        &[(0, 0, OR_LESS), (65408, 0xFFFE, OR_MORE), (0xFFFF, 0xFFFF, NONE)], 0x2728;
    0x2B1B "Volume Flow", U16, Scale::tenth(-3), 0..=65534, NOT_KNOWN_16, 0x27C2;
    0x2B8A "Apparent Power", U24, Scale::tenth(-1), 0..=16777213, NOT_VALID_OR_KNOWN_24, 0x27C8;
    0x2B8C "CO2 Concentration", U16, Scale::tenth(0), 0..=65533,
        &[(0xFFFE, 0xFFFE, OR_MORE), (0xFFFF, 0xFFFF, NONE)], 0x27C4;
    0x2BA8 "Energy 32", U32, Scale::tenth(-3), 0..=4294967293,
        &[(0xFFFF_FFFE, 0xFFFF_FFFF, NONE)], 0x27AB;
    0x2BD0 "Carbon Monoxide Concentration", Wire::Sfloat, Scale::tenth(0), 0..=0, &[], 0x2715;
    0x2BDF "High Temperature", S16, HALF, -546..=32767, &[(-0x8000, -0x7FFF, NONE)], 0x272F;
    0x2BE0 "High Voltage", U24, SIXTY_FOURTH, 0..=16777214, NOT_KNOWN_24, 0x2728;
    // 0 says that the supply is dc: it has no frequency.
    0x2BE8 "Voltage Frequency", U16, Scale::tenth(0), 1..=65533, &[(0, 0, NONE), (0xFFFE, 0xFFFF, NONE)], 0x2722;
    0x2C07 "Force", S32, Scale::tenth(-3), -2147483648..=2147483646, NOT_KNOWN_S32, 0x2723;
    0x2C09 "Rotational Speed", S32, Scale::tenth(0), -2147483648..=2147483646, NOT_KNOWN_S32, 0x27A8;
    0x2C0B "Torque", S32, Scale::tenth(-2), -2147483648..=2147483646, NOT_KNOWN_S32, 0x2741;
}

impl Characteristic {
    /// The row with this UUID.
    #[must_use]
    pub fn find(uuid: u16) -> Option<&'static Self> {
        TABLE.iter().find(|row| row.uuid == uuid)
    }

    /// The digits in the SIG's unit, or the state. Also for rows whose quantity is not measured here.
    ///
    /// # Errors
    /// [`GattError::Length`], [`GattError::Prohibited`], [`GattError::TooManyDigits`].
    pub fn digits(&self, bytes: &[u8]) -> Got<State> {
        let whole = match self.wire.read(bytes)? {
            Raw::Whole(whole) => whole,
            Raw::Digits(digits) => return Ok(State::Value(digits)),
            Raw::State(state) => return Ok(state),
        };
        let within = |from: i64, to: i64| (i128::from(from)..=i128::from(to)).contains(&whole);
        if let Some((_, _, state)) = self.special.iter().find(|(from, to, _)| within(*from, *to)) {
            return Ok(*state);
        }
        if !within(self.allowed.0, self.allowed.1) {
            return Err(GattError::Prohibited);
        }
        self.scale.digits(whole).map(State::Value)
    }

    /// The value in `told`, otherwise in the unit of the characteristic.
    ///
    /// # Errors
    /// [`GattError`].
    pub fn measure(&self, bytes: &[u8], told: Option<Unit>, range: Option<&ValidRange>) -> Got<Measured> {
        let (unit, power) = self.unit(told)?;
        let state = self.digits(bytes)?;
        finish(state, unit, power, range, self.scale.accuracy(unit, power))
    }

    fn unit(&self, told: Option<Unit>) -> Got<(Unit, i8)> {
        if let (Some(means), Some(told)) = (self.means, told)
            && means.kind() != told.kind()
        {
            return Err(GattError::UnitContradicts { device: self.unit, profile: told });
        }
        sig_unit(self.unit)?.resolve(told.or(self.means))
    }

    /// Digits of one end of a valid range; a special value cannot be an end.
    pub(super) fn end(&self, bytes: &[u8]) -> Got<Decimal> {
        match self.digits(bytes) {
            Ok(State::Value(end)) => Ok(end),
            _ => Err(GattError::RangeBroken),
        }
    }
}

/// Validates a number against the valid range, converts it to its unit and rejects impossible values.
pub(super) fn finish(
    state: State,
    unit: Unit,
    power: i8,
    range: Option<&ValidRange>,
    accuracy: Option<quantity::Accuracy>,
) -> Got<Measured> {
    let State::Value(digits) = state else { return Measured::checked(unit, state, None) };
    if range.is_some_and(|range| !range.contains(digits)) {
        return Err(GattError::OutsideRange);
    }
    Measured::checked(unit, State::Value(shifted(digits, power)?), accuracy)
}
