//! The list of the route that the page asks for: words, visits and what is owed stand in it once they are stored, and it is written
//! anew only when it has changed.

use std::time::Duration;

use visit::round::{Output, Service};

use super::visits::recall;
use super::{Act, Bench, CAPACITOR, Notice, typed};
use crate::daemon::keeper::{Job, Key, Told};
use crate::daemon::remember::Remembered;

const TWO: &[(&str, &str)] = &[("one", "run-capacitor"), ("two", "run-capacitor")];

impl Bench {
    fn list(&self) -> serde_json::Value {
        serde_json::from_str(&self.route.borrow()).unwrap()
    }

    fn unit(&self, tag: &str) -> serde_json::Value {
        let list = self.list();
        let units = list["units"].as_array().unwrap();
        units.iter().find(|unit| unit["tag"] == tag).cloned().unwrap_or_default()
    }

    fn check(&self, at: usize) -> serde_json::Value {
        self.unit("RTU-01")["checks"][at].clone()
    }
}

fn check(component: &str) -> Act {
    Act::Check { unit: Some("RTU-01".into()), name: format!("{component} / run-capacitor") }
}

#[test]
fn a_word_stands_in_the_list_once_it_is_stored_and_the_list_changes_with_it_alone() {
    let mut bench = Bench::new(TWO);
    bench.core.told(Told::Open(Vec::new()));
    let first = bench.list();
    assert_eq!((&first["units"][0]["count"], &first["units"][0]["judged"]), (&2.into(), &0.into()));
    assert_eq!(bench.check(0)["title"], "Run capacitor");
    bench.act(check("two")).unwrap();
    assert_eq!(bench.view()["check"]["component"], "two");
    bench.confirm_all();
    bench.store_visit();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    assert_eq!(bench.check(1)["word"], serde_json::Value::Null, "it is on its way to the disk");
    assert_eq!(bench.view()["route"]["judged"], 0);
    bench.core.told(Told::Stored(Key::Verdict(1)));
    assert_eq!((bench.check(1)["word"].clone(), bench.check(0)["word"].clone()), ("pass".into(), ().into()));
    let view = bench.view();
    assert_eq!((&view["route"]["judged"], &view["route"]["checks"]), (&1.into(), &2.into()));
    assert_eq!(view["route"]["rev"], bench.list()["rev"]);
    assert_eq!(view["route"]["unit"]["tag"], "RTU-01");
    bench.route.mark_unchanged();
    bench.watch(Duration::from_secs(5));
    assert!(!bench.route.has_changed().unwrap(), "nothing happened: the list is not written again");
}

/// The same check before and after a repair is two of the route: each has its own word.
#[test]
fn of_two_checks_alike_each_has_its_own_word() {
    let mut bench = Bench::new(&[("one", "run-capacitor"), ("one", "run-capacitor")]);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    bench.act(typed("capacitance", "30.0 uF")).unwrap();
    bench.act(Act::Next).unwrap();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.store_visit();
    for number in [1, 2] {
        bench.core.told(Told::Stored(Key::Verdict(number)));
    }
    assert_eq!(
        (bench.check(0)["word"].clone(), bench.check(1)["word"].clone()),
        ("fail".into(), "pass".into())
    );
    assert_eq!(bench.unit("RTU-01")["worst"], "fail");
}

#[test]
fn a_word_that_is_not_stored_in_time_is_marked() {
    let mut bench = Bench::new(CAPACITOR);
    bench.confirm_all();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.core.told(Told::Trouble("the disk is full".into()));
    bench.watch(Duration::from_secs(6));
    let shown = bench.check(0);
    assert_eq!((&shown["word"], &shown["unsaved"]), (&"pass".into(), &true.into()));
    bench.core.told(Told::Stored(Key::Verdict(1)));
    bench.core.beat();
    assert_eq!(bench.check(0)["unsaved"], serde_json::Value::Null);
}

#[test]
fn what_happens_in_a_visit_stands_in_the_list_once_it_is_stored() {
    let mut bench = Bench::new(TWO);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    bench.act(Act::Skip { why: "no access".into() }).unwrap();
    assert_eq!(
        (bench.unit("RTU-01")["visit_open"].clone(), bench.check(0)["skipped"].clone()),
        (false.into(), ().into())
    );
    bench.store_visit();
    let unit = bench.unit("RTU-01");
    assert_eq!((&unit["visit_open"], &unit["checks"][0]["skipped"]), (&true.into(), &"no access".into()));
    assert_eq!(unit["owed"].as_array().map(Vec::len), Some(1), "{unit}");
    assert_eq!(unit["lacks"].as_str(), Service::LockedOut.lacks());
    let refused = bench.act(Act::Close { why: None }).unwrap_err();
    assert!(refused.contains("wires back on"), "{refused}");
    bench.act(Act::Close { why: Some("part on order".into()) }).unwrap();
    bench.store_visit();
    let unit = bench.unit("RTU-01");
    assert_eq!((&unit["visit_open"], &unit["lacks"]), (&false.into(), &().into()));
    assert_eq!(bench.view()["route"]["unit"], serde_json::Value::Null, "no unit is under work");
}

/// The words of earlier are there again, and a check that has one counts as judged.
#[test]
fn a_visit_that_goes_on_brings_its_words() {
    let mut here = Remembered::here(recall("RTU-01"));
    here.given = vec![("one".into(), "run-capacitor".into(), judge::limits::Word::ConditionalFail)];
    let mut bench = Bench::after(TWO, vec![here]);
    bench.store_visit();
    let unit = bench.unit("RTU-01");
    assert_eq!((&unit["judged"], &unit["worst"]), (&1.into(), &"conditional fail".into()));
    assert_eq!((&unit["visit_open"], unit["lacks"].as_str()), (&true.into(), Service::LockedOut.lacks()));
    assert_eq!(unit["owed"].as_array().map(Vec::len), Some(1));
}

/// A visit of another machine is told, offered, and taken over; what comes of that later is told on the page too.
#[test]
fn a_visit_of_another_machine_is_offered_and_why_it_was_not_taken_over_is_told() {
    let mut bench = Bench::new(CAPACITOR);
    let held = || vec![Remembered::of_another("RTU-01", "van 2"), Remembered::of_another("RTU-09", "van 3")];
    bench.core.told(Told::Open(held()));
    let unit = bench.unit("RTU-01");
    assert_eq!(unit["can_take_over"], true);
    // RFC 9110, 5.6.7 writes the epoch as Thu, 01 Jan 1970 00:00:00 GMT.
    assert_eq!(unit["elsewhere"][0], "\"van 2\" has a visit open here since 01 Jan 1970 00:00 UTC.");
    assert_eq!(bench.view()["route"]["unit"]["can_take_over"], true, "it is the unit under work");
    assert_eq!(bench.unit("RTU-09")["count"], 0, "it is not on the route, and its visit is told");
    bench.act(Act::TakeOver { tag: "RTU-01".into() }).unwrap();
    bench.core.told(Told::TakenOver(Err("it was closed".into())));
    assert_eq!(bench.list()["refused"], "Not taken over: it was closed");
    // It is looked up anew at once, and shown as it is then.
    bench.core.beat();
    assert!(bench.jobs.try_iter().any(|job| matches!(job, Job::Elsewhere)));
    bench.core.told(Told::Elsewhere(Some(Vec::new())));
    assert_eq!(
        (bench.unit("RTU-01")["can_take_over"].clone(), bench.unit("RTU-09")),
        (false.into(), ().into())
    );
    bench.act(Act::Again { as_left: false }).unwrap();
    assert_eq!(bench.list()["refused"], serde_json::Value::Null, "gone with the next act");
    bench.core.told(Told::Elsewhere(Some(held())));
    bench.act(Act::TakeOver { tag: "RTU-01".into() }).unwrap();
    bench.core.told(Told::TakenOver(Ok(Box::new(Remembered::here(recall("RTU-01"))))));
    bench.store_visit();
    let unit = bench.unit("RTU-01");
    assert_eq!((&unit["visit_open"], &unit["elsewhere"]), (&true.into(), &serde_json::json!([])));
    let recalled = |notice: &Notice| matches!(notice, Notice::Round(Output::Recalled { .. }));
    assert!(std::iter::from_fn(|| bench.notices.try_recv().ok()).any(|notice| recalled(&notice)));
}

#[test]
fn which_visits_others_have_is_looked_up_now_and_then_and_one_question_waits_at_most() {
    let mut bench = Bench::new(CAPACITOR);
    bench.core.told(Told::Open(Vec::new()));
    let asked = |bench: &mut Bench| bench.jobs.try_iter().filter(|job| matches!(job, Job::Elsewhere)).count();
    bench.watch(Duration::from_secs(120));
    assert_eq!(asked(&mut bench), 1, "the disk has not answered");
    bench.core.told(Told::Elsewhere(Some(vec![Remembered::of_another("RTU-01", "van 2")])));
    bench.watch(Duration::from_secs(29));
    assert_eq!(asked(&mut bench), 1);
    // A file that cannot be read now says nothing new.
    bench.core.told(Told::Elsewhere(None));
    assert_eq!(bench.unit("RTU-01")["elsewhere"].as_array().map(Vec::len), Some(1));
    bench.watch(Duration::from_secs(5));
    assert_eq!(asked(&mut bench), 1);
}
