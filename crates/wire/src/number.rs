//! Numbers as a frame stores them and as the display shows them. Does not know what they measure.

use quantity::Decimal;

use crate::counters::Field;

/// How a number is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NumberType {
    /// An integer of 1 to 4 bytes, two's complement if `signed`.
    Integer { bytes: usize, signed: bool, big_endian: bool },
    /// IEEE 754 single.
    Float { big_endian: bool },
}

impl NumberType {
    /// Names as a profile writes them.
    pub(crate) const WORDS: [(&'static str, Self); 16] = [
        ("u8", Self::integer(1, false, false)),
        ("i8", Self::integer(1, true, false)),
        ("u16le", Self::integer(2, false, false)),
        ("u16be", Self::integer(2, false, true)),
        ("i16le", Self::integer(2, true, false)),
        ("i16be", Self::integer(2, true, true)),
        ("u24le", Self::integer(3, false, false)),
        ("u24be", Self::integer(3, false, true)),
        ("i24le", Self::integer(3, true, false)),
        ("i24be", Self::integer(3, true, true)),
        ("u32le", Self::integer(4, false, false)),
        ("u32be", Self::integer(4, false, true)),
        ("i32le", Self::integer(4, true, false)),
        ("i32be", Self::integer(4, true, true)),
        ("f32le", Self::Float { big_endian: false }),
        ("f32be", Self::Float { big_endian: true }),
    ];

    const fn integer(bytes: usize, signed: bool, big_endian: bool) -> Self {
        Self::Integer { bytes, signed, big_endian }
    }

    pub(crate) const fn width(self) -> usize {
        match self {
            Self::Integer { bytes, .. } => bytes,
            Self::Float { .. } => 4,
        }
    }
}

/// A number at a position in the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Number {
    pub(crate) at: usize,
    pub(crate) kind: NumberType,
}

impl Number {
    fn slice(self, frame: &[u8]) -> Option<&[u8]> {
        frame.get(self.at..self.at.checked_add(self.kind.width())?)
    }

    /// The integer; `None` for a float or a frame too short.
    pub(crate) fn integer(self, frame: &[u8]) -> Option<i64> {
        let NumberType::Integer { bytes, signed, big_endian } = self.kind else { return None };
        let slice = self.slice(frame)?;
        let push = |value: i64, byte: &u8| (value << 8) | i64::from(*byte);
        let raw = if big_endian { slice.iter().fold(0, push) } else { slice.iter().rev().fold(0, push) };
        let span = 1_i64 << (8 * bytes);
        Some(if signed && raw >= span / 2 { raw - span } else { raw })
    }

    pub(crate) fn float(self, frame: &[u8]) -> Option<f64> {
        let NumberType::Float { big_endian } = self.kind else { return None };
        let bytes: [u8; 4] = self.slice(frame)?.try_into().ok()?;
        let value = if big_endian { f32::from_be_bytes(bytes) } else { f32::from_le_bytes(bytes) };
        Some(f64::from(value))
    }
}

/// The number as digits of the display.
pub(crate) enum Counts {
    Whole(i64),
    /// IEEE not-a-number: no value.
    None,
    /// IEEE infinity: overload.
    Infinite {
        negative: bool,
    },
}

/// A float rounded to the displayed digits.
#[allow(clippy::cast_possible_truncation)] // bounded two lines above
pub(crate) fn counts_of_float(value: f64, exponent: i8) -> Result<Counts, Field> {
    if value.is_nan() {
        return Ok(Counts::None);
    }
    if value.is_infinite() {
        return Ok(Counts::Infinite { negative: value < 0.0 });
    }
    let one = Decimal::new(1, exponent).ok_or(Field::Exponent)?;
    let counts = libm::round(value / one.to_f64());
    if libm::fabs(counts) > 1e15 {
        return Err(Field::Value);
    }
    Ok(Counts::Whole(counts as i64))
}
