//! The shipped rules against figures from outside (`tests/reference/check_values.csv`), through `evaluate`. The cases beside the rules are run by
//! `cliplead rules test`, through the whole round.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, clippy::float_cmp)] // test code
#![allow(clippy::too_many_lines)] // tables
mod support;

use judge::evaluate::{Evaluation, Input, evaluate};
use judge::limits::DecisionRule;
use quantity::{Accuracy, Unit};
use support::{exact, plate_values, shipped_rules};

#[test]
fn every_shipped_rule_says_what_it_asks_and_has_hold_points() {
    for rule in shipped_rules().iter() {
        let header = rule.header();
        assert!(!header.about.is_empty() && !header.hold_points.is_empty(), "{}", rule.id());
        assert!(header.hold_points.iter().all(|name| visit::hold::known(name).is_some()), "{}", rule.id());
    }
}

fn word(id: &str, readings: &[Input], plate: &[(&str, f64)]) -> String {
    let rules = shipped_rules();
    let rule = rules.find(id).unwrap();
    let entered = plate.iter().map(|(name, value)| ((*name).to_string(), *value)).collect();
    let mut all = readings.to_vec();
    all.extend(plate_values(&**rule, &entered).into_iter().map(exact));
    format!("{}", evaluate(&**rule, &all, DecisionRule::default()).unwrap().word())
}

#[test]
fn check_values_come_out_with_the_shipped_rules() {
    // UNC-02 (ILAC-G8:09/2019, 4.2.3, looked up): 45 uF +-6 %, meter 1.9 % + 2 x 0.1 uF.
    let accuracy = Accuracy::parse("1.9% + 2 x 0.1uF").unwrap();
    for (value, want) in [
        (45.0, "pass"),
        (43.0, "conditional pass"),
        (42.6, "conditional pass"),
        (42.0, "conditional fail"),
        (41.0, "fail"),
        (46.9, "conditional pass"),
        (48.0, "conditional fail"),
        (49.5, "fail"),
    ] {
        let u = accuracy.standard_uncertainty(value, 0.1, Unit::MICROFARAD).unwrap();
        let reading = Input { value, standard_uncertainty: u };
        assert_eq!(word("run-capacitor", &[reading], &[("capacitance", 45.0)]), want, "{value}");
    }
    // CAP-12 (common practice): a good can marked 40 in a unit plated 45.
    let plate = [("capacitance", 45.0), ("label_capacitance", 40.0)];
    assert_eq!(word("run-capacitor", &[exact(40.1)], &plate), "fail");
    // CAP-11 (physics): 45/5 uF, 4.5 uF across HERM and FAN, in any order.
    for readings in [[45.0, 5.0, 4.5], [4.5, 45.0, 5.0], [5.0, 4.5, 45.0], [45.0, 4.5, 5.0]] {
        let plate = [("herm", 45.0), ("fan", 5.0)];
        assert_eq!(word("dual-run-capacitor", &readings.map(exact), &plate), "pass", "{readings:?}");
    }
    // CAP-10 (common practice): single value 88 uF, -0/+20 %: 88 to 105.6 uF.
    for (value, want) in [(87.9, "fail"), (88.1, "pass"), (105.5, "pass"), (105.7, "fail")] {
        assert_eq!(word("start-capacitor", &[exact(value)], &[("capacitance", 88.0)]), want, "{value}");
    }
    // CAP-02 (physics): 6.10 A, 371 V, 60 Hz is 43.61 uF, inside 45 uF +-6 %.
    let plate = [("capacitance", 45.0), ("frequency", 60.0)];
    assert_eq!(word("capacitor-under-load", &[exact(6.1), exact(371.0)], &plate), "pass");
    // Common practice, no source: a 7.5 uF run capacitor that reads 7.67 uF is good.
    assert_eq!(word("run-capacitor", &[exact(7.67)], &[("capacitance", 7.5)]), "pass");
}

#[test]
fn under_load_the_uncertainty_is_the_propagated_one() {
    // CAP-05 (JCGM 100, 5.1.2 and 4.3.7): 6.10 A by 2 % + 5 x 0.01 A, 371 V by 1 % + 3 x 0.1 V, 60 Hz +-0.05 Hz:
    // u = 0.760674191 uF. The frequency is a nameplate value here and exact, which changes u by 3e-4 of itself.
    let rules = shipped_rules();
    let rule = rules.find("capacitor-under-load").unwrap();
    let third = 3.0_f64.sqrt();
    let all = [
        Input { value: 6.1, standard_uncertainty: (6.1 * 0.02 + 0.05) / third },
        Input { value: 371.0, standard_uncertainty: (371.0 * 0.01 + 0.3) / third },
        exact(45.0),
        exact(6.0),
        Input { value: 60.0, standard_uncertainty: 0.05 / third },
    ];
    let Evaluation::Judged { judgements, .. } = evaluate(&**rule, &all, DecisionRule::default()).unwrap()
    else {
        panic!("no judgement");
    };
    let u = judgements[0].standard_uncertainty;
    assert!((u - 0.760_674_191).abs() < 1e-4, "{u}");
    assert!((judgements[0].judgement.value - 43.613_888_269).abs() < 1e-4);
}
