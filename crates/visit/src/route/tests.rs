//! The route by itself: on, back, to a unit, to a check.
use alloc::string::ToString;
use alloc::vec::Vec;

use super::*;

fn plan(unit_tag: &str, component: &str, rule: &str) -> Plan {
    Plan {
        unit_tag: unit_tag.to_string(),
        component: component.to_string(),
        rule: rule.to_string(),
        plate: Vec::new(),
        bindings: Vec::new(),
        ..Plan::default()
    }
}

fn route() -> Route {
    Route::new(Vec::from([
        plan("RTU-01", "supply", "supply-voltage"),
        plan("RTU-01", "fan capacitor", "run-capacitor"),
        plan("RTU-02", "supply", "supply-voltage"),
        plan("RTU-02", "supply", "voltage-unbalance"),
    ]))
}

fn names(plan: Option<Plan>) -> Option<(String, String)> {
    plan.map(|plan| (plan.unit_tag, plan.rule))
}

fn at(tag: &str, rule: &str) -> Option<(String, String)> {
    Some((tag.to_string(), rule.to_string()))
}

#[test]
fn on_and_back_and_the_end() {
    let mut route = route();
    let none_before = Err("there is no check before this one on the route".to_string());
    assert_eq!(route.back(), none_before);
    assert_eq!(names(route.next()), at("RTU-01", "supply-voltage"));
    assert_eq!(route.back(), none_before, "the first one");
    for rule in ["run-capacitor", "supply-voltage", "voltage-unbalance"] {
        assert_eq!(names(route.next()).map(|(_, rule)| rule).as_deref(), Some(rule));
    }
    assert_eq!(route.next(), None);
    assert_eq!(route.next(), None, "the end stays the end");
    assert_eq!(names(route.back().ok()), at("RTU-02", "supply-voltage"));
}

#[test]
fn a_unit_begins_at_its_first_check_without_a_verdict() {
    let mut route = route();
    let first = route.unit("rtu-02").unwrap();
    assert_eq!(first.rule, "supply-voltage");
    route.judged(&first);
    let _ = route.unit("RTU-01").unwrap();
    assert_eq!(route.unit("RTU-02").unwrap().rule, "voltage-unbalance");
    assert_eq!(route.progress(), Progress { checks: 4, judged: 1 });
    let why = route.unit("RTU-03").unwrap_err();
    assert_eq!(why, "no unit \"RTU-03\" on this route; it has RTU-01, RTU-02");
}

#[test]
fn a_check_is_named_by_component_rule_or_both() {
    let mut route = route();
    assert_eq!(names(route.check(Some("RTU-02"), "Supply").ok()), at("RTU-02", "supply-voltage"));
    assert_eq!(
        names(route.check(Some("RTU-02"), "voltage-unbalance").ok()),
        at("RTU-02", "voltage-unbalance")
    );
    assert_eq!(
        names(route.check(Some("RTU-02"), "supply / voltage-unbalance").ok()),
        at("RTU-02", "voltage-unbalance")
    );
    let why = route.check(Some("RTU-01"), "gas").unwrap_err();
    assert_eq!(
        why,
        "RTU-01 has no check \"gas\" on this route; it has supply / supply-voltage, fan capacitor / run-capacitor"
    );
    assert_eq!(names(route.next()), None, "a refusal leaves the route where it is: at its last check");
}

#[test]
fn a_check_armed_from_elsewhere_moves_the_route_only_if_it_is_on_it() {
    let mut route = route();
    route.armed(&plan("RTU-02", "supply", "supply-voltage"));
    assert_eq!(names(route.next()), at("RTU-02", "voltage-unbalance"));
    route.armed(&plan("RTU-09", "supply", "supply-voltage"));
    assert_eq!(names(route.back().ok()), at("RTU-02", "supply-voltage"));
}

#[test]
fn a_long_list_is_cut_and_counted() {
    let mut long = Route::new((0..20).map(|n| plan(&format!("U{n}"), "a", "b")).collect());
    let why = long.unit("X").unwrap_err();
    assert!(why.ends_with("U10, U11 and 8 more"), "{why}");
}

/// A visit goes on where it stopped: at the unit's first check without a verdict, else at the next on the route.
#[test]
fn a_recalled_visit_begins_at_its_first_check_without_a_verdict() {
    let done = |component: &str, rule: &str| (component.to_string(), rule.to_string());
    let all_of_1 = [done("supply", "supply-voltage"), done("fan capacitor", "run-capacitor")];
    let all_of_2 = [done("supply", "supply-voltage"), done("supply", "voltage-unbalance")];
    for (visits, next) in [
        (Vec::from([("RTU-01", &all_of_1[..0])]), at("RTU-01", "supply-voltage")),
        (Vec::from([("RTU-01", &all_of_1[..1])]), at("RTU-01", "run-capacitor")),
        (Vec::from([("RTU-01", &all_of_1[1..])]), at("RTU-01", "supply-voltage")),
        (Vec::from([("RTU-01", &all_of_1[..])]), at("RTU-02", "supply-voltage")),
        (Vec::from([("RTU-02", &all_of_2[..1])]), at("RTU-02", "voltage-unbalance")),
        (Vec::from([("RTU-02", &all_of_2[..])]), at("RTU-01", "supply-voltage")),
        (Vec::from([("RTU-01", &all_of_1[..]), ("RTU-02", &all_of_2[..])]), at("RTU-02", "supply-voltage")),
        (Vec::from([("RTU-09", &all_of_1[..])]), at("RTU-01", "supply-voltage")),
    ] {
        let mut route = route();
        for (tag, judged) in &visits {
            route.recalled(tag, judged, true);
        }
        assert_eq!(names(route.next()), next, "{visits:?}");
    }
}

/// The same check before and after a repair is two stops: one verdict does not stand for both.
#[test]
fn of_two_stops_alike_the_first_has_the_recalled_verdict() {
    let twice = plan("RTU-01", "fan capacitor", "run-capacitor");
    let mut route = Route::new(Vec::from([twice.clone(), twice]));
    route.recalled("RTU-01", &[("fan capacitor".to_string(), "run-capacitor".to_string())], true);
    assert_eq!(route.progress(), Progress { checks: 2, judged: 1 });
}

#[test]
fn a_check_of_another_unit_is_named_with_its_unit_and_the_route_says_where_it_stands() {
    let mut route = route();
    let first = route.next().unwrap();
    assert_eq!(route.place_of(&first), Some(0));
    let there = route.check(Some("rtu-02"), "supply / voltage-unbalance").unwrap();
    assert_eq!((there.unit_tag.as_str(), route.place_of(&there)), ("RTU-02", Some(3)));
    assert_eq!(route.place_of(&first), None, "the route has gone on");
    assert!(route.check(Some("RTU-01"), "voltage-unbalance").is_err());
    assert_eq!(route.place_of(&there), Some(3), "what is not there moves nothing");
}
