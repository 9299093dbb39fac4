//! The ledger by itself: what a confirmation, a verdict, power, volts and time change. Rounds as data test it with a check around it.
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use quantity::{Duration, Instant};

use super::*;
use crate::plan::Plan;
use judge::limits::{DecisionRule, Word};

const LISTED: [&str; 4] = ["locked out", "proved dead", "discharged", "leads proved"];

/// A ledger that serves a check of `component`, whose hold points are [`LISTED`].
fn ledger(unit_tag: &str, component: &str) -> Ledger {
    let mut ledger = Ledger::default();
    serve(&mut ledger, unit_tag, component);
    ledger
}

fn serve(ledger: &mut Ledger, unit_tag: &str, component: &str) {
    ledger.serve(None);
    ledger.needs = Some(Needs {
        unit_tag: unit_tag.to_string(),
        component: component.to_string(),
        slot: Slot::default(),
        hold_points: LISTED.iter().map(ToString::to_string).collect(),
    });
}

fn at(s: i64) -> Instant {
    Instant::ZERO + Duration::from_secs(s)
}

fn confirm_all(ledger: &mut Ledger) {
    for (s, name) in LISTED.iter().enumerate() {
        let how = How::Confirmed(By::Unsaid);
        let changes = ledger.show(name, how, None, at(i64::try_from(s).unwrap()));
        assert!(matches!(&changes[..], [Change::Shown { name: of, .. }] if of == name));
    }
    assert_eq!(ledger.open(), Vec::<String>::new());
}

fn lapsed(changes: &[Change]) -> Vec<(&str, LapseReason)> {
    let of = |change| match change {
        &Change::Lapsed { ref name, why } => Some((name.as_str(), why)),
        Change::Shown { .. } | Change::Contradicted { .. } => None,
    };
    changes.iter().filter_map(of).collect()
}

fn verdict(number: u64, word: Word) -> Verdict {
    let plan = Plan {
        unit_tag: "RTU-07".into(),
        component: "C1".into(),
        rule: "supply".into(),
        plate: Vec::new(),
        bindings: Vec::new(),
        ..Plan::default()
    };
    Verdict {
        number,
        check: 1,
        unit_tag: plan.unit_tag,
        component: plan.component,
        rule: plan.rule,
        title: "Supply".into(),
        rule_hash: String::new(),
        word,
        danger: false,
        reason: None,
        judgements: Vec::new(),
        readings: Vec::new(),
        as_left: false,
        second_looks: Vec::new(),
        plate: Vec::new(),
        hold_points: Vec::new(),
        decision: DecisionRule::default(),
        notes: Vec::new(),
        at: at(20),
    }
}

fn clear(name: &str) -> Shows {
    Shows { name: name.to_string(), by_conditional_pass: false }
}

#[test]
fn what_falls_takes_those_behind_it_but_never_the_leads() {
    let mut ledger = ledger("RTU-07", "C1");
    confirm_all(&mut ledger);
    let changes = ledger.withdraw("proved dead");
    let gone = [("proved dead", LapseReason::Withdrawn), ("discharged", LapseReason::Earlier)];
    assert_eq!(lapsed(&changes), gone);
    assert_eq!(ledger.open(), ["proved dead", "discharged"]);
}

#[test]
fn power_undoes_one_unit_and_without_a_unit_every_one() {
    let mut ledger = ledger("RTU-07", "C1");
    confirm_all(&mut ledger);
    assert_eq!(lapsed(&ledger.energised(Some("RTU-08"), Some(By::Unsaid), at(9))), []);
    let undone = ledger.energised(None, Some(By::Unsaid), at(9));
    let undone: Vec<&str> = lapsed(&undone).into_iter().map(|(name, _)| name).collect();
    assert_eq!(undone, ["locked out", "proved dead", "discharged"]);
}

#[test]
fn another_component_keeps_what_is_of_the_unit() {
    let mut ledger = ledger("RTU-07", "C1");
    confirm_all(&mut ledger);
    serve(&mut ledger, "RTU-07", "C2");
    assert_eq!(ledger.open(), ["discharged"]);
    serve(&mut ledger, "RTU-08", "C1");
    assert_eq!(ledger.open(), ["locked out", "proved dead", "discharged"]);
}

#[test]
fn time_lapses_the_shortest_lived_first() {
    let mut ledger = ledger("RTU-07", "C1");
    confirm_all(&mut ledger);
    let first = hold::of("discharged").lasts;
    assert_eq!(ledger.next_lapse(), Some(at(2) + first));
    assert_eq!(lapsed(&ledger.lapse(at(1) + first)), []);
    assert_eq!(lapsed(&ledger.lapse(at(2) + first)), [("discharged", LapseReason::Time)]);
}

#[test]
fn a_verdict_shows_nothing_before_it_is_stored_and_a_fail_takes_away_at_once() {
    let mut ledger = ledger("RTU-07", "C1");
    let shows = [clear("supply proved")];
    assert_eq!(ledger.judged(&verdict(1, Word::Pass), &Slot::default(), &shows, true), []);
    assert_eq!(ledger.stored(2), [], "another verdict's");
    let told = ledger.stored(1);
    assert!(matches!(&told[..], [Change::Shown { name, .. }] if name == "supply proved"), "{told:?}");
    assert_eq!(ledger.stored(1), [], "once");

    assert_eq!(ledger.judged(&verdict(2, Word::Pass), &Slot::default(), &shows, true), []);
    assert_eq!(ledger.judged(&verdict(3, Word::Fail), &Slot::default(), &shows, true), []);
    assert_eq!(ledger.next_lapse(), None, "gone before anything is stored");
    assert_eq!(ledger.stored(2), [], "a later fail has taken it back");
    assert_eq!(lapsed(&ledger.stored(3)), [("supply proved", LapseReason::Failed)]);
}

#[test]
fn nothing_counts_that_nobody_watched() {
    let mut ledger = ledger("RTU-07", "C1");
    confirm_all(&mut ledger);
    let _ = ledger.judged(&verdict(1, Word::Pass), &Slot::default(), &[clear("supply proved")], true);
    let changes = ledger.forget(LapseReason::Unwatched);
    assert_eq!(lapsed(&changes).len(), LISTED.len());
    assert!(lapsed(&changes).iter().all(|(_, why)| *why == LapseReason::Unwatched));
    assert_eq!(ledger.stored(1), []);
    assert_eq!(ledger.open(), LISTED);
}

#[test]
fn a_unit_that_is_left_keeps_nothing_and_another_keeps_all() {
    let mut ledger = ledger("RTU-07", "C1");
    confirm_all(&mut ledger);
    assert_eq!(lapsed(&ledger.leave("RTU-08")), []);
    assert_eq!(ledger.open(), Vec::<String>::new());
    let changes = ledger.leave("RTU-07");
    let gone: Vec<&str> = lapsed(&changes).into_iter().map(|(name, _)| name).collect();
    assert_eq!(gone, ["locked out", "proved dead", "discharged"], "leads are nobody's unit");
}
