//! The round's tests: native rules (here), scripts as data (`script.rs` runs the files `*.round`), random events
//! (`property.rs`), and what needs code (`cases.rs`).
use alloc::boxed::Box;
use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec::Vec;

use quantity::{Coupling, DisplayUnit, Unit};

use super::*;
use crate::act::{Act, Display};
use crate::testing::{Judging, Native, endanger, judged, point, source, within};
use judge::rule::{
    Answer, Beyond, Header, Judgement, Outcome, PlateDefault, PlateItem, Rule, RuleError, SourceClass,
    UnitState,
};

mod cases;
mod endangered;
mod property;
mod script;
mod two_units;

fn plate_item(name: &str, unit: &str, default: PlateDefault) -> PlateItem {
    PlateItem {
        name: name.to_string(),
        unit: Unit::parse(unit).unwrap(),
        choices: Vec::new(),
        default,
        plausible: None,
        line: 1,
    }
}

/// A rule without a nameplate. Points as `name unit`, hold points by name.
fn rule(id: &'static str, points: &[(&str, &str)], hold_points: &[&str], judging: Judging) -> Native {
    let header = Header {
        title: id.to_string(),
        points: points.iter().map(|(name, unit)| point(name, unit)).collect(),
        hold_points: hold_points.iter().map(ToString::to_string).collect(),
        ..Header::default()
    };
    Native { id, header, judging }
}

const ALL_FIVE: [&str; 5] = ["locked out", "proved dead", "discharged", "one lead off", "leads proved"];

/// Values: the reading, then capacitance and tolerance of the plate.
fn run_capacitor(v: &[f64]) -> Result<Outcome, RuleError> {
    let band = v[1] * v[2] / 100.0;
    judged(alloc::vec![within("capacitance", v[0], Some(v[1] - band), Some(v[1] + band))])
}

fn with_plate(mut rule: Native) -> Native {
    rule.header.nameplate = alloc::vec![
        plate_item("capacitance", "uF", PlateDefault::Required),
        plate_item("tolerance", "%", PlateDefault::Value(6.0, source())),
    ];
    rule
}

fn error(message: &str) -> RuleError {
    RuleError {
        message: message.to_string(),
        file: "broken.rhai".to_string(),
        line: 7,
        column: 0,
        source_line: "x / 0".to_string(),
    }
}

fn bare(v: &[f64]) -> Result<Outcome, RuleError> {
    judged(alloc::vec![within("capacitance", v[0], Some(38.0), Some(42.0))])
}

fn three(v: &[f64]) -> Result<Outcome, RuleError> {
    let names = ["c_herm", "c_fan", "herm_fan"];
    judged(names.iter().zip(v).map(|(name, v)| within(name, *v, Some(3.0), Some(60.0))).collect())
}

/// The rules of the tests.
fn rules() -> RuleSet {
    let mut all: Vec<Native> = alloc::vec![
        with_plate(rule("run-capacitor", &[("capacitance", "uF")], &ALL_FIVE, run_capacitor)),
        with_plate(rule("plated", &[("capacitance", "uF")], &[], run_capacitor)),
        rule("bare", &[("capacitance", "uF")], &[], bare),
        rule("dead-only", &[("capacitance", "uF")], &["proved dead"], bare),
        rule("discharged-only", &[("capacitance", "uF")], &["discharged"], bare),
        rule("dead-and-discharged", &[("capacitance", "uF")], &["proved dead", "discharged"], bare),
        rule("leads-only", &[("capacitance", "uF")], &["leads proved"], bare),
        rule("dead-then-off", &[("capacitance", "uF")], &["proved dead", "one lead off"], bare),
        rule("off-first", &[("capacitance", "uF")], &["one lead off", "locked out"], bare),
        rule("three", &[("c_herm", "uF"), ("c_fan", "uF"), ("herm_fan", "uF")], &[], three),
        rule("two-volts", &[("l1_l2", "V ac"), ("l2_l3", "V ac")], &[], |v| {
            judged(v.iter().map(|v| within("volts", *v, Some(207.0), Some(253.0))).collect())
        }),
        // 6.1 A at 371 V and 60 Hz: 43.6 uF (CAP-05 of `tests/reference/check_values.csv`).
        rule("under-load", &[("amps", "A ac"), ("volts", "V ac")], &["live work approved"], |v| {
            let c = v[0] * 1e6 / (2.0 * core::f64::consts::PI * 60.0 * v[1]);
            judged(alloc::vec![within("capacitance", c, Some(42.3), Some(47.7))])
        }),
        rule("control-volts", &[("volts", "V dc")], &[], |v| {
            judged(alloc::vec![within("volts", v[0], Some(20.0), Some(30.0))])
        }),
        rule("amps-of-the-dead", &[("amps", "A")], &["locked out"], |v| {
            judged(alloc::vec![within("amps", v[0], Some(4.0), Some(6.0))])
        }),
        rule("after-run", &[("amps", "A")], &["running steady"], |v| {
            judged(alloc::vec![within("amps", v[0], Some(4.0), Some(6.0))])
        }),
        rule("running-amps", &[("amps", "A")], &[], |v| {
            judged(alloc::vec![within("amps", v[0], Some(4.0), Some(6.0))])
        }),
        rule("product", &[("amps", "A"), ("volts", "V")], &[], |v| {
            let power = within("power", v[0] * v[1], Some(2000.0), Some(3000.0));
            judged(alloc::vec![Judgement { unit: Unit::parse("W").unwrap(), ..power }])
        }),
        rule("winding", &[("winding", "ohm")], &[], |v| {
            judged(alloc::vec![within("winding", v[0], Some(1.0), Some(10.0))])
        }),
        rule("supply-air", &[("temperature", "°F")], &[], |v| {
            judged(alloc::vec![within("temperature", v[0], Some(50.0), Some(60.0))])
        }),
        rule("at-most", &[("capacitance", "uF")], &[], |v| {
            judged(alloc::vec![within("capacitance", v[0], None, Some(42.0))])
        }),
        rule("says-no", &[("capacitance", "uF")], &[], |_| {
            Ok(Outcome { answer: Answer::NoVerdict("these look like HERM and FAN".into()), path: 0 })
        }),
        rule("broken", &[("capacitance", "uF")], &[], |_| Err(error("division by zero"))),
        rule("empty", &[("capacitance", "uF")], &[], |_| judged(Vec::new())),
        rule("not-a-number", &[("capacitance", "uF")], &[], |v| {
            judged(alloc::vec![within("capacitance", f64::NAN * v[0], Some(1.0), None)])
        }),
        rule("no-limit", &[("capacitance", "uF")], &[], |v| {
            judged(alloc::vec![within("capacitance", v[0], None, None)])
        }),
        rule("forked", &[("capacitance", "uF")], &[], |v| {
            let small = v[0] < 40.0;
            let low = if small { 38.0 } else { 39.8 };
            let judgement = within("capacitance", v[0], Some(low), None);
            Ok(Outcome { answer: Answer::Judgements(alloc::vec![judgement]), path: u64::from(small) })
        }),
    ];
    all.extend(rules_with_more_in_their_head());
    all.extend(rules_with_dangers());
    RuleSet::new(all.into_iter().map(|rule| Arc::new(rule) as Arc<dyn Rule>).collect(), "set")
}

/// Those of them whose head says more than points and hold points.
fn rules_with_more_in_their_head() -> Vec<Native> {
    let mut all = Vec::new();
    let mut only_to_50 = rule("only-to-50", &[("capacitance", "uF")], &[], |v| {
        judged(alloc::vec![within("capacitance", v[0], None, Some(60.0))])
    });
    only_to_50.header.points[0].plausible = Some((1.0, 50.0));
    all.push(only_to_50);
    // Two probes of one moment: a difference of at most 5 K.
    let two = [("liquid", "°C"), ("air", "°C")];
    let mut split = rule("split", &two, &[], |v| {
        let mut judgement = within("difference", v[0] - v[1], Some(0.0), Some(5.0));
        judgement.unit = Unit::parse("K").unwrap();
        judged(alloc::vec![judgement])
    });
    let apart = Duration::from_secs(10);
    split.header.moments =
        alloc::vec![judge::rule::Moment { points: alloc::vec![0, 1], within: apart, line: 1 }];
    all.push(split);
    let mut coil = rule("coil", &[("coil", "ohm"), ("other", "ohm")], &[], |v| {
        judged(
            v.iter()
                .zip(["coil", "other"])
                .map(|(v, name)| within(name, *v, Some(1.0), Some(100.0)))
                .collect(),
        )
    });
    coil.header.points.iter_mut().for_each(|point| point.open_counts_as = Some(1e6));
    all.push(coil);
    let box_of = |v: &[f64]| judged(alloc::vec![within("temperature", v[0], Some(57.0), Some(60.0))]);
    all.push(rule("box", &[("temperature", "°F")], &[], box_of));
    let mut pulls_down = rule("pull-down", &[("temperature", "°F")], &[], box_of);
    pulls_down.header.points[0].drift =
        Some(judge::rule::AcceptedDrift { name: "pull-down".into(), per_minute: 2.0, source: source() });
    all.push(pulls_down);
    let mut dual = rule("dual", &[("capacitance", "uF")], &["discharged"], bare);
    dual.header.terminals = ["C", "HERM", "FAN"].map(ToString::to_string).to_vec();
    all.push(dual);
    let mut air = rule("air-first", &[("capacitance", "uF")], &[], bare);
    air.header.shows = alloc::vec![Shows { name: "airflow proved".to_string(), by_conditional_pass: true }];
    all.push(air);
    all.push(rule("after-air", &[("capacitance", "uF")], &["airflow proved"], bare));
    all.extend(rules_of_the_unit_s_state());
    let mut second_rating = with_plate(rule("same-as", &[("capacitance", "uF")], &[], run_capacitor));
    let mut bounded = with_plate(rule("bounded", &[("capacitance", "uF")], &[], run_capacitor));
    bounded.header.nameplate[0].plausible = Some((0.5, 200.0));
    bounded.header.nameplate[1].plausible = Some((1.0, 25.0));
    all.push(bounded);
    second_rating.header.nameplate = alloc::vec![
        plate_item("capacitance", "uF", PlateDefault::Required),
        plate_item("tolerance", "%", PlateDefault::Value(6.0, source())),
        plate_item("can", "uF", PlateDefault::SameAs("capacitance".to_string(), source())),
    ];
    all.push(second_rating);
    all
}

/// Rules that need a state of the unit, whose evidence is of a circuit or a component, and that take something off.
fn rules_of_the_unit_s_state() -> Vec<Native> {
    let amps = |v: &[f64]| judged(alloc::vec![within("amps", v[0], Some(4.0), Some(6.0))]);
    let shows =
        |name: &str, by_conditional_pass| alloc::vec![Shows { name: name.to_string(), by_conditional_pass }];
    let in_state = |mut rule: Native, state| {
        let first = crate::hold::leading_to(state, &rule.header.hold_points);
        let first: Vec<String> = first.into_iter().map(ToString::to_string).collect();
        rule.header.unit_state = state;
        rule.header.hold_points = [first, rule.header.hold_points].concat();
        rule
    };
    let mut capacitor = rule("capacitor-first", &[("capacitance", "uF")], &[], bare);
    capacitor.header.shows = shows("capacitor proved", true);
    let mut supply = rule("supply-first", &[("capacitance", "uF")], &[], bare);
    supply.header.shows = shows("supply proved", false);
    let mut hoses = rule("hoses", &[("amps", "A")], &[], amps);
    hoses.header.puts_back = alloc::vec!["ports capped".to_string()];
    let mut lead_proof = rule("lead-proof", &[("shorted", "ohm")], &[], |v| {
        let shorted = within("shorted", v[0], None, Some(0.5));
        judged(alloc::vec![Judgement { unit: Unit::OHM, ..shorted }])
    });
    lead_proof.header.shows = shows("leads proved", false);
    alloc::vec![
        capacitor,
        supply,
        lead_proof,
        hoses,
        in_state(
            rule("live-volts", &[("volts", "V ac")], &[], |v| {
                judged(alloc::vec![within("volts", v[0], Some(207.0), Some(253.0))])
            }),
            UnitState::Energised
        ),
        in_state(rule("runs", &[("amps", "A")], &[], amps), UnitState::Running),
        in_state(rule("runs-steady", &[("amps", "A")], &["running steady"], amps), UnitState::Running),
        in_state(rule("dead-part", &[("capacitance", "uF")], &["one lead off"], bare), UnitState::Isolated),
        rule("after-supply", &[("capacitance", "uF")], &["supply proved"], bare),
        rule("after-capacitor", &[("amps", "A")], &["capacitor proved"], amps),
    ]
}

/// Those of them that know a danger.
fn rules_with_dangers() -> Vec<Native> {
    let flue_points = [("co", "ppm"), ("oxygen", "%vol")];
    let mut flue = rule("flue", &flue_points, &["no gas smell", "burner steady"], |v| {
        judged(alloc::vec![within("co", v[0], None, Some(100.0)), within("oxygen", v[1], Some(4.0), None)])
    });
    flue.header.points[1].plausible = Some((0.0, 21.0));
    flue.header.shows = alloc::vec![Shows { name: "flue gas safe".to_string(), by_conditional_pass: false }];
    endanger(&mut flue.header, 0, Beyond::Above, 400.0, &["burner steady", "flue gas safe"]);
    let mut air =
        rule("air", &[("co", "ppm")], &[], |v| judged(alloc::vec![within("co", v[0], None, Some(9.0))]));
    air.header.points[0].plausible = Some((1.0, 1000.0));
    endanger(&mut air.header, 0, Beyond::Above, 35.0, &["flue gas safe"]);
    let gauge_points = [("suction", "psig"), ("liquid", "psig")];
    let mut gauges = rule("gauges", &gauge_points, &["running steady"], |v| {
        judged(v.iter().map(|v| within("gauge", *v, Some(10.0), None)).collect())
    });
    endanger(&mut gauges.header, 1, Beyond::Above, 650.0, &["running steady", "stage known"]);
    let mut charged = rule("charged", &[("residual", "V dc")], &["locked out"], |v| {
        judged(alloc::vec![within("residual", v[0], Some(-5.0), Some(5.0))])
    });
    endanger(&mut charged.header, 0, Beyond::Above, 50.0, &["discharged"]);
    endanger(&mut charged.header, 0, Beyond::Below, -50.0, &["discharged"]);
    let mut insulation = rule("insulation", &[("ohms", "Mohm")], &["locked out"], |v| {
        judged(alloc::vec![within("ohms", v[0], Some(1.0), None)])
    });
    endanger(&mut insulation.header, 0, Beyond::Above, 100.0, &[]);
    alloc::vec![flue, air, gauges, charged, insulation]
}

fn armed(rule: &str) -> Event {
    Event::Arm(Box::new(Plan {
        unit_tag: "RTU-07".to_string(),
        component: "C1".to_string(),
        rule: rule.to_string(),
        plate: Vec::new(),
        bindings: Vec::new(),
        ..Plan::default()
    }))
}
