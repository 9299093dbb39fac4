//! Figures as people read them, and words of others that must not act on a terminal.
use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::String;
use alloc::vec;

use super::{block, line, short, unsaved};
use crate::{
    DriftJson, HoldPointJson, JudgementJson, LookJson, PlateJson, ReadingJson, SecondLookJson, VerdictJson,
};

#[test]
fn four_significant_digits() {
    assert_eq!(short(42.400_000_1), "42.4");
    assert_eq!(short(0.012_345_6), "0.01235");
    assert_eq!(short(1_234_567.0), "1235000");
    assert_eq!(short(0.0), "0");
}

fn second_look(word: String) -> SecondLookJson {
    let look = LookJson {
        number: 1,
        device: word.clone(),
        value: Some(1.0),
        unit: word.clone(),
        standard_uncertainty: 0.1,
        as_left: true,
        at_s: 1.0,
    };
    SecondLookJson {
        point: word.clone(),
        label: word.clone(),
        first: look.clone(),
        second: look,
        agrees: None,
        by: word.clone(),
        apart: None,
        within: None,
        en: None,
        unknown: Some(word),
    }
}

/// A verdict with these words in every text that a recording, a rule, a device or a site's file can fill.
fn verdict(word: &str) -> VerdictJson {
    let word = || word.to_owned();
    VerdictJson {
        danger: false,
        rule: word(),
        rule_hash: word(),
        verdict: "fail".to_owned(),
        reason: Some(word()),
        hold_points: vec![HoldPointJson { name: word(), shown: true, how: Some(word()), at_s: Some(1.0) }],
        evidence: vec![],
        readings: vec![ReadingJson {
            point: word(),
            label: word(),
            device: word(),
            value: 1.0,
            unit: word(),
            shown: word(),
            standard_uncertainty: 0.1,
            count: 3,
            settled: true,
            at_least: None,
            at_most: None,
            drift: Some(DriftJson { name: word(), per_minute: -1.234 }),
            at_s: 1.0,
        }],
        as_left: true,
        second_looks: vec![second_look(word())],
        judgements: vec![JudgementJson {
            name: word(),
            verdict: "fail".to_owned(),
            value: 1.0,
            unit: word(),
            low: Some(2.0),
            high: None,
            standard_uncertainty: 0.1,
            expanded_uncertainty: 0.2,
            probability_of_conformance: 0.0,
            advice: Some(word()),
            source: word(),
            source_class: "nameplate".to_owned(),
            guard: 0.2,
            meter_too_coarse: false,
        }],
        check: 1,
        number: 1,
        unit: word(),
        component: word(),
        title: word(),
        advice: Some(word()),
        plate: vec![PlateJson {
            name: word(),
            value: 1.0,
            unit: word(),
            word: Some(word()),
            source: word(),
            source_class: word(),
        }],
        coverage_factor: 2.0,
        decision_rule: word(),
        notes: vec![word()],
        at_s: 9.0,
    }
}

/// Escape, bell, carriage return, line feed, C1 controls, overrides of direction, characters without width.
const ACTS: [&str; 8] = [
    "\u{1b}[2J\u{1b}]0;title\u{7}",
    "a\r",
    "a\n    9.000 s  #9  RTU-09 / main breaker  Run capacitor: PASS  forged line",
    "\u{9b}31m\u{9d}0;title\u{9c}",
    "\u{85}\u{2028}\u{2029}",
    "\u{202e}SSAP\u{202c}",
    "\u{2066}x\u{2069}\u{200f}",
    "P\u{200b}A\u{feff}SS",
];

#[test]
fn words_of_others_cannot_act_in_a_line() {
    for word in ACTS {
        let line = line(&verdict(word));
        assert!(!line.chars().any(acts), "{line:?}");
        assert_eq!(line.lines().count(), 1, "{line:?}");
    }
}

#[test]
fn words_of_others_cannot_act_in_a_block() {
    let lines = block(&verdict("x")).lines().count();
    for word in ACTS {
        let block = block(&verdict(word));
        assert!(!block.chars().any(|c| c != '\n' && acts(c)), "{block:?}");
        // Where a text may have lines, those behind the first stand under it.
        let further = block.lines().filter(|line| line.contains("forged line")).count();
        let under = block.lines().filter(|line| line.starts_with("                9.000 s")).count();
        assert_eq!(block.lines().count() - under, lines, "{block}");
        assert_eq!(
            (further > 0, under),
            (word.contains("forged"), if further > 0 { 3 } else { 0 }),
            "{block}"
        );
    }
}

fn acts(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

#[test]
fn plain_words_stay_as_they_are() {
    let line = line(&verdict("Lüfter µF \"2\""));
    assert_eq!(
        line,
        "    9.000 s  #1  Lüfter µF \"2\" / Lüfter µF \"2\"  Lüfter µF \"2\", as left: FAIL  \
         Lüfter µF \"2\" 1 +-0.2 Lüfter µF \"2\" (at least 2 Lüfter µF \"2\"), while Lüfter µF \"2\" drifts \
         -1.2 Lüfter µF \"2\" a minute (Lüfter µF \"2\")  -- Lüfter µF \"2\"; second look: Lüfter µF \"2\" 1 Lüfter µF \"2\", \
         first 1 Lüfter µF \"2\": they cannot be compared: the accuracy of Lüfter µF \"2\" is not known"
    );
}

#[test]
fn a_danger_comes_first_in_every_form() {
    let found = VerdictJson { danger: true, as_left: false, second_looks: vec![], ..verdict("co") };
    let (line, block, json) = (line(&found), block(&found), found.line());
    assert!(line.starts_with("DANGER      9.000 s  #1  co / co  co: FAIL"), "{line}");
    assert!(block.starts_with("DANGER  co: FAIL\n"), "{block}");
    assert!(json.starts_with(r#"{"danger":true,"rule":"co","#), "{json}");
    assert_eq!(unsaved(&line), line.replacen("DANGER", "DANGER  UNSAVED", 1));
    // Read back as it is; where there is none, nothing is said of it.
    assert_eq!(serde_json::from_str::<VerdictJson>(&json).unwrap(), found);
    let none = VerdictJson { danger: false, ..found };
    assert!(!none.line().contains("danger"), "{}", none.line());
    assert_eq!(unsaved(&super::line(&none)), format!("UNSAVED  {}", super::line(&none)));
}

#[test]
fn a_value_beyond_the_range_has_no_figure() {
    let mut found = verdict("x");
    let reading = &mut found.readings[0];
    (reading.settled, reading.at_least, reading.drift) = (false, Some(400.0), None);
    (reading.shown, reading.value) = ("OL".to_owned(), 400.0);
    found.judgements[0].value = 400.0;
    let (line, block) = (line(&found), block(&found));
    assert!(
        line.contains("x OL, beyond the meter's range (at least 2 x)") && !line.contains("400"),
        "{line}"
    );
    assert!(block.contains("x: OL, beyond the meter's range (x, 3 readings)"), "{block}");
}
