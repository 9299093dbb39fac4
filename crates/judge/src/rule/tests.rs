//! What a rule declares, as people and the engine read it: choices, units, errors, the set of rules.
use super::*;
use alloc::format;

struct Named(&'static str, Header);

impl Rule for Named {
    fn id(&self) -> &str {
        self.0
    }
    fn hash(&self) -> &'static str {
        "ab12"
    }
    fn header(&self) -> &Header {
        &self.1
    }
    fn judge(&self, _values: &[f64]) -> Result<Outcome, RuleError> {
        Ok(Outcome { answer: Answer::NoVerdict("nothing to judge".into()), path: 0 })
    }
}

fn item(choices: &[&str]) -> PlateItem {
    PlateItem {
        name: "refrigerant".into(),
        unit: if choices.is_empty() { Unit::MICROFARAD } else { Unit::ONE },
        choices: choices.iter().map(|word| String::from(*word)).collect(),
        default: PlateDefault::Required,
        plausible: None,
        line: 1,
    }
}

#[test]
fn a_choice_is_read_back_from_its_place_and_a_number_has_no_word() {
    let choice = item(&["R-22", "R-410A"]);
    let words = [-1.0, 0.0, 1.0, 2.0, f64::NAN].map(|place| choice.word(place));
    assert_eq!(words, [Some("R-22"), Some("R-22"), Some("R-410A"), None, Some("R-22")]);
    assert_eq!(choice.wants(), "R-22 or R-410A");
    assert_eq!((item(&[]).word(0.0), item(&[]).wants()), (None, Unit::MICROFARAD.to_string()));
}

/// File, line and column as compilers write them, so that an editor finds the place; only as much as is known.
#[test]
fn an_error_says_where_as_far_as_it_is_known() {
    let error = |line, column, source_line: &str| {
        let (message, file) = ("no such point".into(), "rules/a.rhai".into());
        RuleError { message, file, line, column, source_line: source_line.into() }.to_string()
    };
    assert_eq!(error(0, 0, ""), "rules/a.rhai: no such point");
    assert_eq!(error(0, 7, "x"), "rules/a.rhai: no such point");
    assert_eq!(error(3, 0, ""), "rules/a.rhai:3: no such point");
    assert_eq!(error(3, 1, ""), "rules/a.rhai:3:1: no such point");
    assert_eq!(error(3, 7, "  m.x > 3\n"), "rules/a.rhai:3:7: no such point\n      m.x > 3");
}

#[test]
fn a_set_gives_its_rules_by_id_and_in_their_order() {
    let rule = |id| -> Arc<dyn Rule> { Arc::new(Named(id, Header::default())) };
    let set = RuleSet::new([rule("fan-amps"), rule("belt-sag")].into(), "5f0c");
    assert_eq!(set.iter().map(|rule| rule.id()).collect::<Vec<_>>(), ["fan-amps", "belt-sag"]);
    assert_eq!(set.find("belt-sag").map(|rule| rule.id()), Some("belt-sag"));
    assert!(set.find("belt").is_none());
    assert_eq!((set.hash(), RuleSet::default().hash()), ("5f0c", ""));
    assert_eq!(format!("{set:?}"), "[\"fan-amps\", \"belt-sag\"]");
    // A rule that was read from no file names none.
    assert_eq!(set.find("fan-amps").map(|rule| rule.file()), Some(""));
}
