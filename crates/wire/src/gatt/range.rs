//! The range of values that a device declares valid. Does not parse the descriptor; `descriptor` does.

use quantity::Decimal;

use super::{GattError, Got};

/// The valid values according to the device, both ends included, in the SIG's unit of the characteristic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ValidRange {
    least: Decimal,
    most: Decimal,
}

impl ValidRange {
    /// # Errors
    /// [`GattError::RangeBroken`] if the ends are in the wrong order.
    pub(super) fn between(least: Decimal, most: Decimal) -> Got<Self> {
        if at_most(least, most) { Ok(Self { least, most }) } else { Err(GattError::RangeBroken) }
    }

    pub(super) fn contains(&self, value: Decimal) -> bool {
        at_most(self.least, value) && at_most(value, self.most)
    }
}

/// Exact if both have the same scale, as integers of one characteristic do.
fn at_most(a: Decimal, b: Decimal) -> bool {
    if a.exponent() == b.exponent() { a.mantissa() <= b.mantissa() } else { a.to_f64() <= b.to_f64() }
}
