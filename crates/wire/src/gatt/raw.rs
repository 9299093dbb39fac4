//! Raw numbers as GATT sends them, little endian, and their exact scaling to digits. Does not know units or
//! characteristics.
//!
//! FLOAT and SFLOAT are those of IEEE 11073-20601: a mantissa (24 or 12 bits) times ten to an exponent (8 or 4 bits).
//! Their reserved patterns have exponent 0 and are states, never numbers: NaN, NRes (not at this resolution) and the one
//! reserved for later give no value, the infinities overload.

use alloc::format;

use quantity::{Accuracy, Decimal, Sign, State, Unit};

use super::{GattError, Got};

/// How a number is stored, little endian.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wire {
    /// Unsigned integer of this many bits, 1 to 128, in whole bytes.
    Unsigned(u8),
    /// Two's complement integer of this many bits, 2 to 128, in whole bytes.
    Signed(u8),
    /// IEEE 754 single.
    Float32,
    /// IEEE 754 double.
    Float64,
    /// IEEE 11073-20601 SFLOAT, 16 bits (`medfloat16`).
    Sfloat,
    /// IEEE 11073-20601 FLOAT, 32 bits (`medfloat32`).
    Float,
}

/// The stored number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Raw {
    /// An integer, not yet scaled.
    Whole(i128),
    /// A number that carries its own scale.
    Digits(Decimal),
    /// A reserved pattern.
    State(State),
}

impl Wire {
    /// Its number of bytes.
    #[must_use]
    pub const fn width(self) -> usize {
        match self {
            Self::Unsigned(bits) | Self::Signed(bits) => (bits as usize).div_ceil(8),
            Self::Sfloat => 2,
            Self::Float32 | Self::Float => 4,
            Self::Float64 => 8,
        }
    }

    /// Reads one number that fills `bytes`.
    pub(super) fn read(self, bytes: &[u8]) -> Got<Raw> {
        validate_length(bytes, self.width())?;
        let pattern = bytes.iter().rev().fold(0_u128, |sum, byte| (sum << 8) | u128::from(*byte));
        match self {
            Self::Unsigned(bits) => unsigned(pattern, bits).map(Raw::Whole),
            Self::Signed(bits) => signed(pattern, bits).map(Raw::Whole),
            Self::Sfloat => {
                medical(i32::try_from(signed(pattern & 0xFFF, 12)?), signed(pattern >> 12, 4)?, 12)
            }
            Self::Float => {
                medical(i32::try_from(signed(pattern & 0xFF_FFFF, 24)?), signed(pattern >> 24, 8)?, 24)
            }
            Self::Float32 => {
                let bits = u32::try_from(pattern).map_err(|_| GattError::Padding)?;
                ieee(f64::from(f32::from_bits(bits)), 5)
            }
            Self::Float64 => {
                let bits = u64::try_from(pattern).map_err(|_| GattError::Padding)?;
                ieee(f64::from_bits(bits), 14)
            }
        }
    }
}

/// The required length of a value.
pub(super) fn validate_length(bytes: &[u8], want: usize) -> Got<()> {
    let short = |n: usize| u16::try_from(n).unwrap_or(u16::MAX);
    if bytes.len() == want {
        Ok(())
    } else {
        Err(GattError::Length { want: short(want), found: short(bytes.len()) })
    }
}

fn unsigned(pattern: u128, bits: u8) -> Got<i128> {
    if bits < 128 && pattern >> bits != 0 {
        return Err(GattError::Padding);
    }
    i128::try_from(pattern).map_err(|_| GattError::TooManyDigits)
}

/// Two's complement. Bits above the width are all 0 or copies of the sign.
fn signed(pattern: u128, bits: u8) -> Got<i128> {
    let shift = 128 - u32::from(bits.clamp(1, 128));
    let value = (pattern << shift).cast_signed() >> shift;
    let whole_bytes = 128 - (u32::from(bits).div_ceil(8) * 8).clamp(8, 128);
    let copied = (pattern << whole_bytes).cast_signed() >> whole_bytes;
    if (pattern << shift) >> shift == pattern || copied == value {
        Ok(value)
    } else {
        Err(GattError::Padding)
    }
}

/// A mantissa of `bits` bits times ten to `exponent`.
fn medical(mantissa: Result<i32, core::num::TryFromIntError>, exponent: i128, bits: u32) -> Got<Raw> {
    let mantissa = mantissa.map_err(|_| GattError::TooManyDigits)?;
    let top = 1_i32 << (bits - 1);
    if exponent == 0 {
        if mantissa == top - 2 || mantissa == 2 - top {
            return Ok(Raw::State(State::overload(mantissa < 0)));
        }
        if mantissa == top - 1 || mantissa <= 1 - top {
            return Ok(Raw::State(State::NoValue));
        }
    }
    decimal(i128::from(mantissa), exponent).map(Raw::Digits)
}

/// A binary float as `places` + 1 significant digits: 6 for single, 15 for double precision, which the format always
/// holds (FLT_DIG, DBL_DIG of ISO C). They express the resolution of the format, not of the meter; a zero counts as a
/// number below 10.
fn ieee(value: f64, places: usize) -> Got<Raw> {
    if value.is_nan() {
        return Ok(Raw::State(State::NoValue));
    }
    if value.is_infinite() {
        return Ok(Raw::State(State::overload(value < 0.0)));
    }
    let digits = Decimal::parse(&format!("{value:.places$e}")).map_err(|_| GattError::TooManyDigits)?;
    Ok(Raw::Digits(digits))
}

/// `mantissa` x 10^`exponent`; rejected if it is longer than any display.
pub(super) fn decimal(mantissa: i128, exponent: i128) -> Got<Decimal> {
    let mantissa = i64::try_from(mantissa).map_err(|_| GattError::TooManyDigits)?;
    let exponent = i8::try_from(exponent).map_err(|_| GattError::TooManyDigits)?;
    Decimal::new(mantissa, exponent).ok_or(GattError::TooManyDigits)
}

/// The same number with `places` added to its power of ten.
pub(super) fn shifted(number: Decimal, places: i8) -> Got<Decimal> {
    if places == 0 {
        return Ok(number);
    }
    decimal(i128::from(number.mantissa()), i128::from(number.exponent()) + i128::from(places))
}

/// The value of one count: `times` x 10^`ten` x 2^`two` (M, d and b of the GATT Specification Supplement).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scale {
    /// M, 1 or more.
    pub times: i16,
    /// d.
    pub ten: i8,
    /// b, -16 to 16.
    pub two: i8,
}

impl Scale {
    /// A power of ten.
    pub(super) const fn tenth(ten: i8) -> Self {
        Self { times: 1, ten, two: 0 }
    }

    /// Decimal places added so that the last digit is finer than a step of 2^`two`.
    fn places(self) -> u32 {
        let denominator = 1_i128 << u32::from(self.two.min(0).unsigned_abs()).min(16);
        (0..6).find(|places| 10_i128.pow(*places) >= denominator).unwrap_or(6)
    }

    /// The digits of a raw value; halves are rounded away from zero.
    pub(super) fn digits(self, raw: i128) -> Got<Decimal> {
        let places = self.places();
        let number = raw.checked_mul(i128::from(self.times)).ok_or(GattError::TooManyDigits)?;
        let scaled = number
            .checked_mul(10_i128.pow(places))
            .and_then(|n| n.checked_mul(1 << u32::from(self.two.max(0).unsigned_abs()).min(16)))
            .ok_or(GattError::TooManyDigits)?;
        let denominator = 1_i128 << u32::from(self.two.min(0).unsigned_abs()).min(16);
        let magnitude = (scaled.abs() + denominator / 2) / denominator;
        decimal(scaled.signum() * magnitude, i128::from(self.ten) - i128::from(places))
    }

    /// Half a step as a fixed term, if one step is not one last digit. `unit` x 10^`power` is the unit of the scale.
    pub(super) fn accuracy(self, unit: Unit, power: i8) -> Option<Accuracy> {
        if self.two == 0 && self.times == 1 {
            return None;
        }
        let ten = libm::exp10(f64::from(i16::from(self.ten) + i16::from(power)));
        let step = f64::from(self.times) * libm::exp2(f64::from(self.two)) * ten;
        Some(Accuracy { fixed: Some((step / 2.0, unit)), ..Accuracy::default() })
    }
}

/// More than the characteristic can express.
pub(super) const OR_MORE: State = State::Overload(Sign::Positive);
/// Less than the characteristic can express.
pub(super) const OR_LESS: State = State::Overload(Sign::Negative);
