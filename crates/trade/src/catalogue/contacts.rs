//! Contactors and joints: declarations of `joint.rs`.

use super::{Function, Returns, called, function, number, pick, returns, word};
use crate::joint::{self, CURRENT, DROP, EXPONENT, RESISTANCE, RISE, Reference, Severity};

const GROUP: &str = "contactors and joints";
const REFERENCES: &[&str] = &["similar part", "ambient"];
const CLASSES: &[&str] = &["none", "possible", "probable", "monitor", "major"];

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "joint_resistance_ohm"(millivolts: number(DROP), amps: number(CURRENT)) -> returns("ohm"),
        "Resistance of a closed contact or joint from its voltage drop: mV / (1000 amps).",
        "physics", joint::resistance_ohm(millivolts, amps)),
    function!(GROUP, "joint_heat_W"(millivolts: number(DROP), amps: number(CURRENT)) -> returns("W"),
        "Heat that a contact or joint gives off: mV * amps / 1000.",
        "physics", joint::heat_w(millivolts, amps)),
    function!(GROUP, "joint_mV_at_rated"(millivolts: number(DROP), amps: number(CURRENT), rated_amps: called("rated current", CURRENT)) -> returns("mV"),
        "Voltage drop that the same contact would show at its rated current. A light load hides much: scaled up many times it supports bad, hardly good.",
        "physics", joint::millivolts_at_rated(millivolts, amps, rated_amps)),
    function!(GROUP, "pole_ratio"(first: number(RESISTANCE), second: number(RESISTANCE), third: number(RESISTANCE)) -> returns(""),
        "How many times the best of three poles the worst one has: resistances, or drops at one current.",
        "definition", joint::pole_ratio(first, second, third)),
    function!(GROUP, "rise_at_full_load_K"(kelvin: number(RISE), amps: number(CURRENT), full_amps: called("full-load current", CURRENT), exponent: number(EXPONENT)) -> returns("K"),
        "Temperature difference of a warm spot at full load: dT (Ifull / I)^n; n = 2 is the upper bound, 1.6 an empirical figure from memory.",
        "physics for n = 2", joint::rise_at_full_load_k(kelvin, amps, full_amps, exponent)),
    function!(GROUP, "thermographic_class"(kelvin: number(RISE), reference: word(REFERENCES)) -> Returns::Word(CLASSES),
    "Class of a warm spot against a similar part under a similar load, or against the air around it.",
    "standard, NETA's maintenance specification, table 100.18, looked up second-hand",
    joint::severity(kelvin, pick(&[Reference::SimilarPart, Reference::Ambient], reference)?).map(|severity| match severity {
        Severity::None => 0.0,
        Severity::Possible => 1.0,
        Severity::Probable => 2.0,
        Severity::Monitor => 3.0,
        Severity::Major => 4.0,
    })),
];
