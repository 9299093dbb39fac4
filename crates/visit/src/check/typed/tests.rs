//! Typed values by themselves: which point, which unit, ac or dc, and how sure they are.
use quantity::{Coupling, parse_typed};

use super::*;
use crate::testing::{at, job};

/// What typing this for a point comes to.
fn type_in(job: &Job, name: &str, text: &str, accuracy: Option<&str>) -> Result<SettledPoint, String> {
    let accuracy = accuracy.map(|text| Accuracy::parse(text).unwrap());
    typed_point(job, name, parse_typed(text).unwrap(), accuracy, at(5)).map(|(_, done)| done)
}

fn capacitance(text: &str, accuracy: Option<&str>) -> SettledPoint {
    type_in(&job(&[("capacitance", "uF")]), "capacitance", text, accuracy).unwrap()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

#[test]
fn digits_without_a_unit_are_in_the_points_unit() {
    let done = capacitance("39.4", None);
    assert_eq!((done.input.value, done.reading.display.unit), (39.4, Unit::MICROFARAD));
    assert_eq!((done.reading.device.as_str(), done.reading.at, done.until), ("typed", at(5), at(5)));
    assert!(done.after.is_none(), "no leads are followed");
}

#[test]
fn another_unit_of_the_kind_is_shown_as_typed_and_judged_in_the_rules() {
    let done = capacitance("39400 nF", None);
    assert!(near(done.input.value, 39.4));
    assert_eq!(done.reading.quantity.value(), 39_400.0);
    let wrong = type_in(&job(&[("capacitance", "uF")]), "capacitance", "39.4 ohm", None).unwrap_err();
    assert!(wrong.starts_with("capacitance: ") && wrong.contains("ohm"), "{wrong}");
}

#[test]
fn ac_or_dc_is_the_points_where_none_is_typed_and_the_other_is_refused() {
    let job = job(&[("l1_l2", "V ac"), ("control", "V")]);
    for text in ["240", "240 V", "240 V ac", "0.24 kV"] {
        assert_eq!(
            type_in(&job, "l1_l2", text, None).unwrap().reading.display.coupling,
            Some(Coupling::Ac),
            "{text}"
        );
    }
    assert_eq!(type_in(&job, "l1_l2", "240 V dc", None).unwrap_err(), "l1_l2 is wanted as V ac, not dc");
    assert_eq!(type_in(&job, "l1_l2", "240 dc", None).unwrap_err(), "l1_l2 is wanted as V ac, not dc");
    let either = |text| type_in(&job, "control", text, None).unwrap().reading.display.coupling;
    assert_eq!((either("24 V dc"), either("24 V")), (Some(Coupling::Dc), None));
}

#[test]
fn ac_beside_what_is_neither_is_refused() {
    let says = type_in(&job(&[("capacitance", "uF")]), "capacitance", "39.4 ac", None).unwrap_err();
    assert_eq!(says, "capacitance is wanted in uF, which is neither ac nor dc; leave ac out");
}

#[test]
fn the_name_may_be_in_capitals_and_an_unknown_one_is_told_what_is_wanted() {
    let job = job(&[("c_herm", "uF"), ("c_fan", "uF")]);
    let index =
        |name| typed_point(&job, name, parse_typed("5 uF").unwrap(), None, at(0)).map(|(index, _)| index);
    assert_eq!((index("c_fan"), index("C_FAN")), (Ok(1), Ok(1)));
    assert_eq!(index("c fan"), Err(r#"this check has no reading "c fan"; it wants c_herm, c_fan"#.into()));
    let no_rule = Job { rule: None, ..job };
    assert_eq!(type_in(&no_rule, "c_fan", "5 uF", None).unwrap_err(), r#"no rule "a-rule""#);
}

/// JCGM 100:2008: a rounded last digit is spread evenly over its step, step / sqrt(12) (F.2.2.1); of a half-width alone the
/// standard uncertainty is its sqrt(3)rd part (4.3.7).
#[test]
fn the_uncertainty_is_the_rounding_or_what_the_meter_states() {
    let u = |text, accuracy| capacitance(text, accuracy).input.standard_uncertainty;
    assert!(near(u("39.4 uF", None), 0.1 / 12.0_f64.sqrt()));
    assert!(near(u("39.40 uF", None), 0.01 / 12.0_f64.sqrt()));
    assert!(near(u("39.4 uF", Some("1% + 3")), (0.394 + 0.3) / 3.0_f64.sqrt()));
    let known = |accuracy| capacitance("39.4 uF", accuracy).reading.accuracy_known;
    assert!(known(Some("1% + 3")) && !known(None));
    let says =
        type_in(&job(&[("capacitance", "uF")]), "capacitance", "39.4", Some("1% + 3 psig")).unwrap_err();
    assert!(says.starts_with("capacitance: the accuracy does not fit: "), "{says}");
}

/// The meter shows hundredths: 2 x 0.01 uF. Typed as 40 its rounding to whole microfarads counts beside it (F.2.2.1).
#[test]
fn digits_left_out_count_as_doubt_until_somebody_says_that_they_were_zeros() {
    let mut done = capacitance("40 uF", Some("1% + 2 x 0.01uF"));
    let stated = (0.4 + 0.02) / 3.0_f64.sqrt();
    assert!(near(done.input.standard_uncertainty, stated.hypot(1.0 / 12.0_f64.sqrt())));
    let as_shown = done.as_shown().unwrap();
    assert_eq!((as_shown.digits.to_string().as_str(), as_shown.step), ("40.00", 0.01));
    done.take_as_shown();
    assert!(near(done.input.standard_uncertainty, stated) && done.as_shown().is_none());
    assert_eq!(done.reading.shown.to_string(), "40.00");
    assert!(near(done.reading.quantity.standard_uncertainty(), stated));
}

#[test]
fn digits_are_left_out_only_where_the_meter_shows_more() {
    let left_out = |text, accuracy| capacitance(text, accuracy).left_out;
    let steps = Some("1% + 2 x 0.01uF");
    assert!(matches!(left_out("40.0 uF", steps), LeftOut::Digits(_)));
    assert!(matches!(left_out("40.00 uF", steps), LeftOut::No), "all of them");
    assert!(matches!(left_out("40000 nF", steps), LeftOut::No), "the step is stated in another unit");
    assert!(matches!(left_out("40 uF", Some("1% + 3")), LeftOut::Perhaps), "the step is not known");
    assert!(matches!(left_out("40 uF", Some("1%")), LeftOut::No), "no counts");
    assert!(matches!(left_out("40 uF", None), LeftOut::No));
}
