//! Motors, belts and fans: declarations of `motor.rs` and `drive.rs`.

use super::{Function, called, function, number, pick, returns, word};
use crate::drive::{self, LENGTH};
use crate::motor::{
    self, CURRENT, FREQUENCY, HALVING_RANGE, INSULATION, Insulation, Metal, POLES, POWER_FACTOR,
    RATED_CURRENT, SPEED, TEMPERATURE, VOLTAGE, VOLTAGE_NOT_ZERO, WINDING,
};
use crate::range::Argument;

const GROUP: &str = "motors";
const METALS: &[&str] = &["copper", "aluminium"];
const METAL: [Metal; 2] = [Metal::Copper, Metal::Aluminium];
const INSULATIONS: &[&str] = &["thermoplastic", "thermoset"];
const TURNING: Argument = Argument { least: 1.0, ..SPEED };

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "winding_at_ohm"(ohms: number(WINDING), at_C: number(TEMPERATURE), wanted_C: called("wanted temperature", TEMPERATURE), metal: word(METALS)) -> returns("ohm"),
        "Resistance that a winding has at another temperature: R (k + t2) / (k + t1), k 234.5 for copper, 225 for aluminium.",
        "standard IEC 60034-1, from memory", motor::resistance_at_ohm(ohms, at_C, wanted_C, pick(&METAL, metal)?)),
    function!(GROUP, "winding_temperature_C"(cold_ohms: number(WINDING), cold_C: number(TEMPERATURE), hot_ohms: number(WINDING), metal: word(METALS)) -> returns("°C"),
        "Temperature of a winding from its resistance cold and hot.",
        "standard IEC 60034-1, from memory", motor::temperature_c(cold_ohms, cold_C, hot_ohms, pick(&METAL, metal)?)),
    function!(GROUP, "insulation_at_40C_Mohm"(megohms: number(INSULATION), at_C: number(HALVING_RANGE), insulation: word(INSULATIONS)) -> returns("Mohm"),
        "Insulation resistance brought to 40 °C. Thermoplastic halves by each 10 K; thermoset is flatter below 40 °C and wants 10 °C and more. At 20 °C the two differ by three: say which.",
        "standard IEEE 43-2013, 6.3, from memory",
        motor::insulation_at_40c_mohm(megohms, at_C, pick(&[Insulation::Thermoplastic, Insulation::Thermoset], insulation)?)),
    function!(GROUP, "absorption_ratio"(earlier_Mohm: number(INSULATION), later_Mohm: number(INSULATION)) -> returns(""),
        "Insulation resistance later over earlier: polarisation index with 10 and 1 minutes, absorption ratio with 60 and 30 seconds.",
        "standard IEEE 43, from memory", motor::absorption_ratio(earlier_Mohm, later_Mohm)),
    function!(GROUP, "synchronous_rpm"(hertz: number(FREQUENCY), poles: number(POLES)) -> returns("rpm"),
        "Synchronous speed: 120 hertz / poles.",
        "definition", motor::synchronous_rpm(hertz, poles)),
    function!(GROUP, "slip_pct"(synchronous: number(TURNING), rpm: number(SPEED)) -> returns("%"),
        "Slip: 100 (ns - n) / ns.",
        "definition", motor::slip_pct(synchronous, rpm)),
    function!(GROUP, "load_by_slip"(synchronous: number(TURNING), rated_rpm: called("rated speed", TURNING), rpm: number(SPEED), volts: number(VOLTAGE_NOT_ZERO), rated_volts: called("rated voltage", VOLTAGE_NOT_ZERO)) -> returns(""),
        "Load of an induction motor as a part of its rated load, from its slip. Good to some 20 %: plates round the rated speed.",
        "from memory", motor::load_by_slip(synchronous, rated_rpm, rpm, volts, rated_volts)),
    function!(GROUP, "load_by_amps"(amps: number(CURRENT), rated_amps: number(RATED_CURRENT), volts: number(VOLTAGE), rated_volts: called("rated voltage", VOLTAGE_NOT_ZERO)) -> returns(""),
        "Load of a motor as a part of its rated load, from its amps. Poor below half load.",
        "common practice", motor::load_by_amps(amps, rated_amps, volts, rated_volts)),
    function!(GROUP, "three_phase_kW"(volts: number(VOLTAGE), amps: number(CURRENT), power_factor: number(POWER_FACTOR)) -> returns("kW"),
        "Power taken from a three-phase line: sqrt 3 volts * amps * pf / 1000, volts line to line.",
        "definition", motor::three_phase_kw(volts, amps, power_factor)),
    function!(GROUP, "belt_length_in"(centres_in: called("distance of the centres", LENGTH), large_in: called("pitch diameter of the large sheave", LENGTH), small_in: called("pitch diameter of the small sheave", LENGTH)) -> returns("in"),
        "Length of an open belt round two sheaves.",
        "geometry, by definition; the usual approximation", drive::belt_length_in(centres_in, large_in, small_in)),
    function!(GROUP, "belt_deflection_in"(span_in: called("span", LENGTH)) -> returns("in"),
        "Deflection at mid-span that a belt is set to: 1/64 in for each inch of span.",
        "common practice", drive::belt_deflection_in(span_in)),
    function!(GROUP, "driven_rpm"(driver_rpm: number(drive::SPEED), driver_in: called("pitch diameter of the driver", LENGTH), driven_in: called("pitch diameter of the driven", LENGTH)) -> returns("rpm"),
        "Speed of the driven sheave; no slip of the belt.",
        "physics", drive::driven_rpm(driver_rpm, driver_in, driven_in)),
    function!(GROUP, "fan_flow_ratio"(old_rpm: number(drive::SPEED), new_rpm: number(drive::SPEED)) -> returns(""),
        "Fan laws: airflow goes with the speed.",
        "physics", drive::fan_laws(old_rpm, new_rpm).map(|change| change.flow)),
    function!(GROUP, "fan_pressure_ratio"(old_rpm: number(drive::SPEED), new_rpm: number(drive::SPEED)) -> returns(""),
        "Fan laws: pressure goes with the square of the speed.",
        "physics", drive::fan_laws(old_rpm, new_rpm).map(|change| change.pressure)),
    function!(GROUP, "fan_power_ratio"(old_rpm: number(drive::SPEED), new_rpm: number(drive::SPEED)) -> returns(""),
        "Fan laws: shaft power goes with the cube of the speed.",
        "physics", drive::fan_laws(old_rpm, new_rpm).map(|change| change.power)),
];
