//! Units of expressions: what is refused, with its place and words, and what is taken.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing)] // test code
mod support;

use support::{load, shown};

/// Readings, nameplate values and limits of many kinds.
const HEADER: &str = r#"title("T");
reads("volts", "V ac"); reads("dc", "V dc"); reads("amps", "A ac"); reads("air", "°F"); reads("other", "°F"); reads("body", "°C");
reads("wet", "°F"); reads("suction", "psig"); reads("milli", "mV ac"); reads("cap", "uF"); reads("oxygen", "%vol");
nameplate("rated", "V"); nameplate("tolerance", "%"); nameplate("plate_cap", "uF"); nameplate("days", "1");
limit("drop", 100, "mV", "physics: of a test"); limit("rise", 5, "delta°F", "physics: of a test"); limit("share", 10, "%", "physics: of a test");
limit("absolute", 14.7, "psia", "physics: of a test"); limit("most", 225, "°F", "physics: of a test"); limit("split", 3, "K", "physics: of a test");
"#;

/// The errors of a rule that judges this expression, as `line:column: message`.
fn errors(judge: &str) -> Vec<String> {
    let text = format!("{HEADER}fn judge(m, plate, limit) {{\n    {judge}\n}}");
    match load(&text) {
        Ok(_) => Vec::new(),
        Err(list) => list
            .into_iter()
            .filter(|found| found.severity == script::Severity::Error)
            .map(|found| format!("{}:{}: {}", found.found.line, found.found.column, found.found.message))
            .collect(),
    }
}

fn refused(judge: &str, wanted: &str) {
    assert_eq!(errors(judge), [wanted], "{judge}");
}

fn judged(value: &str, limit: &str, unit: &str) -> String {
    format!("at_most(\"x\", {value}, {limit}).unit(\"{unit}\").source(\"physics: of a test\")")
}

#[test]
fn unlike_quantities_do_not_meet() {
    refused(
        &judged("m.volts + m.amps", "5", "V"),
        "8:26: + takes like quantities, not V ac (voltage) and A ac (current)",
    );
    refused(
        &judged("m.volts", "limit.drop", "V"),
        "8:5: at_most takes one unit, not V ac and mV, both voltage: declare both in mV",
    );
    refused(
        "if m.milli > plate.rated { return no_verdict(\"n\"); }\n    no_verdict(\"o\")",
        "8:16: > takes one unit, not mV ac and V, both voltage: declare both in V",
    );
    refused(
        &judged("max(m.air, limit.rise)", "5", "°F"),
        "8:18: max takes like quantities, not °F (temperature) and delta°F (temperature difference): take one \
         temperature from the other first",
    );
    refused(
        &judged("m.air", "limit.rise", "°F"),
        "8:5: at_most takes like quantities, not °F (temperature) and delta°F (temperature difference): take one \
         temperature from the other first",
    );
    refused(
        &judged("m.suction", "limit.absolute", "psig"),
        "8:5: at_most takes like quantities, not psig (gauge pressure) and psia (absolute pressure): write \
         absolute_psia(psig, altitude_ft) for the gauge pressure",
    );
    refused(
        &judged("m.volts - m.dc", "5", "V"),
        "8:26: -: V ac is not V dc; declare both as ac, both as dc, or leave it out where it does not matter",
    );
    refused(
        &judged("m.air + m.other", "5", "°F"),
        "8:24: two values in °F have no sum: °F counts from a zero of its own; add a difference, in delta°F",
    );
}

#[test]
fn a_formula_takes_its_own_unit() {
    refused(
        &judged("target_superheat_F(m.wet, m.body)", "5", "delta°F"),
        "8:18: outdoor_F of target_superheat_F takes one unit, not °C and °F, both temperature: declare both in °F",
    );
    refused(
        &judged("relative_humidity_pct(m.air, m.wet, m.suction)", "5", "%RH"),
        "8:18: pressure_psia of relative_humidity_pct takes like quantities, not psig (gauge pressure) and psia \
         (absolute pressure): write absolute_psia(psig, altitude_ft) for the gauge pressure",
    );
    refused(
        &judged("airflow_by_rise_cfm(50000, m.air, 1.08)", "5", "cfm"),
        "8:18: rise_F of airflow_by_rise_cfm takes like quantities, not °F (temperature) and delta°F (temperature \
         difference): take one temperature from the other first",
    );
}

#[test]
fn a_judgement_is_in_its_unit() {
    refused(
        &judged("m.volts", "5", "A"),
        "8:30: this judgement takes like quantities, not V ac (voltage) and A (current)",
    );
    // The unit that a name gives.
    refused(
        "at_most(\"amps\", m.volts, plate.rated)",
        "8:5: this judgement takes like quantities, not V ac (voltage) and A (current)",
    );
}

#[test]
fn percent_is_divided_by_a_hundred_once() {
    let band = |band: &str| judged("m.cap", band, "uF");
    assert_eq!(errors(&band("plate.plate_cap * plate.tolerance / 100")), [""; 0]);
    assert_eq!(errors(&band("plate.plate_cap * (1 + plate.tolerance / 100)")), [""; 0]);
    let wanted = "at_most: uF times % is 100 times too much here; divide it by 100";
    refused(&band("plate.plate_cap * plate.tolerance"), &format!("8:5: {wanted}"));
    refused(&band("plate.plate_cap * (1 + plate.tolerance)"), &format!("8:5: {wanted}"));
    refused(
        &judged("m.cap / plate.plate_cap", "limit.share", "%"),
        "8:5: at_most takes one unit, not a share of one and %: write the share of one times 100, or divide the % by 100",
    );
}

#[test]
fn like_quantities_meet() {
    for judge in [
        judged("m.volts - plate.rated", "5", "V"),
        judged("m.air - m.other", "limit.rise", "delta°F"),
        judged("m.air + limit.rise", "limit.most", "°F"),
        judged("abs(m.body - 20)", "40", "°C"),
        judged("m.cap / plate.plate_cap * 100", "limit.share", "%"),
        judged("max(m.air - m.other, 0)", "limit.rise", "delta°F"),
        judged("m.volts * m.amps", "500", "VA"),
        judged("co_air_free_ppm(50, m.oxygen)", "400", "ppm"),
        judged("pole_ratio(m.milli, m.milli, m.milli)", "1.5", "1"),
        judged("plate.days", "365", "d"),
        judged("twice(m.volts) - twice(m.volts)", "5", "V") + "\n}\nfn twice(a) {\n 2 * a",
    ] {
        assert_eq!(errors(&judge), [""; 0], "{judge}");
    }
    // One function, once for volts and once for amps.
    refused(
        &(judged("twice(m.volts) - twice(m.amps)", "5", "V") + "\n}\nfn twice(a) {\n 2 * a"),
        "8:33: - takes like quantities, not V ac (voltage) and A ac (current)",
    );
    assert!(
        shown(&load(&format!("{HEADER}fn judge(m, plate) {{ no_verdict(\"n\") }}")).unwrap().warnings)
            .contains("never used")
    );
}
