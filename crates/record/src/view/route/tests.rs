//! What the list counts, what it offers, and its bounds.

use alloc::format;
use alloc::vec;

use super::*;
use serde_json::from_str;

fn judged(component: &str, word: Option<Word>) -> ListedCheck {
    ListedCheck {
        component: component.to_owned(),
        rule: "run-capacitor".to_owned(),
        title: "Run capacitor".to_owned(),
        word,
        ..ListedCheck::default()
    }
}

fn unit(tag: &str, checks: Vec<ListedCheck>) -> ListedUnit {
    ListedUnit { tag: tag.to_owned(), checks, ..ListedUnit::default() }
}

fn listed(units: Vec<ListedUnit>) -> Value {
    from_str(&route_json(7, &RouteList { units, refused: None })).unwrap()
}

/// ILAC-G8:09/2019 names the words; one that says nothing is between those inside and those outside the limits.
#[test]
fn a_unit_counts_its_verdicts_and_has_its_worst_word() {
    let words = [Some(Word::Pass), None, Some(Word::NoVerdict), Some(Word::ConditionalPass)];
    let checks: Vec<ListedCheck> = words.iter().map(|word| judged("c", *word)).collect();
    let amended = ListedCheck { amended: Some(Word::Fail), ..judged("c", Some(Word::Pass)) };
    let units =
        vec![unit("RTU-01", checks.clone()), unit("RTU-02", vec![amended]), unit("RTU-03", Vec::new())];
    let list = RouteList { units, refused: None };
    let shown = listed(list.units.clone());
    let of = |at: usize| {
        let unit = &shown["units"][at];
        (unit["judged"].clone(), unit["count"].clone(), unit["worst"].clone())
    };
    assert_eq!(of(0), (2.into(), 4.into(), "no verdict".into()));
    assert_eq!(of(1), (1.into(), 1.into(), "fail".into()), "what the leads showed afterwards counts");
    assert_eq!(of(2), (0.into(), 0.into(), Value::Null));
    assert_eq!(shown["units"][0]["checks"][3]["word"], "conditional pass");
    let RouteSummary { rev, checks, judged, unit } = list.summary(7, None);
    assert_eq!((rev, checks, judged, unit), (7, 5, 3, None));
}

#[test]
fn taking_over_is_offered_where_another_machine_alone_has_a_visit_open() {
    let mut unit = unit("RTU-01", vec![judged("c", None)]);
    unit.lacks = Some("it was locked out, and nothing says that it has power again");
    let offered = |unit: &ListedUnit| {
        let list = RouteList { units: vec![unit.clone()], refused: None };
        let summary = list.summary(1, Some("RTU-01")).unit.unwrap();
        let listed = listed(list.units)["units"][0]["can_take_over"].clone();
        assert_eq!(listed, summary.can_take_over);
        assert_eq!((summary.lacks, summary.elsewhere), (unit.lacks, unit.elsewhere.clone()));
        summary.can_take_over
    };
    assert!(!offered(&unit), "nobody has one");
    unit.elsewhere.push("A visit by \"van 2\" is open here.".to_owned());
    assert!(offered(&unit));
    unit.visit_open = true;
    assert!(!offered(&unit), "two visits are never merged");
    let off = RouteList::default().summary(1, Some("RTU-09")).unit.unwrap();
    assert_eq!((off.tag.as_str(), off.visit_open), ("RTU-09", false), "a unit that is not on the route");
}

#[test]
fn what_is_owed_and_why_a_check_was_left_are_told_in_words() {
    let owed = Owed {
        unit_tag: "RTU-01".to_owned(),
        component: "C1".to_owned(),
        hold_point: "one lead off".to_owned(),
        what: "wires back on".to_owned(),
    };
    let left = ListedCheck { skipped: Some("no \u{1b}[31maccess".to_owned()), ..judged("C1", None) };
    let shown = listed(vec![ListedUnit { owed: vec![owed], ..unit("RTU-01", vec![left]) }]);
    assert_eq!(shown["units"][0]["owed"], json!(["C1: wires back on (one lead off)"]));
    let why = shown["units"][0]["checks"][0]["skipped"].as_str().unwrap();
    assert!(why.starts_with("no ") && !why.contains('\u{1b}'), "{why:?}");
}

#[test]
fn it_is_bounded_and_says_what_is_left_off() {
    let long = "x".repeat(5_000);
    let many = |units: usize, checks: usize| {
        let of = |n: usize| unit(&format!("RTU-{n} {long}"), vec![judged(&long, Some(Word::Pass)); checks]);
        RouteList { units: (0..units).map(of).collect(), refused: Some(long.clone()) }
    };
    for (units, checks, units_off, checks_off) in
        [(45, 15, 0, 0), (300, 1, 44, 44), (1, 3_000, 0, 952), (300, 100, 44, 27_952)]
    {
        let text = route_json(1, &many(units, checks));
        assert!(text.len() < 2_000_000, "{units} x {checks}: {} bytes", text.len());
        let shown: Value = from_str(&text).unwrap();
        let off = (&shown["units_left_off"], &shown["checks_left_off"]);
        assert_eq!(off, (&units_off.into(), &checks_off.into()), "{units} x {checks}");
    }
    // The counts of a unit are right although not all of its checks are listed.
    let shown: Value = from_str(&route_json(1, &many(1, 3_000))).unwrap();
    assert_eq!(shown["units"][0]["judged"], 3_000);
    // A route as a crew has it: 45 units with 15 checks.
    let usual = unit("RTU-07", vec![judged("condenser fan 1 run capacitor", Some(Word::Pass)); 15]);
    let bytes = route_json(1, &RouteList { units: vec![usual; 45], refused: None }).len();
    assert!(bytes < 100_000, "{bytes} bytes");
    std::println!("45 units with 15 checks: {bytes} bytes");
}
