//! Second looks as JSON and in words.
#![allow(clippy::unwrap_used)]

use alloc::string::String;

use super::*;

const AGREES: &str = r#"{"point":"capacitance","label":"terminal to terminal","first":{"number":1,"device":"bench","value":39.4,"unit":"uF","standard_uncertainty":0.4,"as_left":false,"at_s":5.0},"second":{"number":2,"device":"bench","value":39.42,"unit":"uF","standard_uncertainty":0.4,"as_left":false,"at_s":9.0},"agrees":true,"by":"repeatability","apart":0.02,"within":0.02}"#;

fn said(change: &dyn Fn(&mut SecondLookJson)) -> String {
    let mut look: SecondLookJson = serde_json::from_str(AGREES).unwrap();
    change(&mut look);
    second_look(&look)
}

#[test]
fn they_read_back_as_they_were_written() {
    let look: SecondLookJson = serde_json::from_str(AGREES).unwrap();
    assert_eq!(crate::to_line(&look), AGREES);
}

#[test]
fn the_words_say_what_was_read_and_what_follows() {
    assert_eq!(
        said(&|_| ()),
        "terminal to terminal 39.42 uF, first 39.4 uF: they agree (0.02 uF apart, one meter repeats within 0.02 uF)"
    );
    let apart = said(&|look| {
        (look.agrees, look.apart, look.second.value) = (Some(false), Some(1.4), Some(38.0));
    });
    assert!(
        apart.starts_with("terminal to terminal 38 uF, first 39.4 uF: they do NOT agree (1.4 uF apart, "),
        "{apart}"
    );
    assert!(apart.ends_with("look again before you act"), "{apart}");
    let meters = |agrees: bool, en: f64| {
        said(&|look| (look.by, look.agrees, look.en) = ("En".into(), Some(agrees), Some(en)))
    };
    assert!(meters(true, 0.5).ends_with(": the two meters agree (En 0.5, at most 1)"));
    assert!(
        meters(false, 1.1).contains("the two meters do NOT agree (En 1.1, more than 1): read a known part")
    );
    let left = said(&|look| (look.by, look.agrees) = ("as left".into(), None));
    assert_eq!(left, "terminal to terminal 39.42 uF as left, 39.4 uF as found");
    let unknown = said(&|look| {
        (look.by, look.agrees, look.unknown) = ("accuracy unknown".into(), None, Some("ha\u{1b}nd".into()));
    });
    assert!(
        unknown.ends_with("they cannot be compared: the accuracy of ha\\u{1b}nd is not known"),
        "{unknown}"
    );
    let open = said(&|look| (look.by, look.agrees, look.second.value) = ("open".into(), Some(false), None));
    assert!(open.starts_with("terminal to terminal open, first 39.4 uF: they do NOT agree"), "{open}");
}
