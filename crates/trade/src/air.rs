//! Air side: heat carried by air, airflow by temperature rise, outside-air fraction, static pressure, velocity, flow by pressure drop,
//! temperature split. Does not judge; rules do.

use crate::psychro::{MoistAir, standard_pressure_psia};
use crate::range::{Argument, OutOfRange};

pub(crate) const FLOW: Argument = Argument { what: "airflow", unit: "cfm", least: 0.0, greatest: 1e6 };
pub(crate) const FACTOR: Argument =
    Argument { what: "sensible factor", unit: "Btu/h per cfm and °F", least: 0.4, greatest: 1.4 };
pub(crate) const RISE: Argument =
    Argument { what: "temperature difference", unit: "°F", least: -200.0, greatest: 200.0 };
pub(crate) const RISE_NOT_ZERO: Argument = Argument { least: 1.0, ..RISE };
pub(crate) const HEAT: Argument = Argument { what: "heat output", unit: "Btu/h", least: 0.0, greatest: 1e8 };
pub(crate) const TEMPERATURE: Argument =
    Argument { what: "air temperature", unit: "°F", least: -60.0, greatest: 180.0 };
pub(crate) const STATIC: Argument =
    Argument { what: "static pressure", unit: "in. w.c.", least: -20.0, greatest: 20.0 };
pub(crate) const DROP: Argument =
    Argument { what: "pressure drop", unit: "in. w.c.", least: 1e-4, greatest: 20.0 };
pub(crate) const DENSITY: Argument =
    Argument { what: "air density", unit: "lb/ft3", least: 0.02, greatest: 0.12 };

/// Heat in Btu/h that one cfm takes along for each °F, of dry air at 70 °F: 60 x density x 0.240. At sea level the customary 1.08.
///
/// `altitude_ft` -1000 to 15,000 ft. Source: physics, ASHRAE Fundamentals chapter 1 for the density.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn sensible_factor(altitude_ft: f64) -> Result<f64, OutOfRange> {
    let air = MoistAir::from_humidity(70.0, 0.0, standard_pressure_psia(altitude_ft)?)?;
    Ok(60.0 * 0.240 / air.volume_ft3_per_lb())
}

/// Sensible heat in Btu/h: factor x cfm x difference. Negative when the air is cooled.
///
/// `cfm` 0 to 10^6, `rise_f` -200 to 200 °F, `factor` 0.4 to 1.4, see [`sensible_factor`]. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn sensible_btu_per_h(cfm: f64, rise_f: f64, factor: f64) -> Result<f64, OutOfRange> {
    Ok(FACTOR.validate(factor)? * FLOW.validate(cfm)? * RISE.validate(rise_f)?)
}

/// Total heat in Btu/h that is taken from air: 60 cfm / v x (h1 - h2), with the volume of the air that enters, where the flow is meant.
///
/// `cfm` 0 to 10^6. Source: definition; the customary 4.5 is 60 x 0.075.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn total_btu_per_h(cfm: f64, entering: &MoistAir, leaving: &MoistAir) -> Result<f64, OutOfRange> {
    let pounds = 60.0 * FLOW.validate(cfm)? / entering.volume_ft3_per_lb();
    Ok(pounds * (entering.enthalpy_btu_per_lb() - leaving.enthalpy_btu_per_lb()))
}

/// Airflow in cfm from the heat that is put in and the rise it makes: output / (factor x rise).
///
/// `output_btu_per_h` 0 to 10^8 (input times efficiency), `rise_f` 1 to 200 °F, averaged over the supply, out of sight of the burner, economiser
/// shut; `factor` 0.4 to 1.4. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn airflow_by_rise_cfm(output_btu_per_h: f64, rise_f: f64, factor: f64) -> Result<f64, OutOfRange> {
    Ok(HEAT.validate(output_btu_per_h)? / (FACTOR.validate(factor)? * RISE_NOT_ZERO.validate(rise_f)?))
}

/// Outside air in the mixed air, as a part: (return - mixed) / (return - outside). Below 0 or above 1: a sensor is wrong or the air is not mixed.
///
/// Temperatures -60 to 180 °F, return and outside at least 1 °F apart. Below some 10 °F apart (5.6 K) the answer is of little worth; the
/// uncertainty says so. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn outside_air_fraction(return_f: f64, mixed_f: f64, outside_f: f64) -> Result<f64, OutOfRange> {
    let [warm, mixed, outside] = [return_f, mixed_f, outside_f].map(|t| TEMPERATURE.validate(t));
    let (warm, mixed, apart) = (warm?, mixed?, warm? - outside?);
    Argument { what: "return and outside apart by", ..RISE_NOT_ZERO }.validate(libm::fabs(apart))?;
    Ok((warm - mixed) / apart)
}

/// Total external static pressure in in. w.c.: what the supply and the return duct take together, as magnitudes.
///
/// `supply_in_wc` and `return_in_wc` -20 to 20 in. w.c. against the air around the unit, with their signs. Source: definition.
///
/// # Errors
/// [`OutOfRange`] outside the range above.
pub fn external_static_in_wc(supply_in_wc: f64, return_in_wc: f64) -> Result<f64, OutOfRange> {
    Ok(libm::fabs(STATIC.validate(supply_in_wc)?) + libm::fabs(STATIC.validate(return_in_wc)?))
}

/// Air velocity in ft/min from velocity pressure: 1096.7 sqrt(p / density); 4005 sqrt(p) at 0.075 lb/ft3.
///
/// `velocity_pressure_in_wc` 0.0001 to 20 in. w.c., `density_lb_per_ft3` 0.02 to 0.12. Source: physics (Bernoulli), constant of these units.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn velocity_ft_per_min(velocity_pressure_in_wc: f64, density_lb_per_ft3: f64) -> Result<f64, OutOfRange> {
    Ok(1096.7 * libm::sqrt(DROP.validate(velocity_pressure_in_wc)? / DENSITY.validate(density_lb_per_ft3)?))
}

/// Airflow in cfm through the same filter or coil at another pressure drop: Q sqrt(p2 / p1).
///
/// `cfm` 0 to 10^6 at `drop_in_wc`, both drops 0.0001 to 20 in. w.c.; the part as clean, or as wet, as before. Source: physics (turbulent flow).
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn airflow_by_drop_cfm(cfm: f64, drop_in_wc: f64, other_drop_in_wc: f64) -> Result<f64, OutOfRange> {
    Ok(FLOW.validate(cfm)? * libm::sqrt(DROP.validate(other_drop_in_wc)? / DROP.validate(drop_in_wc)?))
}

/// Target temperature split in °F over the evaporator: -70.1339 + 0.545767 DB + 2.196192 WB - 0.0228128 WB^2.
///
/// `return_dry_bulb_f` 70 to 80 °F, `return_wet_bulb_f` 50 to 76 °F. A screen for airflow, never for charge. Source: a fit to California's
/// RA3.2 table as recalled from memory for 70 to 76 °F (worst residual 0.06 °F), extrapolated above; unverified.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn target_split_f(return_dry_bulb_f: f64, return_wet_bulb_f: f64) -> Result<f64, OutOfRange> {
    let dry = Argument { what: "return dry bulb", least: 70.0, greatest: 80.0, ..TEMPERATURE }
        .validate(return_dry_bulb_f)?;
    let wet = Argument { what: "return wet bulb", least: 50.0, greatest: 76.0, ..TEMPERATURE }
        .validate(return_wet_bulb_f)?;
    Ok(-70.1339 + 0.545_767 * dry + 2.196_192 * wet - 0.022_812_8 * wet * wet)
}

/// A climate zone's group for the fixed dry-bulb high limit of an economiser.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Zone {
    /// Warm and humid: 1A to 4A.
    WarmHumid,
    /// Cool and humid: 5A and 6A.
    CoolHumid,
    /// Dry, marine and cold: all others.
    Other,
}

/// Outdoor dry bulb in °F above which a fixed dry-bulb economiser is locked out: 65 in zones 1A to 4A, 70 in 5A and 6A, 75 elsewhere.
/// Source: standard ASHRAE 90.1, as coded in an open building library, looked up second-hand.
#[must_use]
pub const fn economiser_limit_f(zone: Zone) -> f64 {
    match zone {
        Zone::WarmHumid => 65.0,
        Zone::CoolHumid => 70.0,
        Zone::Other => 75.0,
    }
}

#[cfg(test)]
mod tests;
