//! Capacitors: declarations of `capacitor.rs`.

use super::{Function, Returns, called, function, number, returns};
use crate::capacitor::{
    self, CAPACITANCE, CAPACITANCE_NOT_ZERO, CASE, COEFFICIENT, CURRENT, ESR, FREQUENCY, RESISTANCE,
    Replacement, TANGENT, TIME, VOLTAGE, VOLTAGE_NOT_ZERO,
};

const GROUP: &str = "capacitors";
const FITS: &[&str] = &["fits", "other capacitance", "fewer volts"];

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "capacitance_under_load_uF"(amps: number(CURRENT), volts: number(VOLTAGE_NOT_ZERO), hertz: number(FREQUENCY)) -> returns("uF"),
        "Capacitance from the current through a capacitor and the volts across it: amps * 10^6 / (2 pi hertz volts).",
        "physics", capacitor::capacitance_under_load_uf(amps, volts, hertz)),
    function!(GROUP, "capacitor_current_A"(microfarads: number(CAPACITANCE), volts: number(VOLTAGE), hertz: number(FREQUENCY)) -> returns("A"),
        "Current through a capacitor: 2 pi hertz * farads * volts.",
        "physics", capacitor::current_a(microfarads, volts, hertz)),
    function!(GROUP, "series_uF"(first: number(CAPACITANCE), second: number(CAPACITANCE)) -> returns("uF"),
        "Two capacitors in series: c1 c2 / (c1 + c2); what HERM to FAN of a dual can reads.",
        "physics", capacitor::series_uf(first, second)),
    function!(GROUP, "time_constant_s"(microfarads: number(CAPACITANCE_NOT_ZERO), ohms: number(RESISTANCE)) -> returns("s"),
        "Time constant of a capacitor and a resistor: ohms * farads.",
        "physics", capacitor::time_constant_s(microfarads, ohms)),
    function!(GROUP, "discharge_volts"(start_volts: called("voltage at the start", VOLTAGE), microfarads: number(CAPACITANCE_NOT_ZERO), ohms: number(RESISTANCE), seconds: number(TIME)) -> returns("V"),
        "Volts left after a time across a resistor. A real capacitor recovers a little afterwards: read it before hands go in.",
        "physics", capacitor::discharge_volts(start_volts, microfarads, ohms, seconds)),
    function!(GROUP, "discharge_time_s"(start_volts: called("voltage at the start", VOLTAGE_NOT_ZERO), end_volts: called("voltage at the end", VOLTAGE_NOT_ZERO), microfarads: number(CAPACITANCE_NOT_ZERO), ohms: number(RESISTANCE)) -> returns("s"),
        "Time until a capacitor across a resistor has fallen to the end volts.",
        "physics", capacitor::discharge_time_s(start_volts, end_volts, microfarads, ohms)),
    function!(GROUP, "stored_energy_J"(microfarads: number(CAPACITANCE), volts: number(VOLTAGE)) -> returns("J"),
        "Energy in a charged capacitor: farads * volts^2 / 2.",
        "physics", capacitor::stored_energy_j(microfarads, volts)),
    function!(GROUP, "discharge_power_W"(volts: number(VOLTAGE), ohms: number(RESISTANCE)) -> returns("W"),
        "Power that a discharge resistor takes at the first instant: volts^2 / ohms.",
        "physics", capacitor::discharge_power_w(volts, ohms)),
    function!(GROUP, "crest_volts"(volts_rms: number(VOLTAGE)) -> returns("V"),
        "Crest of a sine wave: volts * sqrt 2.",
        "physics", capacitor::crest_volts(volts_rms)),
    function!(GROUP, "loss_tangent"(esr_ohms: number(ESR), microfarads: number(CAPACITANCE), hertz: number(FREQUENCY)) -> returns(""),
        "Loss tangent from the series resistance: 2 pi f C R; near 0.001 when new, rejected near 0.02.",
        "definition", capacitor::loss_tangent(esr_ohms, microfarads, hertz)),
    function!(GROUP, "esr_ohm"(tangent: number(TANGENT), microfarads: number(CAPACITANCE_NOT_ZERO), hertz: number(FREQUENCY)) -> returns("ohm"),
        "Series resistance that makes a loss tangent.",
        "definition", capacitor::esr_ohm(tangent, microfarads, hertz)),
    function!(GROUP, "capacitance_at_uF"(microfarads: number(CAPACITANCE), read_C: number(CASE), wanted_C: called("wanted temperature", CASE), ppm_per_K: number(COEFFICIENT)) -> returns("uF"),
        "Capacitance at another temperature than it was read at; polypropylene has some -300 ppm/K.",
        "definition; the figures of polypropylene from memory", capacitor::at_temperature_uf(microfarads, read_C, wanted_C, ppm_per_K)),
    function!(GROUP, "capacitor_replacement"(plate_uF: number(CAPACITANCE_NOT_ZERO), plate_volts: number(VOLTAGE_NOT_ZERO), new_uF: called("capacitance of the new one", CAPACITANCE_NOT_ZERO), new_volts: called("voltage of the new one", VOLTAGE_NOT_ZERO)) -> Returns::Word(FITS),
    "Whether a capacitor may take another's place: the same uF, volts at or above. Terminals, temperature and protection class besides.",
    "common practice", capacitor::replacement(plate_uF, plate_volts, new_uF, new_volts).map(|fit| match fit {
        Replacement::Fits => 0.0,
        Replacement::OtherCapacitance => 1.0,
        Replacement::FewerVolts => 2.0,
    })),
];
