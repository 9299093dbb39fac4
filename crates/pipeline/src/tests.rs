//! The pipeline with a real profile text and a native rule lives in the integration tests; here: manual lines.
use super::*;
use alloc::string::ToString;
use alloc::vec;

fn typed(text: &str) -> Vec<Result<String, String>> {
    let mut lines = manual::ManualLines::default();
    let mut out = vec![];
    lines.bytes(text.as_bytes(), &mut |result| {
        out.push(match result {
            Ok(manual::Line::Round(round::Event::Typed { point, value, accuracy })) => {
                Ok(alloc::format!("{point} {} {:?} {}", value.number, value.unit, accuracy.is_some()))
            }
            Ok(other) => Ok(alloc::format!("{other:?}")),
            Err(fault) => Err(fault.to_string()),
        });
    });
    out
}

#[test]
fn lines_become_typed_values() {
    assert_eq!(
        typed("capacitance=39.40uF\n\nshorted = 0.1 ohm; 1% + 2\n"),
        [
            Ok("capacitance 39.40 Some(Unit(uF)) false".to_string()),
            Ok("shorted 0.1 Some(Unit(ohm)) true".to_string())
        ]
    );
}

#[test]
fn a_few_words_do_what_the_buttons_do() {
    let said = typed("confirm locked out\nyes\n next \nfinish\n");
    let said: Vec<&str> = said.iter().map(|line| line.as_deref().unwrap_or("refused")).collect();
    assert_eq!(
        said,
        [
            "Round(Confirm { hold_point: \"locked out\" })",
            "Round(Answer { question: None, yes: true })",
            "Next",
            "Round(Finish)"
        ]
    );
    assert!(matches!(typed("confirm\nyes please\nno -1\n").as_slice(), [Err(_), Err(_), Err(_)]));
}

#[test]
fn capitals_make_no_other_word_and_an_answer_may_name_its_question() {
    let said = typed("YES\nNo 3\nConfirm Locked Out\nNEXT\nAgain\n");
    let said: Vec<&str> = said.iter().map(|line| line.as_deref().unwrap_or("refused")).collect();
    assert_eq!(
        said,
        [
            "Round(Answer { question: None, yes: true })",
            "Round(Answer { question: Some(3), yes: false })",
            "Round(Confirm { hold_point: \"Locked Out\" })",
            "Next",
            "Round(Again)"
        ]
    );
}

#[test]
fn what_is_no_value_is_refused_with_a_sentence() {
    for text in ["39.4uF\n", "capacitance=OLL\n", "capacitance=39.4uf\n", "capacitance=1uF; 2 parsec\n"] {
        assert!(matches!(typed(text).as_slice(), [Err(_)]), "{text:?}");
    }
    // OL is a finding, which a rule may ask for with open(...).
    assert!(matches!(typed("capacitance=OL\n").as_slice(), [Ok(_)]));
    let endless = alloc::format!("{}\n1=2V\n", "x".repeat(10_000));
    assert_eq!(typed(&endless).len(), 2);
    assert_eq!(typed("no line end yet"), []);
}
