//! What needs code rather than a script: the view, bounds, settings that make no sense.
use quantity::{Decimal, Duration, Flags, State};

use super::*;
use judge::limits::{DecisionRule, Margin, Word};

fn reading(at: Instant, shown: &str) -> Event {
    let reading = Reading {
        at,
        seq: 0,
        channel: 0,
        display: DisplayUnit { unit: Unit::MICROFARAD, coupling: None },
        state: State::Value(Decimal::parse(shown).unwrap()),
        flags: Flags::default(),
        accuracy: None,
        timing: quantity::Timing { conversion_s: Some(0.1), response_s: None },
    };
    Event::Reading { device: "meter".to_string(), reading }
}

/// Arms `bare` and measures 40 uF; the round and the time after it.
fn passed(settings: Settings) -> (Round, Instant, Vec<Stamped>) {
    let mut round = Round::new(rules(), settings);
    let mut now = Instant::from_micros(1);
    let mut out = round.step(armed("bare"), now);
    for _ in 0..30 {
        now = now + Duration::from_millis(100);
        out.extend(round.step(reading(now, "40.00"), now));
    }
    (round, now, out)
}

fn word(out: &[Stamped]) -> Option<Word> {
    out.iter().find_map(|s| match &s.output {
        Output::Verdict(verdict) => Some(verdict.word),
        _ => None,
    })
}

#[test]
fn a_view_never_shows_an_old_verdict_as_live_even_without_a_tick() {
    let (round, now, _) = passed(Settings::default());
    let live = |after_ms| round.view(now + Duration::from_millis(after_ms)).verdict.map(|(_, live)| live);
    assert_eq!(live(0), Some(true));
    assert_eq!(live(1_900), Some(true));
    assert_eq!(live(2_100), Some(false), "a value is live for 3 intervals, 2 s at least");
}

#[test]
fn a_slow_meter_keeps_its_verdict_live_for_three_intervals() {
    let mut round = Round::new(rules(), Settings::default());
    let mut now = Instant::from_micros(1);
    let mut out = round.step(armed("bare"), now);
    for _ in 0..30 {
        now = now + Duration::from_secs(2);
        out.extend(round.step(reading(now, "40.00"), now));
    }
    assert_eq!(word(&out), Some(Word::Pass));
    let live = |after_s| round.view(now + Duration::from_secs(after_s)).verdict.map(|(_, live)| live);
    assert_eq!((live(5), live(7)), (Some(true), Some(false)));
}

#[test]
fn dropouts_never_leave_a_live_pass_behind() {
    let (round, now, _) = passed(Settings::default());
    for ms in 2_001..12_001 {
        let view = round.view(now + Duration::from_millis(ms));
        assert!(view.verdict.is_some_and(|(_, live)| !live), "{ms} ms");
    }
}

#[test]
fn a_risk_that_makes_no_sense_is_the_default() {
    for risk in [0.0, -1.0, 2.0, f64::NAN, f64::INFINITY] {
        let (_, _, out) = passed(Settings { risk, ..Settings::default() });
        assert_eq!(word(&out), Some(Word::Pass), "{risk}");
    }
}

#[test]
fn a_coverage_factor_that_makes_no_sense_never_widens_what_is_accepted() {
    let outside = Margin { inside_by: -0.01, standard_uncertainty: 1.0 };
    for coverage_factor in [-5.0, f64::NAN, f64::NEG_INFINITY, f64::INFINITY] {
        let rule = DecisionRule::Guarded { coverage_factor };
        assert_eq!(outside.word(rule), Word::ConditionalFail, "{coverage_factor}");
        assert_eq!(rule.guard_factor(), 2.0);
    }
}

#[test]
fn a_time_ahead_of_the_round_keeps_no_link_alive() {
    let mut round = Round::new(rules(), Settings::default());
    let mut now = Instant::from_micros(1);
    let mut out = round.step(armed("bare"), now);
    for _ in 0..30 {
        now = now + Duration::from_millis(100);
        out.extend(round.step(reading(now + Duration::from_secs(86_400), "40.00"), now));
    }
    assert_eq!(word(&out), Some(Word::Pass));
    let view = round.view(now + Duration::from_secs(3));
    assert_eq!(view.verdict.map(|(_, live)| live), Some(false));
}

#[test]
fn a_verdict_carries_what_it_rests_on() {
    let mut round = Round::new(rules(), Settings::default());
    let mut plan = armed("run-capacitor");
    if let Event::Arm(plan) = &mut plan {
        let number = Decimal::parse("40").unwrap();
        plan.plate.push(("capacitance".to_string(), Entered::Number { number, unit: Unit::MICROFARAD }));
    }
    let mut now = Instant::from_micros(1);
    round.step(plan, now);
    for name in ALL_FIVE {
        round.step(Event::from(Act::Confirm { hold_point: name.to_string() }), now);
    }
    let mut verdict = None;
    for _ in 0..30 {
        now = now + Duration::from_millis(100);
        for stamped in round.step(reading(now, "40.00"), now) {
            if let Output::Verdict(found) = stamped.output {
                verdict = Some(*found);
            }
        }
    }
    let verdict = verdict.unwrap();
    assert_eq!((verdict.rule.as_str(), verdict.rule_hash.as_str()), ("run-capacitor", "c0ffee"));
    assert_eq!(verdict.decision, DecisionRule::default());
    let shown: Vec<_> = verdict.hold_points.iter().map(|s| (s.name.as_str(), s.evidence.is_some())).collect();
    assert_eq!(shown, ALL_FIVE.map(|name| (name, true)));
    let plate: Vec<_> = verdict.plate.iter().map(|p| (p.name.as_str(), p.value, p.source.class)).collect();
    let wanted = [("capacitance", 40.0, SourceClass::Nameplate), ("tolerance", 6.0, SourceClass::Nameplate)];
    assert_eq!(plate, wanted);
    let r = &verdict.readings[0];
    assert_eq!((r.device.as_str(), r.shown.to_text().as_str()), ("meter", "40.00"));
    assert!(r.quantity.standard_uncertainty() > 0.0 && r.count >= 3);
    assert_eq!(verdict.judgements[0].judgement.source.class, SourceClass::Nameplate);
}

#[test]
fn ten_thousand_devices_do_not_grow_the_round() {
    let mut round = Round::new(rules(), Settings::default());
    let mut now = Instant::from_micros(1);
    round.step(armed("dead-only"), now);
    for i in 0..10_000 {
        now = now + Duration::from_millis(1);
        if let Event::Reading { reading, .. } = reading(now, "40.00") {
            round.step(Event::Reading { device: i.to_string(), reading }, now);
        }
    }
    assert!(round.ledger.sources() <= 32);
    assert!(round.leads.count() <= 32);
}

#[test]
fn more_lapses_than_deadlines_in_a_step_still_all_lapse() {
    let mut round = Round::new(rules(), Settings::default());
    let mut now = Instant::from_micros(1);
    for i in 0..1_100 {
        now = now + Duration::from_millis(1);
        let mut plan = armed("discharged-only");
        if let Event::Arm(plan) = &mut plan {
            plan.component = i.to_string();
        }
        round.step(plan, now);
        round.step(Event::from(Act::Confirm { hold_point: "discharged".to_string() }), now);
    }
    round.step(Event::Tick, now + Duration::from_secs(3_600));
    assert_eq!(round.ledger.next_lapse(), None);
}

#[test]
fn an_input_that_is_no_number_gives_no_judgement() {
    let set = rules();
    let rule = set.find("at-most").unwrap();
    for (value, standard_uncertainty) in
        [(f64::NAN, 0.1), (f64::NEG_INFINITY, 0.1), (40.0, f64::INFINITY), (40.0, f64::NAN)]
    {
        let input = judge::evaluate::Input { value, standard_uncertainty };
        let error = judge::evaluate::evaluate(&**rule, &[input], DecisionRule::default()).unwrap_err();
        assert_eq!(error.message, "an input is not a finite number");
    }
}

/// What is owed belongs to a visit, so that begins first.
#[test]
fn a_visit_begins_before_anything_is_owed_to_it() {
    let mut round = Round::new(rules(), Settings::default());
    round.step(armed("hoses"), Instant::from_micros(1));
    let typed = Act::typed("amps", "5.00 A", None).unwrap();
    let said = round.step(Event::from(typed), Instant::from_micros(2));
    let place =
        |wanted: fn(&Output) -> bool| said.iter().position(|stamped| wanted(&stamped.output)).unwrap();
    let opened = place(|output| matches!(output, Output::Opened { .. }));
    assert!(opened < place(|output| matches!(output, Output::Owed { .. })), "{said:#?}");
}

/// One act goes from any check to any other, of whatever unit.
#[test]
fn a_check_of_another_unit_is_armed_by_one_act() {
    let plan = |unit: &str, component: &str| Plan {
        unit_tag: unit.to_string(),
        component: component.to_string(),
        rule: "bare".to_string(),
        ..Plan::default()
    };
    let stops = alloc::vec![plan("RTU-01", "C1"), plan("RTU-02", "C1"), plan("RTU-02", "C2")];
    let mut round = Round::new(rules(), Settings::default()).on(Route::new(stops));
    round.step(Act::Next.into(), Instant::ZERO);
    let check = |unit: Option<&str>, name: &str| Act::Check {
        unit: unit.map(ToString::to_string),
        name: name.to_string(),
    };
    round.step(check(Some("RTU-02"), "C2 / bare").into(), Instant::ZERO);
    assert_eq!((round.unit_under_work(), round.place_on_route()), (Some("RTU-02"), Some(2)));
    round.step(check(None, "C1").into(), Instant::ZERO);
    assert_eq!((round.unit_under_work(), round.place_on_route()), (Some("RTU-02"), Some(1)));
    let said = round.step(check(Some("RTU-03"), "C1").into(), Instant::ZERO);
    assert!(
        matches!(&said[..], [Stamped { output: Output::Refused { why }, .. }] if why.contains("RTU-03")),
        "{said:?}"
    );
    assert_eq!(round.place_on_route(), Some(1));
}
