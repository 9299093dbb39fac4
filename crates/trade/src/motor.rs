//! Motors: winding resistance and temperature, insulation resistance corrected to 40 °C, slip and load, power. Fans
//! and belts are in `drive.rs`. Does not judge; rules do.

use crate::range::{Argument, OutOfRange};

pub(crate) const WINDING: Argument =
    Argument { what: "winding resistance", unit: "ohm", least: 1e-6, greatest: 1e6 };
pub(crate) const TEMPERATURE: Argument =
    Argument { what: "winding temperature", unit: "°C", least: -50.0, greatest: 250.0 };
pub(crate) const INSULATION: Argument =
    Argument { what: "insulation resistance", unit: "Mohm", least: 0.0, greatest: 1e9 };
pub(crate) const HALVING_RANGE: Argument =
    Argument { what: "winding temperature", unit: "°C", least: 0.0, greatest: 85.0 };
pub(crate) const THERMOSET_RANGE: Argument = Argument { least: 10.0, ..HALVING_RANGE };
pub(crate) const CURRENT: Argument = Argument { what: "current", unit: "A", least: 0.0, greatest: 10_000.0 };
pub(crate) const RATED_CURRENT: Argument = Argument { what: "rated current", least: 1e-3, ..CURRENT };
pub(crate) const VOLTAGE: Argument = Argument { what: "voltage", unit: "V", least: 0.0, greatest: 10_000.0 };
pub(crate) const VOLTAGE_NOT_ZERO: Argument = Argument { least: 1.0, ..VOLTAGE };
pub(crate) const POWER_FACTOR: Argument =
    Argument { what: "power factor", unit: "", least: 0.0, greatest: 1.0 };
pub(crate) const SPEED: Argument = Argument { what: "speed", unit: "rpm", least: 0.0, greatest: 100_000.0 };
pub(crate) const FREQUENCY: Argument =
    Argument { what: "frequency", unit: "Hz", least: 1.0, greatest: 1000.0 };
pub(crate) const POLES: Argument =
    Argument { what: "number of poles", unit: "", least: 2.0, greatest: 100.0 };

/// What a winding is made of, which sets how its resistance grows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Metal {
    /// Copper: k = 234.5 °C.
    Copper,
    /// Aluminium: k = 225 °C.
    Aluminium,
}

impl Metal {
    /// The k of the resistance law, °C. Source: standard IEC 60034-1, from memory.
    #[must_use]
    pub const fn k_c(self) -> f64 {
        match self {
            Self::Copper => 234.5,
            Self::Aluminium => 225.0,
        }
    }
}

/// Resistance in ohm that a winding has at another temperature: R2 = R1 (k + t2) / (k + t1).
///
/// `ohms` 10^-6 to 10^6 ohm, `at_c` and `wanted_c` -50 to 250 °C. Source: standard IEC 60034-1, from memory.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn resistance_at_ohm(ohms: f64, at_c: f64, wanted_c: f64, metal: Metal) -> Result<f64, OutOfRange> {
    let k = metal.k_c();
    Ok(WINDING.validate(ohms)? * (k + TEMPERATURE.validate(wanted_c)?) / (k + TEMPERATURE.validate(at_c)?))
}

/// Temperature in °C of a winding from its resistance cold and hot: t2 = (R2 / R1)(k + t1) - k.
///
/// `cold_ohms` and `hot_ohms` 10^-6 to 10^6 ohm, `cold_c` -50 to 250 °C, the temperature of the whole winding when it
/// was read cold. A result outside -60 to 400 °C is no winding's: an error. Source: standard IEC 60034-1 (temperature by resistance).
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn temperature_c(cold_ohms: f64, cold_c: f64, hot_ohms: f64, metal: Metal) -> Result<f64, OutOfRange> {
    let k = metal.k_c();
    let ratio = WINDING.validate(hot_ohms)? / WINDING.validate(cold_ohms)?;
    let hot_c = ratio * (k + TEMPERATURE.validate(cold_c)?) - k;
    Argument { what: "temperature by resistance", unit: "°C", least: -60.0, greatest: 400.0 }.validate(hot_c)
}

/// How insulation resistance is brought to 40 °C.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Insulation {
    /// Halved by each 10 K: older, thermoplastic insulation. Meant for 0 to 85 °C.
    Thermoplastic,
    /// Thermoset insulation, flatter below 40 °C. Meant for 10 to 85 °C.
    Thermoset,
}

/// Insulation resistance in Mohm at 40 °C: R40 = KT R. Thermoplastic KT = 0.5^((40 - t) / 10); thermoset
/// KT = exp(-1245 (1 / (t + 273) - 1 / 313)) up to 40 °C and with -4230 above.
///
/// `megohms` 0 to 10^9, `at_c` in the range of the insulation. The two differ by a factor of three at 20 °C: a rule that
/// uses one says which. Source: standard IEEE 43-2013, 6.3, from memory.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn insulation_at_40c_mohm(megohms: f64, at_c: f64, insulation: Insulation) -> Result<f64, OutOfRange> {
    let factor = match insulation {
        Insulation::Thermoplastic => libm::exp2((HALVING_RANGE.validate(at_c)? - 40.0) / 10.0),
        Insulation::Thermoset => {
            let at = THERMOSET_RANGE.validate(at_c)?;
            let slope = if at > 40.0 { -4230.0 } else { -1245.0 };
            libm::exp(slope * (1.0 / (at + 273.0) - 1.0 / 313.0))
        }
    };
    Ok(factor * INSULATION.validate(megohms)?)
}

/// Ratio of the insulation resistance read later to that read earlier: the polarisation index with 10 and 1 minutes, the
/// dielectric absorption ratio with 60 and 30 seconds.
///
/// Both in Mohm, the earlier one 0.001 to 10^9. It says little above 5000 Mohm and on small random-wound motors.
/// Source: standard IEEE 43 (definition), from memory.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn absorption_ratio(earlier_mohm: f64, later_mohm: f64) -> Result<f64, OutOfRange> {
    let earlier = Argument { least: 1e-3, ..INSULATION }.validate(earlier_mohm)?;
    Ok(INSULATION.validate(later_mohm)? / earlier)
}

/// Synchronous speed in rpm: 120 f / poles.
///
/// `hertz` 1 to 1000 Hz, `poles` an even number, 2 to 100. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above or for an odd number of poles.
pub fn synchronous_rpm(hertz: f64, poles: f64) -> Result<f64, OutOfRange> {
    let pairs = POLES.validate(poles)? / 2.0;
    if libm::floor(pairs) < pairs {
        return Err(OutOfRange {
            what: "even number of poles",
            value: poles,
            unit: "",
            least: 2.0,
            greatest: 100.0,
        });
    }
    Ok(60.0 * FREQUENCY.validate(hertz)? / pairs)
}

/// Slip in %: 100 (ns - n) / ns. Negative when driven faster than synchronous speed.
///
/// `synchronous_rpm` 1 to 100,000 rpm, `rpm` 0 to 100,000. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn slip_pct(synchronous_rpm: f64, rpm: f64) -> Result<f64, OutOfRange> {
    let synchronous = Argument { least: 1.0, ..SPEED }.validate(synchronous_rpm)?;
    Ok(100.0 * (synchronous - SPEED.validate(rpm)?) / synchronous)
}

/// Load of an induction motor as a part of its rated load, from its slip: (ns - n) / ((ns - nr) (Vr / V)^2).
///
/// `synchronous_rpm` above `rated_rpm`, both 1 to 100,000; `rpm` 0 to 100,000; `volts` and `rated_volts` 1 to 10,000 V. Good to some 20 %:
/// plates round the rated speed. Source: from memory, no standard opened.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn load_by_slip(
    synchronous_rpm: f64,
    rated_rpm: f64,
    rpm: f64,
    volts: f64,
    rated_volts: f64,
) -> Result<f64, OutOfRange> {
    let synchronous = Argument { least: 1.0, ..SPEED }.validate(synchronous_rpm)?;
    let rated = Argument { what: "rated speed", least: 1.0, greatest: synchronous - 1.0, ..SPEED }
        .validate(rated_rpm)?;
    let ratio = VOLTAGE_NOT_ZERO.validate(rated_volts)? / VOLTAGE_NOT_ZERO.validate(volts)?;
    Ok((synchronous - SPEED.validate(rpm)?) / ((synchronous - rated) * ratio * ratio))
}

/// Load of a motor as a part of its rated load, from its amps: (I / Irated) (V / Vrated).
///
/// `amps` 0 to 10,000 A, `rated_amps` 0.001 to 10,000 A, `volts` 0 to 10,000 V, `rated_volts` 1 to 10,000 V. Poor below half
/// load, where magnetising current is most of it. Source: common practice.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn load_by_amps(amps: f64, rated_amps: f64, volts: f64, rated_volts: f64) -> Result<f64, OutOfRange> {
    let by_amps = CURRENT.validate(amps)? / RATED_CURRENT.validate(rated_amps)?;
    Ok(by_amps * VOLTAGE.validate(volts)? / VOLTAGE_NOT_ZERO.validate(rated_volts)?)
}

/// Power in kW taken from a three-phase line: sqrt(3) V I pf / 1000.
///
/// `volts` line to line, 0 to 10,000 V; `amps` 0 to 10,000 A; `power_factor` 0 to 1. Source: definition (balanced load).
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn three_phase_kw(volts: f64, amps: f64, power_factor: f64) -> Result<f64, OutOfRange> {
    let apparent = libm::sqrt(3.0) * VOLTAGE.validate(volts)? * CURRENT.validate(amps)?;
    Ok(apparent * POWER_FACTOR.validate(power_factor)? / 1000.0)
}

#[cfg(test)]
mod tests;
