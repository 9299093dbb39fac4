//! Supply and control power: declarations of `supply.rs`.

use super::{Function, Returns, called, function, number, returns};
use crate::supply::{
    self, CURRENT, LINE, LINE_VOLTAGE, RATED_POWER, RATED_VOLTAGE, UNBALANCE, UnbalanceCause, VOLTAGE,
};

const GROUP: &str = "supply and control";
const FOLLOWS: &[&str] = &["line", "motor", "neither"];

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "deviation_pct"(volts: number(VOLTAGE), rated_volts: number(RATED_VOLTAGE)) -> returns("%"),
        "Deviation of a voltage from the nameplate: 100 (V / Vn - 1); below the plate it is negative. A plate with two voltages is judged at its lower one downwards and its upper one upwards.",
        "definition", supply::deviation_pct(volts, rated_volts)),
    function!(GROUP, "unbalance_pct"(first: number(LINE), second: number(LINE), third: number(LINE)) -> returns("%"),
        "Unbalance of three line voltages, currents or windings: the greatest deviation from the mean over the mean.",
        "standard NEMA MG 1, 14.36, looked up second-hand", supply::unbalance_pct(first, second, third)),
    function!(GROUP, "negative_sequence_pct"(first_V: number(LINE_VOLTAGE), second_V: number(LINE_VOLTAGE), third_V: number(LINE_VOLTAGE)) -> returns("%"),
        "Negative-sequence voltage over positive-sequence voltage, from three line-to-line voltages; another measure of unbalance, larger by up to 15 %.",
        "standard IEC 61000-4-30, formula from memory", supply::negative_sequence_pct(first_V, second_V, third_V)),
    function!(GROUP, "unbalance_derating"(unbalance: number(UNBALANCE)) -> returns(""),
        "Part of its rated power that a three-phase motor may give at this unbalance (NEMA's figure), 1 down to 0.76. Above 5 % it is not to be run.",
        "standard NEMA MG 1, 14.36, points read from its curve, the one at 1 % from memory", supply::unbalance_derating(unbalance)),
    function!(GROUP, "single_phasing_current_A"(amps: number(CURRENT)) -> returns("A"),
        "Current of the two lines left when one of three is lost under the same load: amps * sqrt 3.",
        "physics, a rule of thumb", supply::single_phasing_current_a(amps)),
    function!(GROUP, "transformer_load_pct"(volts: number(VOLTAGE), amps: number(CURRENT), rated_VA: number(RATED_POWER)) -> returns("%"),
        "Load of a control transformer: 100 volts * amps / VA, at the loaded secondary.",
        "definition", supply::transformer_load_pct(volts, amps, rated_VA)),
    function!(GROUP, "secondary_on_tap_V"(rated_secondary_V: called("rated secondary voltage", RATED_VOLTAGE), tap_V: called("voltage of the tap in use", RATED_VOLTAGE), line_V: called("line voltage", RATED_VOLTAGE)) -> returns("V"),
        "Secondary volts when the primary tap is not the line's voltage: 24 V at the 240 V tap give 20.8 V on 208 V.",
        "physics", supply::secondary_on_tap_v(rated_secondary_V, tap_V, line_V)),
    function!(GROUP, "roll_the_leads"(before_1: number(CURRENT), before_2: number(CURRENT), before_3: number(CURRENT), after_1: number(CURRENT), after_2: number(CURRENT), after_3: number(CURRENT)) -> Returns::Word(FOLLOWS),
    "Supply or motor? Amps of lines 1 to 3 before and after all three motor leads were moved on by one line: the deviation stays with the line, or moves with the motor.",
    "common practice", supply::roll_the_leads([before_1, before_2, before_3], [after_1, after_2, after_3]).map(|follows| match follows {
        UnbalanceCause::Line => 0.0,
        UnbalanceCause::Motor => 1.0,
        UnbalanceCause::Neither => 2.0,
    })),
];
