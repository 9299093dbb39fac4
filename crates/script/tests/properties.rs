//! Properties over random input: no bad value ever passes, mutated rules never panic, the same input gives the same
//! outcome bit for bit, also from a set loaded anew.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing)] // test code
mod support;

use std::sync::Arc;

use judge::evaluate::{Input, evaluate};
use judge::limits::{DecisionRule, Word};
use judge::rule::{Answer, Rule};
use proptest::prelude::*;
use support::{SKETCH, load, rule, shipped_files, shipped_rules, with_header};

fn inputs_of(rule: &dyn Rule) -> usize {
    rule.header().points.len() + rule.header().nameplate.len()
}

/// Any number, with the bad ones often.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        2 => proptest::num::f64::ANY,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(f64::NEG_INFINITY),
        1 => Just(0.0),
        4 => -10.0..500.0_f64,
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_bad_value_ever_gives_an_answer(values in proptest::collection::vec(any_number(), 0..9)) {
        for rule in shipped_rules_once().iter() {
            let wanted = inputs_of(&**rule);
            let row: Vec<f64> = values.iter().copied().take(wanted).collect();
            let bad = row.len() != wanted || row.iter().any(|v| !v.is_finite());
            match rule.judge(&row) {
                Ok(outcome) => {
                    prop_assert!(!bad, "{}: {row:?}", rule.id());
                    if let Answer::Judgements(list) = outcome.answer {
                        prop_assert!(!list.is_empty());
                        for judgement in list {
                            let limits = [judgement.low, judgement.high];
                            prop_assert!(judgement.value.is_finite() && limits.iter().flatten().all(|l| l.is_finite()));
                            prop_assert!(limits.iter().any(Option::is_some));
                        }
                    }
                }
                Err(error) => prop_assert!(!error.message.is_empty() && error.file.contains(rule.id())),
            }
        }
    }

    #[test]
    fn the_same_input_gives_the_same_outcome(values in proptest::collection::vec(0.0..200.0_f64, 8), u in 0.0..2.0_f64) {
        for (a, b) in shipped_rules_once().iter().zip(shipped_rules_again().iter()) {
            prop_assert_eq!(a.hash(), b.hash());
            let row: Vec<f64> = values.iter().copied().take(inputs_of(&**a)).collect();
            prop_assert_eq!(a.judge(&row), b.judge(&row));
            let inputs: Vec<Input> = row.iter().map(|v| Input { value: *v, standard_uncertainty: u }).collect();
            let once = evaluate(&**a, &inputs, DecisionRule::default());
            prop_assert_eq!(&once, &evaluate(&**b, &inputs, DecisionRule::default()));
        }
    }

    #[test]
    fn the_sketch_agrees_with_plain_arithmetic(value in 0.0..100.0_f64, rated in 0.1..100.0_f64, percent in 0.1..50.0_f64) {
        let band = rated * percent / 100.0;
        let inside = value >= rated - band && value <= rated + band;
        let inputs = [value, rated, percent].map(|value| Input { value, standard_uncertainty: 0.0 });
        let word = evaluate(&*sketch(), &inputs, DecisionRule::Simple).unwrap().word();
        prop_assert_eq!(word == Word::Pass, inside);
    }

    #[test]
    fn mutated_rules_never_panic_and_never_answer_to_bad_values(
        file in 0..6_usize,
        edits in proptest::collection::vec((0.0..1.0_f64, 0..MUTATIONS.len(), 0..12_usize), 1..6),
    ) {
        let mut text = files_once()[file % files_once().len()].1.clone();
        for (place, mutation, cut) in edits {
            text = mutated(&text, place, MUTATIONS[mutation], cut);
        }
        if let Ok(loaded) = load(&text) {
            let rule = loaded.set.find("test-rule").unwrap();
            let count = inputs_of(&**rule);
            for value in [0.0, 1.0, -3.5, 1e308] {
                let _ = rule.judge(&vec![value; count]);
            }
            if count > 0 {
                prop_assert!(rule.judge(&vec![f64::NAN; count]).is_err());
                prop_assert!(rule.judge(&vec![f64::INFINITY; count]).is_err());
            }
        }
    }

    #[test]
    fn small_random_bodies_give_an_error_or_an_answer(words in proptest::collection::vec(0..WORDS.len(), 1..40)) {
        let body: Vec<&str> = words.iter().map(|i| WORDS[*i]).collect();
        let text = with_header(&format!("fn judge(m, plate) {{ {} }}", body.join(" ")));
        if let Ok(loaded) = load(&text) {
            let rule = loaded.set.find("test-rule").unwrap();
            prop_assert!(rule.judge(&[f64::NAN, 1.0]).is_err());
            let _ = rule.judge(&[1.0, 2.0]);
        }
    }
}

/// Pieces put in somewhere.
const MUTATIONS: [&str; 24] = [
    "",
    " ",
    "m",
    "plate",
    "(",
    ")",
    "{",
    "}",
    "\"",
    ";",
    ".low(\"x\")",
    "0",
    "1e999",
    "== 1",
    "!",
    "-",
    "if true {",
    "return ",
    "let a = 1;",
    "m.x",
    "no_verdict(\"n\")",
    "fn f(a) { a }",
    "while true {}",
    "\u{202e}",
];

/// Pieces of random bodies.
const WORDS: [&str; 28] = [
    "at_most(\"x\", m.x, plate.p)",
    "no_verdict(\"n\")",
    "all_of(",
    ")",
    "(",
    "{",
    "}",
    ";",
    ",",
    "if",
    "else",
    "m.x < 5",
    "let a =",
    "a",
    "m.x",
    "plate.p",
    "+",
    "*",
    "<",
    "&&",
    "!",
    "return",
    "1",
    "\"t\"",
    ".low(\"l\")",
    "max(1, 2)",
    "()",
    "true",
];

/// `text` with `cut` characters taken out at a place and `piece` put in.
fn mutated(text: &str, place: f64, piece: &str, cut: usize) -> String {
    let characters: Vec<char> = text.chars().collect();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)]
    let at = ((characters.len() as f64 * place) as usize).min(characters.len());
    let head = characters.iter().take(at);
    let tail = characters.iter().skip(at + cut);
    head.copied().chain(piece.chars()).chain(tail.copied()).collect()
}

fn files_once() -> &'static [(std::path::PathBuf, String)] {
    static FILES: std::sync::OnceLock<Vec<(std::path::PathBuf, String)>> = std::sync::OnceLock::new();
    FILES.get_or_init(|| shipped_files(".rhai"))
}

/// A second set from the same files, in an engine of its own.
fn shipped_rules_again() -> &'static judge::rule::RuleSet {
    static RULES: std::sync::OnceLock<judge::rule::RuleSet> = std::sync::OnceLock::new();
    RULES.get_or_init(shipped_rules)
}

fn shipped_rules_once() -> &'static judge::rule::RuleSet {
    static RULES: std::sync::OnceLock<judge::rule::RuleSet> = std::sync::OnceLock::new();
    RULES.get_or_init(shipped_rules)
}

fn sketch() -> Arc<dyn Rule> {
    static SKETCH_RULE: std::sync::OnceLock<Arc<dyn Rule>> = std::sync::OnceLock::new();
    Arc::clone(SKETCH_RULE.get_or_init(|| rule(SKETCH)))
}
