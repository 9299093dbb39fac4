//! Capacitors: value under load, series value, discharge through a resistor, stored energy. Assumes ideal, loss-free
//! capacitors and sine waves; each function states what that neglects.

use core::f64::consts::{PI, SQRT_2};

use crate::range::{Argument, OutOfRange};

pub(crate) const CAPACITANCE: Argument =
    Argument { what: "capacitance", unit: "uF", least: 0.0, greatest: 1e6 };
pub(crate) const CAPACITANCE_NOT_ZERO: Argument = Argument { least: 1e-6, ..CAPACITANCE };
pub(crate) const CURRENT: Argument = Argument { what: "current", unit: "A", least: 0.0, greatest: 1000.0 };
pub(crate) const VOLTAGE: Argument = Argument { what: "voltage", unit: "V", least: 0.0, greatest: 10_000.0 };
pub(crate) const VOLTAGE_NOT_ZERO: Argument = Argument { least: 1e-3, ..VOLTAGE };
pub(crate) const FREQUENCY: Argument =
    Argument { what: "frequency", unit: "Hz", least: 1.0, greatest: 1000.0 };
pub(crate) const RESISTANCE: Argument =
    Argument { what: "resistance", unit: "ohm", least: 1e-3, greatest: 1e12 };
pub(crate) const ESR: Argument =
    Argument { what: "series resistance", unit: "ohm", least: 0.0, greatest: 1000.0 };
pub(crate) const TANGENT: Argument = Argument { what: "loss tangent", unit: "", least: 0.0, greatest: 1.0 };
pub(crate) const CASE: Argument =
    Argument { what: "temperature of the can", unit: "°C", least: -40.0, greatest: 110.0 };
pub(crate) const COEFFICIENT: Argument =
    Argument { what: "temperature coefficient in ppm/K", unit: "", least: -1000.0, greatest: 1000.0 };
pub(crate) const TIME: Argument = Argument { what: "time", unit: "s", least: 0.0, greatest: 1e9 };

/// Capacitance in uF from the current through a capacitor and the voltage across its terminals:
/// C = I x 10^6 / (2 pi f V).
///
/// `amps` 0 to 1000 A rms, `volts` 0.001 to 10,000 V rms, `hertz` 1 to 1000 Hz. The frequency is an input: the constant
/// 2652 belongs to 60 Hz alone and reads a sixth low on 50 Hz. Harmonics in the voltage raise the result (3 % of fifth
/// harmonic: 1 % high with true-rms meters); losses hardly move it.
///
/// Source: physics (reactance of an ideal capacitor on a sine wave).
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn capacitance_under_load_uf(amps: f64, volts: f64, hertz: f64) -> Result<f64, OutOfRange> {
    let omega = 2.0 * PI * FREQUENCY.validate(hertz)?;
    Ok(CURRENT.validate(amps)? * 1e6 / (omega * VOLTAGE_NOT_ZERO.validate(volts)?))
}

/// Current in A rms through a capacitor: I = 2 pi f C V. The inverse of [`capacitance_under_load_uf`].
///
/// `microfarads` 0 to 10^6 uF, `volts` 0 to 10,000 V rms, `hertz` 1 to 1000 Hz. Source: physics.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn current_a(microfarads: f64, volts: f64, hertz: f64) -> Result<f64, OutOfRange> {
    let omega = 2.0 * PI * FREQUENCY.validate(hertz)?;
    Ok(omega * CAPACITANCE.validate(microfarads)? * 1e-6 * VOLTAGE.validate(volts)?)
}

/// Capacitance in uF of two capacitors in series: C1 C2 / (C1 + C2). What a meter shows across HERM and FAN of a dual
/// can. Zero when either is zero.
///
/// Both 0 to 10^6 uF. Source: physics.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn series_uf(first_uf: f64, second_uf: f64) -> Result<f64, OutOfRange> {
    let (first, second) = (CAPACITANCE.validate(first_uf)?, CAPACITANCE.validate(second_uf)?);
    let sum = first + second;
    Ok(if sum > 0.0 { first * second / sum } else { 0.0 })
}

/// Time constant in s of a capacitor and a resistor: tau = R C.
///
/// `microfarads` 10^-6 to 10^6 uF, `ohms` 0.001 to 10^12 ohm. Source: physics.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn time_constant_s(microfarads: f64, ohms: f64) -> Result<f64, OutOfRange> {
    Ok(CAPACITANCE_NOT_ZERO.validate(microfarads)? * 1e-6 * RESISTANCE.validate(ohms)?)
}

/// Volts left on a capacitor after `seconds` across a resistor: V = V0 exp(-t / R C).
///
/// `start_volts` 0 to 10,000 V, `seconds` 0 to 10^9 s, the rest as [`time_constant_s`]. Dielectric absorption is left out:
/// a real capacitor recovers a little after the resistor comes off, so the volts are read, never calculated, before hands
/// go in. Source: physics.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn discharge_volts(
    start_volts: f64,
    microfarads: f64,
    ohms: f64,
    seconds: f64,
) -> Result<f64, OutOfRange> {
    let tau = time_constant_s(microfarads, ohms)?;
    Ok(VOLTAGE.validate(start_volts)? * libm::exp(-TIME.validate(seconds)? / tau))
}

/// Time in s until a capacitor across a resistor has fallen from `start_volts` to `end_volts`: t = R C ln(V0 / V).
/// Zero when it is there already.
///
/// Both voltages 0.001 to 10,000 V, the rest as [`time_constant_s`]. Source: physics; see [`discharge_volts`] for what it
/// leaves out.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn discharge_time_s(
    start_volts: f64,
    end_volts: f64,
    microfarads: f64,
    ohms: f64,
) -> Result<f64, OutOfRange> {
    let tau = time_constant_s(microfarads, ohms)?;
    let (start, end) = (VOLTAGE_NOT_ZERO.validate(start_volts)?, VOLTAGE_NOT_ZERO.validate(end_volts)?);
    Ok(if start > end { tau * libm::log(start / end) } else { 0.0 })
}

/// Energy in J stored in a capacitor: C V^2 / 2.
///
/// `microfarads` 0 to 10^6 uF, `volts` 0 to 10,000 V. Source: physics.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn stored_energy_j(microfarads: f64, volts: f64) -> Result<f64, OutOfRange> {
    let volts = VOLTAGE.validate(volts)?;
    Ok(0.5e-6 * CAPACITANCE.validate(microfarads)? * volts * volts)
}

/// Power in W a discharge resistor takes at the first instant: V^2 / R.
///
/// `volts` 0 to 10,000 V, `ohms` 0.001 to 10^12 ohm. Source: physics.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn discharge_power_w(volts: f64, ohms: f64) -> Result<f64, OutOfRange> {
    let volts = VOLTAGE.validate(volts)?;
    Ok(volts * volts / RESISTANCE.validate(ohms)?)
}

/// Crest in V of a sine wave: V rms x sqrt 2, the most that can be left on a capacitor cut off from ac.
///
/// `volts_rms` 0 to 10,000 V. Source: definition of the rms value of a sine wave.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn crest_volts(volts_rms: f64) -> Result<f64, OutOfRange> {
    Ok(VOLTAGE.validate(volts_rms)? * SQRT_2)
}

/// Loss tangent of a capacitor from its series resistance: 2 pi f C R. A film capacitor is near 0.001 when new and is rejected near 0.02
/// (common practice, from memory).
///
/// `esr_ohms` 0 to 1000 ohm, `microfarads` 0 to 10^6 uF, `hertz` 1 to 1000 Hz. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn loss_tangent(esr_ohms: f64, microfarads: f64, hertz: f64) -> Result<f64, OutOfRange> {
    Ok(2.0
        * PI
        * FREQUENCY.validate(hertz)?
        * CAPACITANCE.validate(microfarads)?
        * 1e-6
        * ESR.validate(esr_ohms)?)
}

/// Series resistance in ohm that makes a loss tangent: tan / (2 pi f C).
///
/// `tangent` 0 to 1, `microfarads` 10^-6 to 10^6 uF, `hertz` 1 to 1000 Hz. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn esr_ohm(tangent: f64, microfarads: f64, hertz: f64) -> Result<f64, OutOfRange> {
    let omega = 2.0 * PI * FREQUENCY.validate(hertz)?;
    Ok(TANGENT.validate(tangent)? / (omega * CAPACITANCE_NOT_ZERO.validate(microfarads)? * 1e-6))
}

/// Capacitance in uF that a part read at one temperature has at another: C (1 + k (t2 - t1)), k in parts in a million for each kelvin.
/// Polypropylene falls by some 200 to 400 ppm/K, so k is negative.
///
/// `microfarads` 0 to 10^6 uF, temperatures -40 to 110 °C, `ppm_per_k` -1000 to 1000. Source: definition; the figures of polypropylene from memory.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn at_temperature_uf(
    microfarads: f64,
    read_c: f64,
    wanted_c: f64,
    ppm_per_k: f64,
) -> Result<f64, OutOfRange> {
    let kelvin = CASE.validate(wanted_c)? - CASE.validate(read_c)?;
    Ok(CAPACITANCE.validate(microfarads)? * (1.0 + COEFFICIENT.validate(ppm_per_k)? * 1e-6 * kelvin))
}

/// Whether a capacitor may take another's place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Replacement {
    /// Same uF, volts at or above, same frequency or made for both.
    Fits,
    /// Another capacitance than the plate's.
    OtherCapacitance,
    /// Fewer volts than the original: never.
    FewerVolts,
}

/// Judges a replacement: the same uF (the plate's, not the old can's), within half a per cent for rounding of markings; volts at or above.
/// Terminals, temperature and protection class are looked at besides.
///
/// uF 10^-6 to 10^6, volts 0.001 to 10,000 V. Source: common practice.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn replacement(
    plate_uf: f64,
    plate_volts: f64,
    new_uf: f64,
    new_volts: f64,
) -> Result<Replacement, OutOfRange> {
    let (plate, new) = (CAPACITANCE_NOT_ZERO.validate(plate_uf)?, CAPACITANCE_NOT_ZERO.validate(new_uf)?);
    let (wanted, given) = (VOLTAGE_NOT_ZERO.validate(plate_volts)?, VOLTAGE_NOT_ZERO.validate(new_volts)?);
    Ok(if libm::fabs(new / plate - 1.0) > 0.005 {
        Replacement::OtherCapacitance
    } else if given < wanted {
        Replacement::FewerVolts
    } else {
        Replacement::Fits
    })
}

#[cfg(test)]
mod tests;
