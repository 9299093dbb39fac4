//! Air side: declarations of `air.rs` and `psychro.rs`. Air is given by dry bulb, wet bulb (or relative humidity) and pressure.

use super::{Function, called, function, number, pick, returns, word};
use crate::air::{self, DENSITY, DROP, FACTOR, FLOW, HEAT, RISE, RISE_NOT_ZERO, STATIC, TEMPERATURE, Zone};
use crate::psychro::{self, ALTITUDE, DRY_BULB, HUMIDITY, MoistAir, PRESSURE};
use crate::range::{Argument, OutOfRange};

const GROUP: &str = "air side";
const ZONES: &[&str] = &["zone 1A to 4A", "zone 5A or 6A", "other zone"];
const WET_BULB: Argument = Argument { what: "wet bulb", ..DRY_BULB };
const SPLIT_DRY: Argument = Argument { what: "return dry bulb", least: 70.0, greatest: 80.0, ..TEMPERATURE };
const SPLIT_WET: Argument = Argument { what: "return wet bulb", least: 50.0, greatest: 76.0, ..TEMPERATURE };

fn wet(dry_bulb: f64, wet_bulb: f64, pressure: f64) -> Result<MoistAir, OutOfRange> {
    MoistAir::from_wet_bulb(dry_bulb, wet_bulb, pressure)
}

fn humid(dry_bulb: f64, humidity: f64, pressure: f64) -> Result<MoistAir, OutOfRange> {
    MoistAir::from_humidity(dry_bulb, humidity, pressure)
}

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "standard_pressure_psia"(altitude_ft: number(ALTITUDE)) -> returns("psia"),
        "Pressure of the standard atmosphere at an altitude. Weather moves it by 0.3 psi and more.",
        "standard ASHRAE Fundamentals 2017, chapter 1, from memory", psychro::standard_pressure_psia(altitude_ft)),
    function!(GROUP, "relative_humidity_pct"(dry_bulb_F: number(DRY_BULB), wet_bulb_F: number(WET_BULB), pressure_psia: number(PRESSURE)) -> returns("%RH"),
        "Relative humidity from dry and wet bulb.",
        "standard ASHRAE Fundamentals 2017, chapter 1, from memory",
        wet(dry_bulb_F, wet_bulb_F, pressure_psia).map(|air| air.humidity_pct_rh())),
    function!(GROUP, "wet_bulb_F"(dry_bulb_F: number(DRY_BULB), humidity_pct: number(HUMIDITY), pressure_psia: number(PRESSURE)) -> returns("°F"),
        "Wet bulb from dry bulb and relative humidity.",
        "standard ASHRAE Fundamentals 2017, chapter 1, from memory",
        humid(dry_bulb_F, humidity_pct, pressure_psia).map(|air| air.wet_bulb_f())),
    function!(GROUP, "dew_point_F"(dry_bulb_F: number(DRY_BULB), humidity_pct: number(HUMIDITY), pressure_psia: number(PRESSURE)) -> returns("°F"),
        "Dew point from dry bulb and relative humidity; an error below -60 °F.",
        "standard ASHRAE Fundamentals 2017, chapter 1, from memory",
        humid(dry_bulb_F, humidity_pct, pressure_psia)?.dew_point_f().ok_or_else(|| HUMIDITY.error())),
    function!(GROUP, "enthalpy_Btu_per_lb"(dry_bulb_F: number(DRY_BULB), wet_bulb_F: number(WET_BULB), pressure_psia: number(PRESSURE)) -> returns("Btu/lb"),
        "Enthalpy for a pound of dry air; zero is dry air at 0 °F.",
        "standard ASHRAE Fundamentals 2017, chapter 1, from memory",
        wet(dry_bulb_F, wet_bulb_F, pressure_psia).map(|air| air.enthalpy_btu_per_lb())),
    function!(GROUP, "humidity_ratio"(dry_bulb_F: number(DRY_BULB), wet_bulb_F: number(WET_BULB), pressure_psia: number(PRESSURE)) -> returns("lb/lb"),
        "Pounds of water for a pound of dry air.",
        "standard ASHRAE Fundamentals 2017, chapter 1, from memory",
        wet(dry_bulb_F, wet_bulb_F, pressure_psia).map(|air| air.humidity_ratio)),
    function!(GROUP, "specific_volume_ft3_per_lb"(dry_bulb_F: number(DRY_BULB), wet_bulb_F: number(WET_BULB), pressure_psia: number(PRESSURE)) -> returns("ft3/lb"),
        "Volume of a pound of dry air with its moisture.",
        "standard ASHRAE Fundamentals 2017, chapter 1, from memory",
        wet(dry_bulb_F, wet_bulb_F, pressure_psia).map(|air| air.volume_ft3_per_lb())),
    function!(GROUP, "air_density_lb_per_ft3"(dry_bulb_F: number(DRY_BULB), wet_bulb_F: number(WET_BULB), pressure_psia: number(PRESSURE)) -> returns("lb/ft3"),
        "Density of moist air.",
        "standard ASHRAE Fundamentals 2017, chapter 1, from memory",
        wet(dry_bulb_F, wet_bulb_F, pressure_psia).map(|air| air.density_lb_per_ft3())),
    function!(GROUP, "sensible_factor"(altitude_ft: number(ALTITUDE)) -> returns("Btu/h per cfm and °F"),
        "Heat that one cfm of dry air at 70 °F takes along for each °F: the customary 1.08 at sea level, less higher up.",
        "physics", air::sensible_factor(altitude_ft)),
    function!(GROUP, "sensible_Btu_per_h"(cfm: number(FLOW), rise_F: number(RISE), factor: number(FACTOR)) -> returns("Btu/h"),
        "Sensible heat: factor * cfm * difference; negative when the air is cooled.",
        "definition", air::sensible_btu_per_h(cfm, rise_F, factor)),
    function!(GROUP, "total_Btu_per_h"(cfm: number(FLOW), entering_dry_F: number(DRY_BULB), entering_wet_F: number(WET_BULB), leaving_dry_F: number(DRY_BULB), leaving_wet_F: number(WET_BULB), pressure_psia: number(PRESSURE)) -> returns("Btu/h"),
        "Total heat taken from air: 60 cfm / v (h1 - h2), with the volume of the entering air, where the flow is meant.",
        "definition",
        air::total_btu_per_h(cfm, &wet(entering_dry_F, entering_wet_F, pressure_psia)?, &wet(leaving_dry_F, leaving_wet_F, pressure_psia)?)),
    function!(GROUP, "airflow_by_rise_cfm"(output_Btu_per_h: number(HEAT), rise_F: number(RISE_NOT_ZERO), factor: number(FACTOR)) -> returns("cfm"),
        "Airflow from the heat put in (input times efficiency) and the rise it makes, averaged over the supply, out of sight of the burner, economiser shut.",
        "definition", air::airflow_by_rise_cfm(output_Btu_per_h, rise_F, factor)),
    function!(GROUP, "outside_air_fraction"(return_F: number(TEMPERATURE), mixed_F: number(TEMPERATURE), outside_F: number(TEMPERATURE)) -> returns(""),
        "Outside air in the mixed air: (return - mixed) / (return - outside). With return and outside less than some 10 °F apart it is worth little.",
        "definition", air::outside_air_fraction(return_F, mixed_F, outside_F)),
    function!(GROUP, "changeover_Btu_per_lb"(return_dry_F: number(DRY_BULB), return_wet_F: number(WET_BULB), outside_dry_F: number(DRY_BULB), outside_wet_F: number(WET_BULB), pressure_psia: number(PRESSURE)) -> returns("Btu/lb"),
        "Economiser changeover by enthalpy: return less outside air; above zero outside air cools more cheaply.",
        "definition",
        Ok(wet(return_dry_F, return_wet_F, pressure_psia)?.enthalpy_btu_per_lb() - wet(outside_dry_F, outside_wet_F, pressure_psia)?.enthalpy_btu_per_lb())),
    function!(GROUP, "external_static_in_wc"(supply_in_wc: called("static pressure after the fan", STATIC), return_in_wc: called("static pressure before it", STATIC)) -> returns("in. w.c."),
        "Total external static pressure: what supply and return duct take together.",
        "definition", air::external_static_in_wc(supply_in_wc, return_in_wc)),
    function!(GROUP, "velocity_ft_per_min"(velocity_pressure_in_wc: called("velocity pressure", DROP), density_lb_per_ft3: number(DENSITY)) -> returns("ft/min"),
        "Air velocity from velocity pressure: 1096.7 sqrt(p / density); 4005 sqrt(p) at 0.075 lb/ft3.",
        "physics", air::velocity_ft_per_min(velocity_pressure_in_wc, density_lb_per_ft3)),
    function!(GROUP, "airflow_by_drop_cfm"(cfm: number(FLOW), drop_in_wc: called("pressure drop at this flow", DROP), other_drop_in_wc: called("pressure drop now", DROP)) -> returns("cfm"),
        "Airflow through the same filter or coil at another pressure drop: cfm sqrt(p2 / p1), the part as clean and as wet as before.",
        "physics", air::airflow_by_drop_cfm(cfm, drop_in_wc, other_drop_in_wc)),
    function!(GROUP, "target_split_F"(return_dry_bulb_F: number(SPLIT_DRY), return_wet_bulb_F: number(SPLIT_WET)) -> returns("delta°F"),
        "Target temperature split over the evaporator: a screen for airflow, never for charge.",
        "from memory: a fit to California's RA3.2 table", air::target_split_f(return_dry_bulb_F, return_wet_bulb_F)),
    function!(GROUP, "economiser_limit_F"(zone: word(ZONES)) -> returns("°F"),
        "Outdoor dry bulb above which a fixed dry-bulb economiser is locked out: 65 in zones 1A to 4A, 70 in 5A and 6A, 75 elsewhere.",
        "standard ASHRAE 90.1, as coded in an open building library, looked up second-hand",
        pick(&[Zone::WarmHumid, Zone::CoolHumid, Zone::Other], zone).map(air::economiser_limit_f)),
];
