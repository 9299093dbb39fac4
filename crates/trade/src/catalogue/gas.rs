//! Gas heat: declarations of `gas.rs`.

use super::{Function, called, function, number, pick, returns, word};
use crate::gas::{
    self, ALTITUDE, BAROMETER, CO, CO2, DIAL, DRAFT, FLOW, FLUE_RISE, Fuel, GAS_TEMPERATURE, HEATING_VALUE,
    INPUT, MANIFOLD, METER_PRESSURE, OXYGEN, SWITCH, TIME,
};

const GROUP: &str = "gas heat";
const FUELS: &[&str] = &["natural gas", "LP gas"];
const FUEL: [Fuel; 2] = [Fuel::Natural, Fuel::Lp];

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "input_ratio"(manifold_in_wc: number(MANIFOLD), rated_in_wc: called("rated manifold pressure", MANIFOLD)) -> returns(""),
        "Part of its input that a burner takes at another manifold pressure: sqrt(p / p0). Same gas, same orifice.",
        "physics", gas::input_ratio(manifold_in_wc, rated_in_wc)),
    function!(GROUP, "draft_margin"(draft_in_wc: number(DRAFT), switch_in_wc: number(SWITCH)) -> returns(""),
        "How far a draft is beyond the point at which its pressure switch gives up, as a part of that point; both without their minus sign.",
        "definition", gas::draft_margin(draft_in_wc, switch_in_wc)),
    function!(GROUP, "clocked_ft3_per_h"(dial_ft3: number(DIAL), seconds: number(TIME)) -> returns("ft3/h"),
        "Gas flow from the time of one turn of a dial: 3600 ft3 / s. Every other appliance on the meter is off.",
        "definition", gas::clocked_ft3_per_h(dial_ft3, seconds)),
    function!(GROUP, "standard_ft3_per_h"(ft3_per_h: number(FLOW), barometer_psia: number(BAROMETER), gauge_in_wc: number(METER_PRESSURE), gas_F: number(GAS_TEMPERATURE)) -> returns("ft3/h"),
        "Gas flow at 14.73 psia and 60 °F. A meter that corrects by itself is not corrected again.",
        "physics; the base conditions are common practice", gas::standard_ft3_per_h(ft3_per_h, barometer_psia, gauge_in_wc, gas_F)),
    function!(GROUP, "input_Btu_per_h"(ft3_per_h: number(FLOW), Btu_per_ft3: number(HEATING_VALUE)) -> returns("Btu/h"),
        "Input: flow times the supplier's heating value for these conditions.",
        "definition", gas::input_btu_per_h(ft3_per_h, Btu_per_ft3)),
    function!(GROUP, "input_at_altitude_Btu_per_h"(rated_Btu_per_h: number(INPUT), altitude_ft: number(ALTITUDE)) -> returns("Btu/h"),
        "Input allowed at an altitude where the plate says nothing else: 4 % less for each 1000 ft above 2000 ft.",
        "standard NFPA 54, from memory; the plate comes first", gas::input_at_altitude_btu_per_h(rated_Btu_per_h, altitude_ft)),
    function!(GROUP, "co_air_free_ppm"(co_ppm: number(CO), oxygen_pct: number(OXYGEN)) -> returns("ppm"),
        "Carbon monoxide, air free, from oxygen: CO * 20.9 / (20.9 - O2). Steady flame only.",
        "definition", gas::co_air_free_ppm(co_ppm, oxygen_pct)),
    function!(GROUP, "co_air_free_by_co2_ppm"(co_ppm: number(CO), co2_pct: number(CO2), fuel: word(FUELS)) -> returns("ppm"),
        "Carbon monoxide, air free, from carbon dioxide: CO * CO2max / CO2.",
        "definition", gas::co_air_free_by_co2_ppm(co_ppm, co2_pct, pick(&FUEL, fuel)?)),
    function!(GROUP, "co2_max_pct"(fuel: word(FUELS)) -> returns("%vol"),
        "The most carbon dioxide that dry flue gas can hold: no excess air.",
        "physics", pick(&FUEL, fuel).map(Fuel::co2_max_pct)),
    function!(GROUP, "excess_air_pct"(oxygen_pct: number(OXYGEN), fuel: word(FUELS)) -> returns("%"),
        "Excess air from oxygen in the dry flue gas, by stoichiometry.",
        "physics", gas::excess_air_pct(oxygen_pct, pick(&FUEL, fuel)?)),
    function!(GROUP, "stack_loss_net_pct"(flue_over_air_K: number(FLUE_RISE), oxygen_pct: number(OXYGEN), fuel: word(FUELS)) -> returns("%"),
        "Stack loss on the net heating value by Siegert's formula. Plates in the trade are on the gross value, where 9 to 10 points more are lost.",
        "from memory", gas::stack_loss_net_pct(flue_over_air_K, oxygen_pct, pick(&FUEL, fuel)?)),
    function!(GROUP, "combustion_efficiency_net_pct"(flue_over_air_K: number(FLUE_RISE), oxygen_pct: number(OXYGEN), fuel: word(FUELS)) -> returns("%"),
        "100 % less the stack loss, on the net heating value; jacket and cycling losses are not in it.",
        "from memory", gas::stack_loss_net_pct(flue_over_air_K, oxygen_pct, pick(&FUEL, fuel)?).map(|loss| 100.0 - loss)),
];
