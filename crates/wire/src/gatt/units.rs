//! SIG unit UUIDs -> units of `quantity`. Does not convert values between scales: a unit that is no power of ten of one
//! here is refused.
//!
//! Source: Bluetooth SIG Assigned Numbers, 3.5 "Units by UUID".

use quantity::Unit;

use super::{GattError, Got};

/// A unit of the SIG.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SigUnit {
    /// Its UUID.
    pub uuid: u16,
    /// Its power of ten in the units of `meanings`: 1 Pa is 10^-3 kPag.
    power: i8,
    /// Its possible meanings; none for a quantity that is not measured here.
    meanings: &'static [Unit],
    /// The first meaning applies unless the caller states another.
    plain: bool,
}

const fn plain(uuid: u16, power: i8, meanings: &'static [Unit]) -> SigUnit {
    SigUnit { uuid, power, meanings, plain: true }
}

const fn open(uuid: u16, power: i8, meanings: &'static [Unit]) -> SigUnit {
    SigUnit { uuid, power, meanings, plain: false }
}

const UNITS: &[SigUnit] = &[
    plain(0x2700, 0, &[Unit::ONE]),
    plain(0x2701, 0, &[Unit::METRE]),
    plain(0x2702, 0, &[Unit::KILOGRAM]),
    plain(0x2703, 0, &[Unit::SECOND]),
    plain(0x2704, 0, &[Unit::AMPERE]),
    // Kelvin on the scale has no unit here; a difference must be said to be one.
    open(0x2705, 0, &[Unit::KELVIN_DIFFERENCE]),
    plain(0x2711, 0, &[]),
    plain(0x2712, 0, &[Unit::METRE_PER_SECOND]),
    plain(0x2715, 0, &[]),
    plain(0x2722, 0, &[Unit::HERTZ]),
    plain(0x2723, 0, &[]),
    open(0x2724, -3, &[Unit::KPAG, Unit::KPAA, Unit::KILOPASCAL]),
    plain(0x2725, 0, &[Unit::JOULE]),
    plain(0x2726, 0, &[Unit::WATT]),
    plain(0x2728, 0, &[Unit::VOLT]),
    plain(0x2729, 0, &[Unit::F]),
    plain(0x272A, 0, &[Unit::OHM]),
    plain(0x272B, 0, &[]),
    plain(0x272D, 0, &[]),
    plain(0x272E, 0, &[]),
    plain(0x272F, 0, &[Unit::CELSIUS]),
    plain(0x2741, 0, &[]),
    plain(0x2760, 0, &[Unit::MINUTE]),
    plain(0x2761, 0, &[Unit::HOUR]),
    plain(0x2762, 0, &[Unit::DAY]),
    // 1 bar is 100 kPa; kilopascal stands for the difference, which has no unit bar here.
    open(0x2780, 0, &[Unit::BARG, Unit::BARA]),
    plain(0x2781, 0, &[]),
    plain(0x27A2, 0, &[Unit::INCH]),
    plain(0x27A3, 0, &[Unit::FOOT]),
    open(0x27A5, 0, &[Unit::PSIG, Unit::PSIA, Unit::PSI]),
    plain(0x27A8, 0, &[Unit::RPM]),
    plain(0x27AB, 0, &[Unit::KILOWATT_HOUR]),
    plain(0x27AC, 0, &[Unit::FAHRENHEIT]),
    // Percent of what is not said: relative humidity, a share, or a gas by volume.
    open(0x27AD, 0, &[Unit::PERCENT, Unit::PERCENT_RH, Unit::PERCENT_VOLUME]),
    open(0x27AE, -1, &[Unit::PERCENT, Unit::PERCENT_RH, Unit::PERCENT_VOLUME]),
    plain(0x27B8, 0, &[Unit::POUND]),
    plain(0x27C1, 0, &[]),
    plain(0x27C2, 0, &[Unit::LITRE_PER_SECOND]),
    plain(0x27C4, 0, &[Unit::PPM]),
    plain(0x27C5, -3, &[Unit::PPM]),
    plain(0x27C8, 0, &[Unit::VOLT_AMPERE]),
];

/// The SIG unit with this UUID.
///
/// # Errors
/// [`GattError::UnitUnknown`].
pub fn sig_unit(uuid: u16) -> Got<&'static SigUnit> {
    UNITS.iter().find(|row| row.uuid == uuid).ok_or(GattError::UnitUnknown(uuid))
}

/// Compares the unit stated by a profile with the device's: the same quantity on the same scale, whatever the prefix.
/// Farad and uF agree; degC and degF, pascal and psi, gauge and a unit that cannot be gauge do not.
///
/// # Errors
/// [`GattError::UnitContradicts`]; [`GattError::UnitUnknown`] or [`GattError::UnitUnused`] for the device's unit.
pub fn validate_unit(device: u16, profile: Unit) -> Got<()> {
    sig_unit(device)?.resolve(Some(profile)).map(|_| ())
}

impl SigUnit {
    /// The unit of the digits, and the power of ten of this unit in it.
    ///
    /// # Errors
    /// As for [`validate_unit`], and [`GattError::UnitNotSaid`].
    pub fn resolve(&self, told: Option<Unit>) -> Got<(Unit, i8)> {
        let Some(first) = self.meanings.first() else { return Err(GattError::UnitUnused(self.uuid)) };
        let Some(told) = told else {
            return if self.plain {
                Ok((*first, self.power))
            } else {
                Err(GattError::UnitNotSaid(self.uuid))
            };
        };
        let meant = self.meanings.iter().find(|unit| agree(**unit, told));
        let contradicts = GattError::UnitContradicts { device: self.uuid, profile: told };
        let meant = meant.ok_or(contradicts)?;
        let power = meant.row().power.checked_sub(told.row().power).and_then(|p| p.checked_add(self.power));
        Ok((told, power.ok_or(GattError::TooManyDigits)?))
    }
}

/// The same quantity on the same scale, whatever the power of ten.
fn agree(a: Unit, b: Unit) -> bool {
    let (left, right) = (a.row(), b.row());
    left.kind == right.kind
        && left.factor.to_bits() == right.factor.to_bits()
        && left.shift.to_bits() == right.shift.to_bits()
}
