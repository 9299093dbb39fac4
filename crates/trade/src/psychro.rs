//! Moist air (psychrometrics) in the units of the trade: °F, psia, pound per pound of dry air, Btu per pound of dry
//! air. Does not hold its applications; `air.rs` does.
//!
//! Source of every formula: ASHRAE Handbook, Fundamentals 2017, chapter 1 (perfect-gas relations, Hyland and Wexler's
//! saturation pressure), coefficients from memory; the tests compare with tables made by PsychroLib 2.5.0, which
//! follows the same chapter.

use crate::range::{Argument, OutOfRange};

pub(crate) const DRY_BULB: Argument =
    Argument { what: "dry bulb", unit: "°F", least: -60.0, greatest: 180.0 };
pub(crate) const PRESSURE: Argument =
    Argument { what: "air pressure", unit: "psia", least: 8.0, greatest: 16.0 };
pub(crate) const HUMIDITY: Argument =
    Argument { what: "relative humidity", unit: "%RH", least: 0.0, greatest: 100.0 };
pub(crate) const RATIO: Argument =
    Argument { what: "humidity ratio", unit: "lb/lb", least: 0.0, greatest: 1.0 };
pub(crate) const ALTITUDE: Argument =
    Argument { what: "altitude", unit: "ft", least: -1000.0, greatest: 15_000.0 };

/// °F to degrees Rankine.
const RANKINE: f64 = 459.67;
/// Triple point of water, °F: saturation is over ice below and over water from here on.
const TRIPLE_F: f64 = 32.018;
/// Mass of a mole of water over that of a mole of dry air.
const MASS_RATIO: f64 = 0.621_945;
/// Halvings of an interval of some 300 K: to less than 10^-9 K.
const HALVINGS: usize = 40;

/// Pressure of the standard atmosphere in psia: 14.696 (1 - 6.8754e-6 z)^5.2559.
///
/// `altitude_ft` -1000 to 15,000 ft. Weather moves it by 0.3 psi and more.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn standard_pressure_psia(altitude_ft: f64) -> Result<f64, OutOfRange> {
    Ok(14.696 * libm::pow(1.0 - 6.8754e-6 * ALTITUDE.validate(altitude_ft)?, 5.2559))
}

/// Saturation pressure of water in psia, over ice below 32.018 °F and over water above.
///
/// `temperature_f` -60 to 180 °F.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn saturation_psia(temperature_f: f64) -> Result<f64, OutOfRange> {
    Ok(saturation(DRY_BULB.validate(temperature_f)?))
}

fn saturation(temperature_f: f64) -> f64 {
    let t = temperature_f + RANKINE;
    let log = if temperature_f <= TRIPLE_F {
        -1.021_416_5e4 / t - 4.893_242_8 - 5.376_579_4e-3 * t
            + 1.920_237_7e-7 * t * t
            + 3.557_583_2e-10 * t * t * t
            - 9.034_468_8e-14 * t * t * t * t
            + 4.163_501_9 * libm::log(t)
    } else {
        -1.044_039_7e4 / t - 11.294_650 - 2.702_235_5e-2 * t + 1.289_036_0e-5 * t * t
            - 2.478_068_1e-9 * t * t * t
            + 6.545_967_3 * libm::log(t)
    };
    libm::exp(log)
}

/// Moist air of one state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MoistAir {
    /// Dry bulb, °F.
    pub dry_bulb_f: f64,
    /// Pressure, psia.
    pub pressure_psia: f64,
    /// Humidity ratio, lb of water for a lb of dry air.
    pub humidity_ratio: f64,
}

impl MoistAir {
    /// From dry bulb and relative humidity.
    ///
    /// `dry_bulb_f` -60 to 180 °F, `humidity_pct_rh` 0 to 100 %RH, `pressure_psia` 8 to 16 psia.
    ///
    /// # Errors
    /// [`OutOfRange`] outside the ranges above.
    pub fn from_humidity(
        dry_bulb_f: f64,
        humidity_pct_rh: f64,
        pressure_psia: f64,
    ) -> Result<Self, OutOfRange> {
        let (dry_bulb_f, pressure_psia) = (DRY_BULB.validate(dry_bulb_f)?, PRESSURE.validate(pressure_psia)?);
        let vapour = saturation(dry_bulb_f) * HUMIDITY.validate(humidity_pct_rh)? / 100.0;
        Ok(Self { dry_bulb_f, pressure_psia, humidity_ratio: ratio_of(vapour, pressure_psia) })
    }

    /// From dry bulb and thermodynamic wet bulb.
    ///
    /// `dry_bulb_f` -60 to 180 °F, `wet_bulb_f` at most the dry bulb and not lower than that of dry air, `pressure_psia` 8 to 16 psia.
    ///
    /// # Errors
    /// [`OutOfRange`] outside the ranges above.
    pub fn from_wet_bulb(dry_bulb_f: f64, wet_bulb_f: f64, pressure_psia: f64) -> Result<Self, OutOfRange> {
        let (dry_bulb_f, pressure_psia) = (DRY_BULB.validate(dry_bulb_f)?, PRESSURE.validate(pressure_psia)?);
        let wet = Argument { what: "wet bulb", greatest: dry_bulb_f, ..DRY_BULB }.validate(wet_bulb_f)?;
        // Less than nothing: no air of this dry bulb has so low a wet bulb.
        let ratio = ratio_at_wet_bulb(dry_bulb_f, wet, pressure_psia);
        Ok(Self { dry_bulb_f, pressure_psia, humidity_ratio: RATIO.validate(ratio)? })
    }

    /// Relative humidity, %RH.
    #[must_use]
    pub fn humidity_pct_rh(&self) -> f64 {
        100.0 * self.vapour_psia() / saturation(self.dry_bulb_f)
    }

    /// Thermodynamic wet bulb, °F.
    #[must_use]
    pub fn wet_bulb_f(&self) -> f64 {
        // The ratio at a wet bulb grows with it, from dry air up to saturation at the dry bulb.
        let (mut low, mut high) = (self.dry_bulb_f - 150.0, self.dry_bulb_f);
        for _ in 0..HALVINGS {
            let middle = (low + high) / 2.0;
            if ratio_at_wet_bulb(self.dry_bulb_f, middle, self.pressure_psia) > self.humidity_ratio {
                high = middle;
            } else {
                low = middle;
            }
        }
        (low + high) / 2.0
    }

    /// Dew point, °F; `None` for air so dry that it lies below -60 °F.
    #[must_use]
    pub fn dew_point_f(&self) -> Option<f64> {
        let vapour = self.vapour_psia();
        let (mut low, mut high) = (DRY_BULB.least, self.dry_bulb_f);
        if vapour < saturation(low) {
            return None;
        }
        for _ in 0..HALVINGS {
            let middle = (low + high) / 2.0;
            if saturation(middle) > vapour {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some((low + high) / 2.0)
    }

    /// Enthalpy, Btu for a lb of dry air: 0.240 t + W (1061 + 0.444 t). Zero is dry air at 0 °F, another zero than that of SI tables.
    #[must_use]
    pub fn enthalpy_btu_per_lb(&self) -> f64 {
        0.240 * self.dry_bulb_f + self.humidity_ratio * (1061.0 + 0.444 * self.dry_bulb_f)
    }

    /// Volume, ft3 for a lb of dry air.
    #[must_use]
    pub fn volume_ft3_per_lb(&self) -> f64 {
        0.370_486 * (self.dry_bulb_f + RANKINE) * (1.0 + 1.607_858 * self.humidity_ratio) / self.pressure_psia
    }

    /// Density, lb of moist air in a ft3.
    #[must_use]
    pub fn density_lb_per_ft3(&self) -> f64 {
        (1.0 + self.humidity_ratio) / self.volume_ft3_per_lb()
    }

    fn vapour_psia(&self) -> f64 {
        self.pressure_psia * self.humidity_ratio / (MASS_RATIO + self.humidity_ratio)
    }
}

fn ratio_of(vapour_psia: f64, pressure_psia: f64) -> f64 {
    MASS_RATIO * vapour_psia / (pressure_psia - vapour_psia)
}

/// Humidity ratio of air with this wet bulb; the balance of the chapter, over water or ice.
fn ratio_at_wet_bulb(dry_bulb_f: f64, wet_bulb_f: f64, pressure_psia: f64) -> f64 {
    let saturated = ratio_of(saturation(wet_bulb_f), pressure_psia);
    let apart = 0.240 * (dry_bulb_f - wet_bulb_f);
    if wet_bulb_f >= 32.0 {
        ((1093.0 - 0.556 * wet_bulb_f) * saturated - apart) / (1093.0 + 0.444 * dry_bulb_f - wet_bulb_f)
    } else {
        ((1220.0 - 0.04 * wet_bulb_f) * saturated - apart) / (1220.0 + 0.444 * dry_bulb_f - 0.48 * wet_bulb_f)
    }
}

#[cfg(test)]
mod tests;
