//! UUIDs of services, characteristics and descriptors. Does not know their meaning.
//!
//! Source: Bluetooth Core Specification, Vol 3 Part B, 2.5.1 (16 bytes, and the base that short ones stand in).

use core::fmt;

/// 16 bytes in the order of their text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Uuid(pub [u8; 16]);

/// 00000000-0000-1000-8000-00805F9B34FB.
const BASE: u128 = 0x0000_0000_0000_1000_8000_0080_5F9B_34FB;
/// Position of a short UUID in the base, in bits from the end.
const SHORT_AT: u32 = 96;

impl Uuid {
    /// The full form of a 16-bit UUID.
    #[must_use]
    pub const fn from_short(short: u16) -> Self {
        // A widening: `From` is not const.
        Self((BASE | ((short as u128) << SHORT_AT)).to_be_bytes())
    }

    /// Parses `0x2A6E` or the full text with its four hyphens, in any case. `None`: neither.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        if let Some(short) = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
            let plain = short.len() == 4 && short.bytes().all(|b| b.is_ascii_hexdigit());
            return u16::from_str_radix(short, 16).ok().filter(|_| plain).map(Self::from_short);
        }
        let mut value: u128 = 0;
        let mut groups = text.split('-');
        for digits in [8, 4, 4, 4, 12] {
            let group = groups.next().filter(|g| g.len() == digits)?;
            if !group.bytes().all(|b| b.is_ascii_hexdigit()) {
                return None;
            }
            value = value << (4 * digits) | u128::from_str_radix(group, 16).ok()?;
        }
        groups.next().is_none().then_some(Self(value.to_be_bytes()))
    }

    /// The 16-bit UUID, if it is one of those that the SIG assigns.
    #[must_use]
    pub fn short(self) -> Option<u16> {
        let value = u128::from_be_bytes(self.0);
        u16::try_from(value >> SHORT_AT).ok().filter(|short| Self::from_short(*short) == self)
    }
}

impl fmt::Display for Uuid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(short) = self.short() {
            return write!(f, "0x{short:04X}");
        }
        for (at, byte) in self.0.iter().enumerate() {
            if matches!(at, 4 | 6 | 8 | 10) {
                f.write_str("-")?;
            }
            write!(f, "{byte:02x}")?;
        }
        Ok(())
    }
}
