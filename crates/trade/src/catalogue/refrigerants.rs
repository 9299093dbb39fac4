//! Refrigerant circuit: declarations of `circuit.rs` and `suspects.rs`.

use super::{Function, Returns, called, function, number, pick, returns, word};
use crate::circuit::{self, AIR, CHARGE, DAYS, GAUGE, LINE, MASS, OUTDOOR, SATURATED, SUPERHEAT, WET_BULB};
use crate::psychro::ALTITUDE;
use crate::range::{Argument, OutOfRange};
use crate::refrigerant::{Refrigerant, Saturation};
use crate::suspects::{self, Level, Metering, Pattern, Suspect};

const GROUP: &str = "refrigerant circuit";
const LEVELS: &[&str] = &["low", "normal", "high", "not read"];
const LEVEL: [Level; 4] = [Level::Low, Level::Normal, Level::High, Level::Unknown];
const THREE: &[&str] = &["low", "normal", "high"];
const ANY: Argument = Argument { what: "number", unit: "", least: f64::MIN, greatest: f64::MAX };
const METERINGS: &[&str] = &["fixed orifice", "TXV"];
const METERING: [Metering; 2] = [Metering::FixedOrifice, Metering::Valve];
/// The suspects, and none.
const SUSPECTS: &[&str] = &{
    let [a, b, c, d, e, f, g, h] = Suspect::NAMES;
    [a, b, c, d, e, f, g, h, "none"]
};

/// What to read next, by suspect.
const NEXT: &[&str] = &{
    let [a, b, c, d, e, f, g, h] = Suspect::ALL;
    [
        a.next_reading(),
        b.next_reading(),
        c.next_reading(),
        d.next_reading(),
        e.next_reading(),
        f.next_reading(),
        g.next_reading(),
        h.next_reading(),
    ]
};

fn fluid(place: f64) -> Result<Refrigerant, OutOfRange> {
    pick(&Refrigerant::ALL, place)
}

/// The place in the list of the suspect at this rank; "none" where there is none.
fn suspect(rank: usize, words: [f64; 5]) -> Result<f64, OutOfRange> {
    let [metering, superheat, subcooling, suction, head] = words;
    let pattern = Pattern {
        metering: pick(&METERING, metering)?,
        superheat: pick(&LEVEL, superheat)?,
        subcooling: pick(&LEVEL, subcooling)?,
        suction: pick(&LEVEL, suction)?,
        head: pick(&LEVEL, head)?,
    };
    let ranked = suspects::rank(pattern).get(rank).copied().flatten();
    let place = ranked.and_then(|ranked| Suspect::ALL.iter().position(|known| *known == ranked.suspect));
    Ok(place.unwrap_or(Suspect::ALL.len()) as f64)
}

pub(super) const ALL: &[Function] = &[
    function!(GROUP, "absolute_psia"(psig: number(GAUGE), altitude_ft: number(ALTITUDE)) -> returns("psia"),
        "Absolute pressure: gauge plus the standard atmosphere at that altitude.",
        "definition", circuit::absolute_psia(psig, altitude_ft)),
    function!(GROUP, "dew_temperature_F"(refrigerant: word(Refrigerant::NAMES), psig: number(GAUGE), altitude_ft: number(ALTITUDE)) -> returns("°F"),
        "Dew temperature at a gauge pressure: superheat counts from here.",
        "physics, CoolProp 8.0.0", circuit::saturation_f(fluid(refrigerant)?, Saturation::Dew, psig, altitude_ft)),
    function!(GROUP, "bubble_temperature_F"(refrigerant: word(Refrigerant::NAMES), psig: number(GAUGE), altitude_ft: number(ALTITUDE)) -> returns("°F"),
        "Bubble temperature at a gauge pressure: subcooling counts from here.",
        "physics, CoolProp 8.0.0", circuit::saturation_f(fluid(refrigerant)?, Saturation::Bubble, psig, altitude_ft)),
    function!(GROUP, "dew_pressure_psig"(refrigerant: word(Refrigerant::NAMES), saturated_F: number(SATURATED), altitude_ft: number(ALTITUDE)) -> returns("psig"),
        "Gauge pressure whose dew temperature this is.",
        "physics, CoolProp 8.0.0", circuit::saturation_psig(fluid(refrigerant)?, Saturation::Dew, saturated_F, altitude_ft)),
    function!(GROUP, "bubble_pressure_psig"(refrigerant: word(Refrigerant::NAMES), saturated_F: number(SATURATED), altitude_ft: number(ALTITUDE)) -> returns("psig"),
        "Gauge pressure whose bubble temperature this is.",
        "physics, CoolProp 8.0.0", circuit::saturation_psig(fluid(refrigerant)?, Saturation::Bubble, saturated_F, altitude_ft)),
    function!(GROUP, "superheat_F"(refrigerant: word(Refrigerant::NAMES), suction_psig: number(GAUGE), suction_line_F: number(LINE), altitude_ft: number(ALTITUDE)) -> returns("delta°F"),
        "Suction line less dew temperature; negative: liquid in the line, or a probe that does not touch.",
        "definition", circuit::superheat_f(fluid(refrigerant)?, suction_psig, suction_line_F, altitude_ft)),
    function!(GROUP, "subcooling_F"(refrigerant: word(Refrigerant::NAMES), liquid_psig: number(GAUGE), liquid_line_F: number(LINE), altitude_ft: number(ALTITUDE)) -> returns("delta°F"),
        "Bubble temperature less liquid line.",
        "definition", circuit::subcooling_f(fluid(refrigerant)?, liquid_psig, liquid_line_F, altitude_ft)),
    function!(GROUP, "target_superheat_F"(return_wet_bulb_F: number(WET_BULB), outdoor_F: number(OUTDOOR)) -> returns("delta°F"),
        "Target superheat of a fixed orifice: (3 wet bulb - 80 - outdoor) / 2. Below 5 °F no charge is judged: an error.",
        "common practice", circuit::target_superheat_f(return_wet_bulb_F, outdoor_F)),
    function!(GROUP, "condensing_over_ambient_F"(refrigerant: word(Refrigerant::NAMES), liquid_psig: number(GAUGE), outdoor_F: number(AIR), altitude_ft: number(ALTITUDE)) -> returns("delta°F"),
        "Bubble temperature less outdoor air.",
        "definition", circuit::condensing_over_ambient_f(fluid(refrigerant)?, liquid_psig, outdoor_F, altitude_ft)),
    function!(GROUP, "evaporator_difference_F"(refrigerant: word(Refrigerant::NAMES), suction_psig: number(GAUGE), return_F: number(AIR), altitude_ft: number(ALTITUDE)) -> returns("delta°F"),
        "Return air less dew temperature.",
        "definition", circuit::evaporator_difference_f(fluid(refrigerant)?, suction_psig, return_F, altitude_ft)),
    function!(GROUP, "compression_ratio"(suction_psig: number(GAUGE), discharge_psig: number(GAUGE), altitude_ft: number(ALTITUDE)) -> returns(""),
        "Discharge over suction, both absolute.",
        "definition", circuit::compression_ratio(suction_psig, discharge_psig, altitude_ft)),
    function!(GROUP, "expected_discharge_F"(refrigerant: word(Refrigerant::NAMES), evaporating_F: number(SATURATED), condensing_F: called("condensing temperature", SATURATED), superheat: number(SUPERHEAT)) -> returns("°F"),
        "Discharge temperature of a compressor of 70 % isentropic efficiency that loses no heat: a model, no limit; real lines read lower.",
        "physics, a fit to CoolProp 8.0.0 within 2.3 K", circuit::expected_discharge_f(fluid(refrigerant)?, evaporating_F, condensing_F, superheat)),
    function!(GROUP, "annual_leak_pct"(added_lb: number(MASS), charge_lb: number(CHARGE), days: number(DAYS)) -> returns("%"),
        "Leak rate for a year by one addition annualised; each circuit by itself. Which units the law covers is for the site's compliance officer.",
        "standard 40 CFR 82.152, looked up second-hand", circuit::annual_leak_pct(added_lb, charge_lb, days)),
    function!(GROUP, "rolling_leak_pct"(added_in_365_days_lb: number(MASS), charge_lb: number(CHARGE)) -> returns("%"),
        "Leak rate for a year as all additions of the last 365 days together.",
        "standard 40 CFR 82.152, from memory", circuit::rolling_leak_pct(added_in_365_days_lb, charge_lb)),
    function!(GROUP, "level_of"(value: number(ANY), low: number(ANY), high: number(ANY)) -> Returns::Word(THREE),
        "Where a value lies to its window: low, normal or high.",
        "definition", Ok(if value < low { 0.0 } else if value > high { 2.0 } else { 1.0 })),
    function!(GROUP, "first_suspect"(metering: word(METERINGS), superheat: word(LEVELS), subcooling: word(LEVELS), suction: word(LEVELS), head: word(LEVELS)) -> Returns::Word(SUSPECTS),
        "What the pattern speaks of first, each reading against its own window. Read only after the airflow is proved.",
        "common practice", suspect(0, [metering, superheat, subcooling, suction, head])),
    function!(GROUP, "second_suspect"(metering: word(METERINGS), superheat: word(LEVELS), subcooling: word(LEVELS), suction: word(LEVELS), head: word(LEVELS)) -> Returns::Word(SUSPECTS),
        "What it speaks of next.",
        "common practice", suspect(1, [metering, superheat, subcooling, suction, head])),
    function!(GROUP, "next_reading"(suspect: word(&Suspect::NAMES)) -> Returns::Word(NEXT),
        "The reading that would tell a suspect from others like it.",
        "common practice", pick(&Suspect::ALL, suspect).map(|_| suspect)),
];
