//! Property: whatever a verdict holds, it is read back equal.

use proptest::prelude::*;

use crate::{History, HoldPoint, Judgement, NewRound, PlateValue, Verdict, VerdictReading, WORDS};

fn text() -> impl Strategy<Value = String> {
    any::<String>()
}

fn maybe<T: Clone + std::fmt::Debug>(of: impl Strategy<Value = T>) -> impl Strategy<Value = Option<T>> {
    proptest::option::of(of)
}

fn real() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO
}

fn micros() -> impl Strategy<Value = u64> {
    0..=i64::MAX as u64
}

fn word() -> impl Strategy<Value = String> {
    proptest::sample::select(WORDS.to_vec()).prop_map(str::to_owned)
}

prop_compose! {
    fn reading()(texts in [text(), text(), text(), text()], value in real(), u in real(), shown in maybe(text()),
                 count in any::<u32>(), at_us in micros(), settled in any::<bool>(),
                 ends in [maybe(real()), maybe(real())]) -> VerdictReading {
        let [point, label, device, unit] = texts;
        let [at_least, at_most] = ends;
        VerdictReading { point, label, device, value: settled.then_some(value), unit,
                         standard_uncertainty: settled.then_some(u), shown, count, settled, at_least, at_most, at_us }
    }
}

prop_compose! {
    fn judgement()(texts in [text(), text(), text(), text()], word in word(), numbers in [maybe(real()), maybe(real()),
                   maybe(real()), maybe(real()), maybe(real()), maybe(real())], coarse in any::<bool>(),
                   advice in maybe(text())) -> Judgement {
        let [name, unit, source, source_class] = texts;
        let [value, low, high, standard_uncertainty, probability_of_conformance, guard] = numbers;
        Judgement { name, word, value, unit, low, high, standard_uncertainty, probability_of_conformance, guard,
                    meter_too_coarse: coarse, advice, source, source_class }
    }
}

prop_compose! {
    fn plate()(texts in [text(), text(), text()], value in real()) -> PlateValue {
        let [name, unit, source] = texts;
        PlateValue { name, value, unit, source }
    }
}

prop_compose! {
    fn hold_point()(name in text(), shown in any::<bool>(), how in maybe(text()), at_us in maybe(micros())) -> HoldPoint {
        HoldPoint { name, shown, how, at_us }
    }
}

prop_compose! {
    fn any_verdict()(texts in [text(), text(), text(), text(), text(), text(), text()], seq in micros(), word in word(), reason in text(),
                     advice in maybe(text()), numbers in (any::<u32>(), micros(), any::<i64>()), json in any::<i64>(),
                     readings in prop::collection::vec(reading(), 0..4),
                     judgements in prop::collection::vec(judgement(), 0..4),
                     plate in prop::collection::vec(plate(), 0..4),
                     hold_points in prop::collection::vec(hold_point(), 0..6)) -> Verdict {
        let [uid, unit_tag, component, rule, title, rule_hash, decision_rule] = texts;
        let (check, at_us, wall_ms) = numbers;
        let reason = (word == "no verdict").then_some(reason);
        Verdict { uid, seq, visit: None, check, unit_tag, component, rule, title, rule_hash, word, reason, advice, decision_rule, at_us,
                  wall_ms, readings, judgements, plate, hold_points, json: format!("{{\"n\": {json}}}") }
    }
}

prop_compose! {
    fn any_round()(texts in [text(), text(), text(), text(), text()], started_wall_ms in any::<i64>()) -> NewRound {
        let [uid, site, rules_hash, decision_rule, program_version] = texts;
        NewRound { uid, site, started_wall_ms, rules_hash, decision_rule, program_version }
    }
}

proptest! {
    #[test]
    fn what_is_committed_is_read_back_equal(round in any_round(), verdict in any_verdict()) {
        let mut history = History::open_in_memory().unwrap();
        let id = history.begin_round(&round).unwrap();
        let committed = history.commit_verdict(id, &verdict).unwrap();
        let stored = history.reader().verdict(committed.id).unwrap().unwrap();
        prop_assert_eq!(&stored.verdict, &verdict);
        prop_assert_eq!(&stored.round, &round);
        let of_component =
            history.reader().of_component(&round.site, &verdict.unit_tag, &verdict.component, 9).unwrap();
        prop_assert_eq!(of_component, vec![stored]);
    }
}
