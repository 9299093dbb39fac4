//! Hermetic compressors: declarations of `compressor.rs`.

use super::{Function, Returns, called, function, number, open, returns, word};
use crate::compressor::{
    self, COEFFICIENT, CURRENT, DIVISOR, MAP_TEMPERATURE, POWER, Terminal, Terminals, VOLTAGE, WINDING,
    Windings,
};
use crate::range::OutOfRange;

const GROUP: &str = "compressors";
const OVERLOAD: &[&str] = &["inside", "outside"];
const FINDINGS: &[&str] =
    &["three windings read", "internal overload open", "a winding open", "nothing reads"];
const MAP: crate::range::Argument = COEFFICIENT;

/// `None` for an open pair.
fn read(ohms: f64) -> Option<f64> {
    (ohms < f64::INFINITY).then_some(ohms)
}

fn found(a: f64, b: f64, c: f64) -> Result<Terminals, OutOfRange> {
    match compressor::windings(Some(a), Some(b), Some(c), true)? {
        Windings::Found(terminals) => Ok(terminals),
        // Three pairs that read are always found.
        _ => Err(WINDING.error()),
    }
}

const fn name(terminal: Terminal) -> f64 {
    match terminal {
        Terminal::One => 1.0,
        Terminal::Two => 2.0,
        Terminal::Three => 3.0,
    }
}

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "compressor_common"(one_two: number(WINDING), one_three: number(WINDING), two_three: number(WINDING)) -> returns(""),
        "Which of three terminals is common, 1 to 3: the one that the largest resistance leaves out.",
        "physics", found(one_two, one_three, two_three).map(|t| name(t.common))),
    function!(GROUP, "compressor_run"(one_two: number(WINDING), one_three: number(WINDING), two_three: number(WINDING)) -> returns(""),
        "Which of three terminals is run, 1 to 3: from common the smaller resistance.",
        "physics", found(one_two, one_three, two_three).map(|t| name(t.run))),
    function!(GROUP, "compressor_start"(one_two: number(WINDING), one_three: number(WINDING), two_three: number(WINDING)) -> returns(""),
        "Which of three terminals is start, 1 to 3: from common the larger resistance.",
        "physics", found(one_two, one_three, two_three).map(|t| name(t.start))),
    function!(GROUP, "windings_finding"(one_two: open(WINDING), one_three: open(WINDING), two_three: open(WINDING), overload: word(OVERLOAD)) -> Returns::Word(FINDINGS),
    "What three resistances say, any of them open: with an overload inside, two open pairs are the overload. Let the shell cool, hours if need be, and read again before anything is condemned.",
    "physics", compressor::windings(read(one_two), read(one_three), read(two_three), overload < 0.5).map(|found| match found {
        Windings::Found(_) => 0.0,
        Windings::OverloadOpen { .. } => 1.0,
        Windings::WindingOpen { .. } => 2.0,
        Windings::NothingReads => 3.0,
    })),
    function!(GROUP, "winding_sum_error_ohm"(c_s: number(WINDING), c_r: number(WINDING), s_r: number(WINDING)) -> returns("ohm"),
        "Start to run less the sum of common to start and common to run: 0 but for the meter's doubt.",
        "physics", compressor::sum_error_ohm(c_s, c_r, s_r)),
    function!(GROUP, "crankcase_heater_ohm"(rated_volts: number(VOLTAGE), rated_watts: number(POWER)) -> returns("ohm"),
        "Resistance of a crankcase heater: volts^2 / watts. A self-regulating heater has none of its own.",
        "physics", compressor::crankcase_heater(rated_volts, rated_watts, rated_volts).map(|heater| heater.ohms)),
    function!(GROUP, "crankcase_heater_A"(rated_volts: number(VOLTAGE), rated_watts: number(POWER), volts: called("voltage that is there", VOLTAGE)) -> returns("A"),
        "Current of a crankcase heater at the voltage that is there.",
        "physics", compressor::crankcase_heater(rated_volts, rated_watts, volts).map(|heater| volts / heater.ohms)),
    function!(GROUP, "rated_load_amps"(mcc_amps: number(CURRENT), divisor: number(DIVISOR)) -> returns("A"),
        "Rated load amps from the greatest continuous current: MCC / 1.56 or / 1.4. It sizes wires and is no limit for a running compressor.",
        "common practice, from memory", compressor::rated_load_amps(mcc_amps, divisor)),
    function!(GROUP, "compressor_map"(c1: number(MAP), c2: number(MAP), c3: number(MAP), c4: number(MAP), c5: number(MAP), c6: number(MAP), c7: number(MAP), c8: number(MAP), c9: number(MAP), c10: number(MAP), evaporating: number(MAP_TEMPERATURE), condensing: number(MAP_TEMPERATURE)) -> returns(""),
        "A maker's ten-coefficient map at its evaporating and condensing dew temperatures, in the map's own units. Good only inside the map's envelope.",
        "standard AHRI 540, its form from memory",
        compressor::map_value([c1, c2, c3, c4, c5, c6, c7, c8, c9, c10], evaporating, condensing)),
];
