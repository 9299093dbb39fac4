//! The declaration of a danger: what it takes, what is refused and with which words.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing)] // test code
mod support;

use judge::rule::Beyond;
use support::{load, refused, rule};

/// A rule of one reading in volts with a limit in millivolts and one in amps, and what follows.
fn with(more: &str) -> String {
    format!(
        "title(\"T\"); reads(\"x\", \"V\"); limit(\"most\", 50000, \"mV\", \"memory: of a test\"); \
         limit(\"amps\", 5, \"A\", \"physics: of a test\"); {more}\n\
         fn judge(m, plate) {{ at_most(\"x\", m.x, 5).source(\"physics: of a test\") }}"
    )
}

#[test]
fn its_limit_stands_in_the_unit_of_its_reading_and_counts_as_used() {
    let text = with(
        "hold_points([\"belt guard on\"]);\n\
         danger(\"x\", \"below\", \"most\", \"out\", [\"burner steady\", \"belt guard on\"]);",
    );
    let rule = rule(&text);
    let danger = &rule.header().dangers[0];
    assert_eq!((danger.point, danger.beyond, danger.limit), (0, Beyond::Below, 0));
    assert!((danger.at - 50.0).abs() < 1e-9, "50000 mV are 50 V: {}", danger.at);
    assert_eq!((&*danger.advice, danger.line), ("out", 2));
    assert_eq!(danger.ends, ["burner steady", "belt guard on"]);
    let warned: Vec<String> = load(&text).unwrap().warnings.iter().map(ToString::to_string).collect();
    assert!(warned.iter().any(|w| w.contains("limit \"amps\" is declared and never used")), "{warned:?}");
    assert!(!warned.iter().any(|w| w.contains("limit \"most\"")), "{warned:?}");
}

#[test]
fn a_rule_has_eight_at_most_one_for_each_side_of_a_reading() {
    let all = |n: usize| {
        let declared = |k| {
            format!("reads(\"y{k}\", \"V\", \"y {k}\"); danger(\"y{k}\", \"above\", \"most\", \"out\"); ")
        };
        with(&(0..n).map(declared).collect::<String>())
    };
    assert_eq!(rule(&all(8)).header().dangers.len(), 8);
    let why = refused(&all(9));
    assert!(why.contains("at most 8 dangers"), "{why}");
    let sides =
        with("danger(\"x\", \"above\", \"most\", \"out\"); danger(\"x\", \"below\", \"most\", \"in\");");
    assert_eq!(rule(&sides).header().dangers.len(), 2);
}

#[test]
fn what_is_wrong_is_said_with_its_line_and_the_nearest_name() {
    let nine = "\"1\", \"2\", \"3\", \"4\", \"5\", \"6\", \"7\", \"8\", \"9\"";
    let list = [
        (
            "danger(\"y\", \"above\", \"most\", \"out\");",
            "no reading \"y\" is declared above; did you mean \"x\"",
        ),
        ("danger(\"x\", \"over\", \"most\", \"out\");", "a danger lies \"above\" its limit or \"below\" it"),
        ("danger(\"x\", \"abov\", \"most\", \"out\");", "did you mean \"above\""),
        (
            "danger(\"x\", \"above\", \"mots\", \"out\");",
            "no limit \"mots\" is declared above; did you mean \"most\"",
        ),
        (
            "danger(\"x\", \"above\", \"amps\", \"out\");",
            "limit \"amps\" is in A, reading \"x\" in V: a danger compares like with like",
        ),
        ("danger(\"x\", \"above\", \"most\", \" \");", "a danger says what to do"),
        ("danger(\"x\", \"above\", 50, \"out\");", "write danger(name, \"above\""),
        ("danger(\"x\", \"above\", \"most\");", "write danger(name, \"above\""),
        (
            "danger(\"x\", \"above\", \"most\", \"o\"); danger(\"x\", \"above\", \"most\", \"o\");",
            "declared twice",
        ),
        (
            "danger(\"x\", \"above\", \"most\", \"out\", [\"burner stedy\"]);",
            "did you mean \"burner steady\"",
        ),
        (
            "danger(\"x\", \"above\", \"most\", \"out\", [\"belt guard on\"]);",
            "no hold point \"belt guard on\" is known",
        ),
        ("danger(\"x\", \"above\", \"most\", \"out\", [\"locked out\", \"locked out\"]);", "stands twice"),
        (&format!("danger(\"x\", \"above\", \"most\", \"out\", [{nine}]);"), "at most 8 hold points"),
    ];
    for (more, part) in list {
        let why = refused(&with(&format!("\n{more}")));
        assert!(why.contains(part), "{more}\n{why}");
        assert!(why.contains(":2:"), "the line: {why}");
    }
}
