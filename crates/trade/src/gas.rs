//! Gas heat: manifold pressure, clocking the meter, standard conditions, altitude, carbon monoxide air free, excess air, stack loss.
//! Does not judge; rules do.

use crate::range::{Argument, OutOfRange};

/// Oxygen in dry air in % by volume, as field instruments and the trade use it.
pub const OXYGEN_IN_AIR_PCT: f64 = 20.9;
/// Pounds per square inch in an inch of water column (0.0254 m x 9806.65 Pa/m over 6894.757 Pa): definition.
const PSI_PER_IN_WC: f64 = 0.0254 * 9806.65 / 6_894.757_293_168;

pub(crate) const DRAFT: Argument = Argument { what: "draft", unit: "in. w.c.", least: 0.0, greatest: 10.0 };
pub(crate) const SWITCH: Argument =
    Argument { what: "set point of the switch", unit: "in. w.c.", least: 0.01, greatest: 10.0 };
pub(crate) const MANIFOLD: Argument =
    Argument { what: "manifold pressure", unit: "in. w.c.", least: 0.1, greatest: 30.0 };
pub(crate) const DIAL: Argument =
    Argument { what: "volume of the dial", unit: "ft3", least: 0.01, greatest: 100.0 };
pub(crate) const TIME: Argument = Argument { what: "time", unit: "s", least: 1.0, greatest: 3600.0 };
pub(crate) const FLOW: Argument = Argument { what: "gas flow", unit: "ft3/h", least: 0.0, greatest: 1e6 };
pub(crate) const HEATING_VALUE: Argument =
    Argument { what: "heating value", unit: "Btu/ft3", least: 100.0, greatest: 4000.0 };
pub(crate) const BAROMETER: Argument =
    Argument { what: "barometric pressure", unit: "psia", least: 8.0, greatest: 16.0 };
pub(crate) const METER_PRESSURE: Argument =
    Argument { what: "gas pressure at the meter", unit: "in. w.c.", least: 0.0, greatest: 140.0 };
pub(crate) const GAS_TEMPERATURE: Argument =
    Argument { what: "gas temperature", unit: "°F", least: -40.0, greatest: 150.0 };
pub(crate) const ALTITUDE: Argument =
    Argument { what: "altitude", unit: "ft", least: -1000.0, greatest: 15_000.0 };
pub(crate) const INPUT: Argument = Argument { what: "rated input", unit: "Btu/h", least: 0.0, greatest: 1e8 };
pub(crate) const CO: Argument = Argument { what: "carbon monoxide", unit: "ppm", least: 0.0, greatest: 1e6 };
pub(crate) const OXYGEN: Argument =
    Argument { what: "oxygen in the flue", unit: "%", least: 0.0, greatest: 19.0 };
pub(crate) const CO2: Argument =
    Argument { what: "carbon dioxide in the flue", unit: "%", least: 0.1, greatest: 20.0 };
pub(crate) const FLUE_RISE: Argument =
    Argument { what: "flue over air", unit: "K", least: 0.0, greatest: 600.0 };

/// Part of its input that a burner takes at another manifold pressure: sqrt(p / p0).
///
/// Both 0.1 to 30 in. w.c. Same gas, same orifice. Source: physics (flow through an orifice).
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn input_ratio(manifold_in_wc: f64, rated_in_wc: f64) -> Result<f64, OutOfRange> {
    Ok(libm::sqrt(MANIFOLD.validate(manifold_in_wc)? / MANIFOLD.validate(rated_in_wc)?))
}

/// How far a draft is beyond the point at which its pressure switch gives up, as a part of that point: 0.2 is a fifth beyond.
///
/// Both as magnitudes: `draft_in_wc` 0 to 10 in. w.c., `switch_in_wc` 0.01 to 10 in. w.c., as stamped on the switch. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn draft_margin(draft_in_wc: f64, switch_in_wc: f64) -> Result<f64, OutOfRange> {
    Ok(DRAFT.validate(draft_in_wc)? / SWITCH.validate(switch_in_wc)? - 1.0)
}

/// Gas flow in ft3/h through a meter, from the time of one turn of a dial: 3600 ft3 / s. Every other appliance on the meter is off.
///
/// `dial_ft3` 0.01 to 100 ft3, `seconds` 1 to 3600 s. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn clocked_ft3_per_h(dial_ft3: f64, seconds: f64) -> Result<f64, OutOfRange> {
    Ok(3600.0 * DIAL.validate(dial_ft3)? / TIME.validate(seconds)?)
}

/// Gas flow in standard ft3/h (14.73 psia, 60 °F) from the metered one: Q (Pb + Pg) / 14.73 x 520 / (460 + T).
///
/// `ft3_per_h` 0 to 10^6, `barometer_psia` 8 to 16 psia, `gauge_in_wc` 0 to 140 in. w.c. at the meter, `gas_f` -40 to 150 °F. Meters
/// that correct by themselves are not corrected again. Source: physics (gas law); the base of 14.73 psia and 60 °F: common practice.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn standard_ft3_per_h(
    ft3_per_h: f64,
    barometer_psia: f64,
    gauge_in_wc: f64,
    gas_f: f64,
) -> Result<f64, OutOfRange> {
    let pressure =
        BAROMETER.validate(barometer_psia)? + METER_PRESSURE.validate(gauge_in_wc)? * PSI_PER_IN_WC;
    Ok(FLOW.validate(ft3_per_h)? * pressure / 14.73 * 520.0 / (460.0 + GAS_TEMPERATURE.validate(gas_f)?))
}

/// Input in Btu/h: flow times heating value.
///
/// `ft3_per_h` 0 to 10^6, `btu_per_ft3` 100 to 4000 Btu/ft3, the supplier's figure for these conditions. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn input_btu_per_h(ft3_per_h: f64, btu_per_ft3: f64) -> Result<f64, OutOfRange> {
    Ok(FLOW.validate(ft3_per_h)? * HEATING_VALUE.validate(btu_per_ft3)?)
}

/// Input in Btu/h that a plate's rating allows at an altitude, where the plate says nothing else: 4 % less for each 1000 ft, counted from
/// sea level, above 2000 ft.
///
/// `rated_btu_per_h` 0 to 10^8, `altitude_ft` -1000 to 15,000 ft. Source: standard NFPA 54, from memory; the plate comes first.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn input_at_altitude_btu_per_h(rated_btu_per_h: f64, altitude_ft: f64) -> Result<f64, OutOfRange> {
    let altitude = ALTITUDE.validate(altitude_ft)?;
    let less = if altitude > 2000.0 { 0.04 * altitude / 1000.0 } else { 0.0 };
    Ok(INPUT.validate(rated_btu_per_h)? * (1.0 - less))
}

/// Carbon monoxide in ppm, air free, from oxygen: CO x 20.9 / (20.9 - O2).
///
/// `co_ppm` 0 to 10^6 ppm, `oxygen_pct` 0 to 19 %. A slow CO cell next to a fast O2 cell falsifies it while the flame
/// starts or stops: steady flame only. Source: definition; second-hand from public pages.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn co_air_free_ppm(co_ppm: f64, oxygen_pct: f64) -> Result<f64, OutOfRange> {
    Ok(CO.validate(co_ppm)? * OXYGEN_IN_AIR_PCT / (OXYGEN_IN_AIR_PCT - OXYGEN.validate(oxygen_pct)?))
}

/// Carbon monoxide in ppm, air free, from carbon dioxide: CO x CO2max / CO2.
///
/// `co_ppm` 0 to 10^6 ppm, `co2_pct` 0.1 to 20 %. Source: definition; second-hand from public pages.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn co_air_free_by_co2_ppm(co_ppm: f64, co2_pct: f64, fuel: Fuel) -> Result<f64, OutOfRange> {
    Ok(CO.validate(co_ppm)? * fuel.co2_max_pct() / CO2.validate(co2_pct)?)
}

/// A fuel gas.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fuel {
    /// Natural gas, taken as methane.
    Natural,
    /// Liquefied petroleum gas, taken as propane.
    Lp,
}

/// What dry combustion products of dry air hold: mole of CO2 and N2 for each mole of fuel, and of O2 that it takes.
struct Stoichiometry {
    co2: f64,
    oxygen: f64,
}

impl Fuel {
    const fn stoichiometry(self) -> Stoichiometry {
        match self {
            // CH4 + 2 O2, C3H8 + 5 O2
            Self::Natural => Stoichiometry { co2: 1.0, oxygen: 2.0 },
            Self::Lp => Stoichiometry { co2: 3.0, oxygen: 5.0 },
        }
    }

    /// Nitrogen and argon that come with the oxygen, mole for each mole of fuel; dry air has 20.946 % oxygen.
    fn inert(self) -> f64 {
        self.stoichiometry().oxygen * (100.0 - 20.946) / 20.946
    }

    /// The most carbon dioxide in dry flue gas, %: without excess air. Source: physics (stoichiometry, dry air with 20.946 % oxygen).
    #[must_use]
    pub fn co2_max_pct(self) -> f64 {
        let co2 = self.stoichiometry().co2;
        100.0 * co2 / (co2 + self.inert())
    }

    /// Coefficients of Siegert's stack loss. Source: from memory.
    const fn siegert(self) -> (f64, f64) {
        match self {
            Self::Natural => (0.66, 0.009),
            Self::Lp => (0.63, 0.008),
        }
    }
}

/// Excess air in % from oxygen in the dry flue gas, by stoichiometry: the air that is not needed over the air that is.
///
/// `oxygen_pct` 0 to 19 %. The usual rule O2 / (20.9 - O2) is some points higher, since it leaves the steam out.
/// Source: physics (complete combustion in dry air with 20.946 % oxygen).
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn excess_air_pct(oxygen_pct: f64, fuel: Fuel) -> Result<f64, OutOfRange> {
    let part = OXYGEN.validate(oxygen_pct)? / 100.0;
    let dry = fuel.stoichiometry().co2 + fuel.inert();
    // Each mole of excess air brings 0.20946 mole of oxygen into the dry gas.
    let air = part * dry / (0.20946 - part);
    Ok(100.0 * air / (fuel.stoichiometry().oxygen / 0.20946))
}

/// Stack loss in % of the net heating value, by Siegert's formula: (Tflue - Tair)(A / (21 - O2) + B).
///
/// `flue_over_air_k` 0 to 600 K, `oxygen_pct` 0 to 19 %. Steam is not counted: plates in the trade are on the gross heating value, where
/// some 9 to 10 points more are lost with natural gas. Source: coefficients from memory; for natural gas within 0.15 of a point of
/// stoichiometry up to 13 % oxygen, for LP gas 0.3 to 0.8 low.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn stack_loss_net_pct(flue_over_air_k: f64, oxygen_pct: f64, fuel: Fuel) -> Result<f64, OutOfRange> {
    let (a, b) = fuel.siegert();
    Ok(FLUE_RISE.validate(flue_over_air_k)? * (a / (21.0 - OXYGEN.validate(oxygen_pct)?) + b))
}

#[cfg(test)]
mod tests;
