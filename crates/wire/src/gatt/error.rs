//! Why a GATT value was rejected. Every error is `Copy` and carries no bytes of the device.

use core::fmt;

use quantity::Unit;

/// Why a GATT value or descriptor was rejected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GattError {
    /// The length does not match the format.
    Length {
        /// Expected bytes.
        want: u16,
        /// Actual bytes.
        found: u16,
    },
    /// The characteristic is neither in the table nor described by a presentation format.
    NotDescribed,
    /// A reserved format code.
    FormatReserved(u8),
    /// A format for text or a structure, not for one number.
    NotANumber(u8),
    /// A unit UUID that the table of units lacks.
    UnitUnknown(u16),
    /// A unit of a quantity that cliplead does not measure.
    UnitUnused(u16),
    /// The unit UUID is ambiguous.
    UnitNotSaid(u16),
    /// The device's unit contradicts the profile's.
    UnitContradicts {
        /// Unit UUID of the device.
        device: u16,
        /// Unit of the profile.
        profile: Unit,
    },
    /// The descriptor's unit contradicts the SIG's for this characteristic.
    TableContradicts {
        /// Unit UUID of the table.
        table: u16,
        /// Unit UUID of the descriptor.
        descriptor: u16,
    },
    /// A raw value that the characteristic prohibits.
    Prohibited,
    /// Bits set beyond the width of the number.
    Padding,
    /// More digits, or a greater power of ten, than a display has.
    TooManyDigits,
    /// A number that is impossible in its unit.
    Impossible,
    /// Outside the device's own valid range.
    OutsideRange,
    /// A valid range that is empty or has an end that is not a number.
    RangeBroken,
    /// Text that is empty, not UTF-8, or has control characters.
    Text,
}

impl fmt::Display for GattError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length { want, found } => {
                write!(
                    f,
                    "{found} bytes where the format has {want}; check which characteristic the profile names"
                )
            }
            Self::NotDescribed => f.write_str(
                "the device does not say what this characteristic holds; describe its bytes in a profile",
            ),
            Self::FormatReserved(code) => write!(f, "presentation format 0x{code:02X} is reserved"),
            Self::NotANumber(code) => write!(
                f,
                "presentation format 0x{code:02X} is text or a structure, not one number; describe it in a profile"
            ),
            Self::UnitUnknown(uuid) => {
                write!(f, "unit 0x{uuid:04X} is not known; describe the characteristic in a profile")
            }
            Self::UnitUnused(uuid) => {
                write!(f, "unit 0x{uuid:04X} is of a quantity that cliplead does not measure")
            }
            Self::UnitNotSaid(uuid) => write!(
                f,
                "unit 0x{uuid:04X} leaves open what is meant; state the unit in a profile, for example \"psig\""
            ),
            Self::UnitContradicts { device, profile } => write!(
                f,
                "the profile says {profile}, the device says unit 0x{device:04X}; correct the profile, or name \
                 the right characteristic"
            ),
            Self::TableContradicts { table, descriptor } => write!(
                f,
                "this characteristic is in unit 0x{table:04X} by definition, the device says 0x{descriptor:04X}; \
                 neither is believed"
            ),
            Self::Prohibited => f.write_str("a value that this characteristic never has"),
            Self::Padding => f.write_str("bits are set beyond the width of the number"),
            Self::TooManyDigits => f.write_str("more digits than a display has"),
            Self::Impossible => f.write_str("a number that cannot be meant in its unit"),
            Self::OutsideRange => f.write_str("outside the range that the device itself calls valid"),
            Self::RangeBroken => f.write_str("the device's valid range is empty or not two numbers"),
            Self::Text => f.write_str("text that is empty, not UTF-8, or has control characters"),
        }
    }
}

impl core::error::Error for GattError {}
