//! Sensors: declarations of `sensor.rs`.

use super::{Function, Returns, called, function, number, pick, returns, word};
use crate::range::{Argument, OutOfRange};
use crate::sensor::{self, LOOP_MA, LOOP_V, Loop, RTD_NOMINAL, RTD_TEMPERATURE, THERMISTOR, Thermistor};
use crate::thermocouple::{self, Couple, MILLIVOLTS};

const GROUP: &str = "sensors";
const TYPES: &[&str] = &["type II", "type III"];
const TYPE: [Thermistor; 2] = [Thermistor::TypeII, Thermistor::TypeIII];
const STATES: &[&str] = &["measuring", "fault low", "fault high"];
const JUNCTION: Argument =
    Argument { what: "junction temperature", unit: "°C", least: -200.0, greatest: 1372.0 };
const AIR: Argument = Argument { what: "temperature", unit: "°C", least: -55.0, greatest: 150.0 };
const RTD_OHMS: Argument = Argument { what: "resistance", unit: "ohm", least: 1.0, greatest: 40_000.0 };

fn percent(state: Loop, argument: Argument, value: f64) -> Result<f64, OutOfRange> {
    match state {
        Loop::Percent(percent) => Ok(percent),
        Loop::FaultLow | Loop::FaultHigh => {
            Err(OutOfRange { what: "loop signal in a fault band", value, ..argument.error() })
        }
    }
}

const fn state(state: Loop) -> f64 {
    match state {
        Loop::Percent(_) => 0.0,
        Loop::FaultLow => 1.0,
        Loop::FaultHigh => 2.0,
    }
}

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "platinum_ohm"(nominal_ohms: number(RTD_NOMINAL), celsius: number(RTD_TEMPERATURE)) -> returns("ohm"),
        "Resistance of a platinum sensor; nominal 100 for Pt100, 1000 for Pt1000.",
        "standard IEC 60751", sensor::platinum_ohm(nominal_ohms, celsius)),
    function!(GROUP, "platinum_C"(nominal_ohms: number(RTD_NOMINAL), ohms: number(RTD_OHMS)) -> returns("°C"),
        "Temperature of a platinum sensor.",
        "standard IEC 60751", sensor::platinum_c(nominal_ohms, ohms)),
    function!(GROUP, "thermistor_C"(thermistor: word(TYPES), ohms: number(THERMISTOR)) -> returns("°C"),
        "Temperature of a 10 kohm thermistor of this curve.",
        "type II: a published table; type III: from memory", sensor::thermistor_c(pick(&TYPE, thermistor)?, ohms)),
    function!(GROUP, "thermistor_ohm"(thermistor: word(TYPES), celsius: number(AIR)) -> returns("ohm"),
        "Resistance of a 10 kohm thermistor of this curve.",
        "type II: a published table; type III: from memory", sensor::thermistor_ohm(pick(&TYPE, thermistor)?, celsius)),
    function!(GROUP, "shown_if_misconfigured_C"(fitted: word(TYPES), configured: word(TYPES), celsius: number(AIR)) -> returns("°C"),
        "What the controller shows when one curve is fitted and the other configured. They agree at 25 °C.",
        "type II: a published table; type III: from memory",
        sensor::shown_if_misconfigured_c(pick(&TYPE, fitted)?, pick(&TYPE, configured)?, celsius)),
    function!(GROUP, "loop_4_20mA_pct"(milliamps: number(LOOP_MA)) -> returns("%"),
        "Percent of span of a 4-20 mA signal; an error in a fault band (3.6 mA and below, 21 mA and above).",
        "definition; the fault bands: standard NAMUR NE 43, from memory",
        sensor::loop_4_20_ma(milliamps).and_then(|state| percent(state, LOOP_MA, milliamps))),
    function!(GROUP, "loop_4_20mA_state"(milliamps: number(LOOP_MA)) -> Returns::Word(STATES),
        "Whether a 4-20 mA signal measures or says fault.",
        "standard NAMUR NE 43, from memory", sensor::loop_4_20_ma(milliamps).map(state)),
    function!(GROUP, "loop_2_10V_pct"(volts: number(LOOP_V)) -> returns("%"),
        "Percent of span of a 2-10 V signal; an error in a fault band (1.8 V and below, 10.5 V and above).",
        "definition; the fault bands are our own choice, common practice at best",
        sensor::loop_2_10_v(volts).and_then(|state| percent(state, LOOP_V, volts))),
    function!(GROUP, "loop_2_10V_state"(volts: number(LOOP_V)) -> Returns::Word(STATES),
        "Whether a 2-10 V signal measures or says fault.",
        "our own choice, after NAMUR NE 43: common practice at best", sensor::loop_2_10_v(volts).map(state)),
    function!(GROUP, "thermocouple_mV"(couple: word(Couple::NAMES), celsius: number(JUNCTION)) -> returns("mV"),
        "Voltage of a thermocouple against 0 °C.",
        "standard NIST Monograph 175 (ITS-90), coefficients from memory, compared with an independent package",
        thermocouple::millivolts(pick(&Couple::ALL, couple)?, celsius)),
    function!(GROUP, "thermocouple_C"(couple: word(Couple::NAMES), millivolts: number(MILLIVOLTS), cold_C: called("temperature of the cold junction", JUNCTION)) -> returns("°C"),
        "Temperature of the measuring junction.",
        "standard NIST Monograph 175 (ITS-90), coefficients from memory, compared with an independent package",
        thermocouple::temperature_c(pick(&Couple::ALL, couple)?, millivolts, cold_C)),
];
