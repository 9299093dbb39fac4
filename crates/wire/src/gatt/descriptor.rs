//! The User Description (0x2901) and Valid Range (0x2906) descriptors. Does not hold the Presentation Format.
//!
//! Source: Bluetooth Core Specification, Vol 3 Part G, 3.3.3.2 (text) and Environmental Sensing Service (valid range).

use super::raw::validate_length;
use super::{Characteristic, GattError, Got, Presentation, ValidRange};

/// The longest attribute value (Core Specification, Vol 3 Part F, 3.2.9).
const ATTRIBUTE_BYTES_MAX: usize = 512;

/// Text from a device: its own name for a characteristic (0x2901), its maker, model or serial number (0x2A29, 0x2A24,
/// 0x2A25, 0x2A26). Trailing zero bytes and surrounding blanks are removed.
///
/// # Errors
/// [`GattError::Text`] if nothing is left, or it is not UTF-8, has control characters, or is longer than an
/// attribute.
pub fn text(bytes: &[u8]) -> Got<&str> {
    if bytes.len() > ATTRIBUTE_BYTES_MAX {
        return Err(GattError::Text);
    }
    let text = core::str::from_utf8(bytes).map_err(|_| GattError::Text)?.trim_end_matches('\0').trim();
    if text.is_empty() || text.chars().any(char::is_control) { Err(GattError::Text) } else { Ok(text) }
}

impl ValidRange {
    /// Parses the descriptor: two values in the characteristic's own format, from the table or else from the
    /// presentation format.
    ///
    /// # Errors
    /// [`GattError::RangeBroken`] if an end is not a number or the ends are in the wrong order;
    /// [`GattError::Length`]; [`GattError::NotDescribed`].
    pub fn parse(uuid: Option<u16>, presentation: Option<&Presentation>, bytes: &[u8]) -> Got<Self> {
        let row = uuid.and_then(Characteristic::find);
        let width = match (row, presentation) {
            (Some(row), _) => row.wire.width(),
            (None, Some(presentation)) => presentation.format.wire.width(),
            (None, None) => return Err(GattError::NotDescribed),
        };
        validate_length(bytes, 2 * width)?;
        let (least, most) = bytes.split_at_checked(width).ok_or(GattError::RangeBroken)?;
        let end = |bytes: &[u8]| match (row, presentation) {
            (Some(row), _) => row.end(bytes),
            (None, Some(presentation)) => presentation.end(bytes),
            (None, None) => Err(GattError::NotDescribed),
        };
        Self::between(end(least)?, end(most)?)
    }
}
