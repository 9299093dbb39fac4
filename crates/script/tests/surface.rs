//! The rule surface: what a shop may write, what is refused and with which words, and that a short rule as a
//! shop would write it works.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::cast_precision_loss
)] // test code
#![allow(clippy::too_many_lines, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // tables
mod support;

use judge::evaluate::{Evaluation, Input, evaluate};
use judge::limits::DecisionRule;
use judge::rule::{Answer, PlateDefault, Rule, SourceClass};
use script::{Limits, RuleSetLoader, Severity};
use support::{SKETCH, exact, load, refused, rule, shown, with_header};
use trade::catalogue::{ParameterKind, Returns};

/// The only judgement of a run at these values.
fn judged(rule: &dyn Rule, values: &[f64]) -> judge::rule::Judgement {
    match rule.judge(values).unwrap().answer {
        Answer::Judgements(list) => list.into_iter().next().unwrap(),
        Answer::NoVerdict(why) => panic!("no verdict: {why}"),
    }
}

#[test]
fn the_sketch_gives_the_four_words() {
    let rule = rule(SKETCH);
    // 40 uF +-6 %: 37.6 to 42.4 uF, u = 0.5 uF, U = 1 uF (k = 2); words by ILAC-G8:09/2019, 4.2.3.
    for (value, want) in [
        (40.0, "pass"),
        (38.0, "conditional pass"),
        (37.0, "conditional fail"),
        (36.0, "fail"),
        (42.9, "conditional fail"),
        (43.9, "fail"),
    ] {
        let inputs = [Input { value, standard_uncertainty: 0.5 }, exact(40.0), exact(6.0)];
        let evaluation = evaluate(&*rule, &inputs, DecisionRule::default()).unwrap();
        assert_eq!(format!("{}", evaluation.word()), want, "{value}");
        let Evaluation::Judged { judgements, path_changes, .. } = evaluation else { panic!() };
        assert!(path_changes.is_empty());
        assert!((judgements[0].standard_uncertainty - 0.5).abs() < 1e-12);
        if value < 37.5 {
            assert!(
                judgements[0].advice().unwrap().contains("weak: order the same uF, the same volts or higher")
            );
        }
    }
}

#[test]
fn the_sketch_has_its_header_and_its_source() {
    let rule = rule(SKETCH);
    let header = rule.header();
    assert_eq!(header.title, "Run capacitor");
    assert_eq!((header.nameplate.len(), header.points.len(), header.hold_points.len()), (2, 1, 5));
    assert!(matches!(header.nameplate[0].default, PlateDefault::Required));
    assert_eq!(header.nameplate[1].line, 3);
    let judgement = judged(&*rule, &[39.4, 40.0, 6.0]);
    assert_eq!((judgement.unit.symbol(), judgement.low, judgement.high), ("uF", Some(37.6), Some(42.4)));
    assert_eq!(
        &*judgement.source.text,
        "capacitance: nameplate, to be entered; tolerance: common practice, 6 % where the can prints none"
    );
    assert_eq!(judgement.source.class, SourceClass::CommonPractice);
}

#[test]
fn a_set_that_follows_another_takes_over_what_did_not_change() {
    let loader = RuleSetLoader::default();
    let other = SKETCH.replace("title(", "// mine\ntitle(");
    let first = loader.load([("one.rhai", SKETCH), ("two.rhai", SKETCH)]).unwrap().set;
    let second = loader.load_after([("one.rhai", SKETCH), ("two.rhai", other.as_str())], &first).unwrap().set;
    let same = |id: &str| std::sync::Arc::ptr_eq(first.find(id).unwrap(), second.find(id).unwrap());
    assert!(same("one") && !same("two"));
    let anew = loader.load([("one.rhai", SKETCH), ("two.rhai", other.as_str())]).unwrap().set;
    assert_eq!(second.hash(), anew.hash());
    // Elsewhere the same text is read anew: messages name the file.
    let moved = loader.load_after([("b/one.rhai", SKETCH)], &first).unwrap().set;
    assert_eq!(moved.find("one").unwrap().file(), "b/one.rhai");
    // A name that stands twice is still refused, whether taken over or not.
    let twice = loader.load_after([("one.rhai", SKETCH), ("b/one.rhai", SKETCH)], &first).unwrap_err();
    assert!(twice[0].found.message.contains("one.rhai has the same name"), "{}", twice[0].found.message);
}

#[test]
fn hashes_are_sha_256_and_do_not_depend_on_order_or_folder() {
    let set = |files: &[(&str, &str)]| {
        let loaded = RuleSetLoader::new(Limits::default()).load(files.iter().copied()).unwrap();
        loaded.set
    };
    let other = SKETCH.replace("6.0", "5.0");
    let a = set(&[("x/one.rhai", SKETCH), ("x/two.rhai", &other)]);
    let b = set(&[("two.rhai", &other), ("y/one.rhai", SKETCH)]);
    assert_eq!(a.hash(), b.hash());
    assert_ne!(a.hash(), set(&[("one.rhai", &other), ("two.rhai", SKETCH)]).hash());
    let one = set(&[("one.rhai", "title(\"T\");reads(\"x\",\"V\");fn judge(m,plate){no_verdict(\"n\")}")]);
    assert_eq!(one.find("one").unwrap().hash(), HASH_BY_PYTHON);
    assert_eq!(one.hash(), SET_HASH_BY_PYTHON);
}

// python3 -c 'import hashlib; t=b"title(\"T\");reads(\"x\",\"V\");fn judge(m,plate){no_verdict(\"n\")}";
//   h=hashlib.sha256(t); print(h.hexdigest()); print(hashlib.sha256(b"one\0"+h.digest()).hexdigest())'
const HASH_BY_PYTHON: &str = "25f7123a90f3e0859e099b3ef2881f69baf1f61f012304739b923d499b6208f8";
const SET_HASH_BY_PYTHON: &str = "aaa53a590313fc734e8e9d1bdf84927222ceb2adf8b7f86d0df7165b650b160b";

#[test]
fn whole_numbers_divide_like_numbers() {
    let text = with_header(
        "fn judge(m, plate) { at_most(\"x\", 7 / 2 + 0x10 - 2 ** 3 % 5, 1e3).source(\"physics: of a test\") }",
    );
    let judgement = judged(&*rule(&text), &[1.0, 1.0]);
    assert_eq!(judgement.value, 3.5 + 16.0 - 3.0);
}

#[test]
fn functions_of_the_table_work_and_carry_their_source() {
    let text = "title(\"T\"); nameplate(\"c\", \"uF\"); nameplate(\"f\", \"Hz\"); reads(\"a\", \"A ac\"); reads(\"v\", \"V ac\");
fn judge(m, plate) { at_least(\"c\", capacitance_under_load_uF(m.a, m.v, plate.f), plate.c) }";
    let rule = rule(text);
    assert_eq!(rule.header().points[0].display.coupling, Some(quantity::Coupling::Ac));
    // CAP-02, physics: 43.613888 uF
    let judgement = judged(&*rule, &[6.1, 371.0, 45.0, 60.0]);
    assert!((judgement.value - 43.613_888_269).abs() < 1e-9);
    assert_eq!(&*judgement.source.text, "c: nameplate, to be entered");
    let error = rule.judge(&[6.1, 371.0, 45.0, 0.0]).unwrap_err();
    assert!(error.message.contains("frequency 0 Hz is outside"), "{error}");
    assert_eq!(error.line, 2);
}

#[test]
fn several_judgements_helpers_and_branches() {
    let text = r#"title("T"); nameplate("p", "uF"); reads("x", "uF"); limit("k", 2, "%", "common practice: of a test");
fn judge(m, plate, limit) {
    let band = plate.p * limit.k / 100;
    if m.x > plate.p && !(m.x > 3 * plate.p) { band *= 2; }
    let low = "l";
    all_of(one("x", m.x, plate.p, band).low(low), one("second", m.x, plate.p, band * 2).unit("uF").source("physics: of a test"))
}
fn one(name, value, middle_of, band) {
    within(name, value, middle_of - band, middle_of + band).ok("fine")
}"#;
    let rule = rule(text);
    let run = |x| rule.judge(&[x, 10.0]).unwrap();
    let Answer::Judgements(list) = run(9.9).answer else { panic!() };
    assert_eq!((list[0].low, list[0].high, list[1].low), (Some(9.8), Some(10.2), Some(9.6)));
    assert_eq!((list[1].unit.symbol(), list[1].source.class), ("uF", SourceClass::Physics));
    assert_eq!(&*list[0].source.text, "p: nameplate, to be entered; k: common practice, of a test");
    assert_eq!((list[0].advice_low.as_deref(), list[0].advice_ok.as_deref()), (Some("l"), Some("fine")));
    assert_eq!(run(9.9).path, run(9.8).path);
    assert_ne!(run(9.9).path, run(10.1).path);
    assert_ne!(run(10.1).path, run(31.0).path);
}

#[test]
fn floor_is_a_decision_and_min_is_not() {
    let text = with_header("fn judge(m, plate) { at_most(\"x\", @, plate.p) }");
    let stepped = rule(&text.replace('@', "floor(m.x)"));
    assert_ne!(stepped.judge(&[0.9, 5.0]).unwrap().path, stepped.judge(&[1.1, 5.0]).unwrap().path);
    let smooth = rule(&text.replace('@', "min(m.x, 1)"));
    assert_eq!(smooth.judge(&[0.9, 5.0]).unwrap().path, smooth.judge(&[1.1, 5.0]).unwrap().path);
}

#[test]
fn two_judgements_with_one_name_are_an_error() {
    let rule = rule(&with_header(
        "fn judge(m, plate) {\n all_of(at_most(\"x\", m.x, plate.p),\n at_least(\"x\", m.x, plate.p)) }",
    ));
    let error = rule.judge(&[1.0, 2.0]).unwrap_err();
    assert!(error.message.contains("two judgements are named"), "{error}");
    assert_eq!(error.line, 4);
}

#[test]
fn run_time_errors_name_file_line_and_show_the_line() {
    let rule = rule(&with_header(
        "fn judge(m, plate) {\n    let share = m.x / plate.p * m.x;\n    at_most(\"x\", share, plate.p)\n}",
    ));
    let error = rule.judge(&[1.0, 0.0]).unwrap_err();
    let text = format!("{error}");
    assert!(text.starts_with("test-rule.rhai:3:"), "{text}");
    assert!(
        text.contains("1 / 0 is not a finite number") && text.ends_with("let share = m.x / plate.p * m.x;"),
        "{text}"
    );
    let crossed = rule_with_limits_crossed().judge(&[1.0, 2.0]).unwrap_err();
    assert!(crossed.message.contains("lies above the high limit"), "{crossed}");
}

fn rule_with_limits_crossed() -> std::sync::Arc<dyn Rule> {
    rule(&with_header("fn judge(m, plate) { within(\"x\", m.x, plate.p, -plate.p) }"))
}

#[test]
fn the_number_of_values_and_their_finiteness_are_checked_first() {
    let rule = rule(SKETCH);
    assert!(rule.judge(&[40.0, 40.0]).unwrap_err().message.contains("2 values were given for 3 inputs"));
    let error = rule.judge(&[f64::NAN, 40.0, 6.0]).unwrap_err();
    assert!(error.message.contains("capacitance is NaN") && error.line == 4, "{error}");
}

#[test]
fn unused_declarations_are_warnings() {
    let text = r#"title("T"); nameplate("p", "uF"); nameplate("q", "V"); plausible("plate.p", 1, 9); plausible("plate.q", 1, 9);
reads("x", "uF"); reads("y", "uF"); limit("l", 1, "V", "physics: of a test");
fn judge(m, plate) { at_most("x", m.x, plate.p) }
fn spare(a) { a }"#;
    let warnings = load(text).unwrap().warnings;
    let all = shown(&warnings);
    assert!(warnings.iter().all(|w| w.severity == Severity::Warning));
    for part in ["\"q\" is asked for", "reading \"y\"", "limit \"l\"", "function spare is never called"] {
        assert!(all.contains(part), "{part} in:\n{all}");
    }
    assert_eq!(warnings.len(), 4, "{all}");
}

#[test]
fn the_class_of_a_source_is_declared_and_never_guessed() {
    let rule_of = |source: &str| {
        format!(
            "title(\"T\"); reads(\"x\", \"V\");\nlimit(\"l\", 5, \"V\", \"{source}\");\n\
             fn judge(m, plate, limit) {{ at_most(\"x\", m.x, limit.l) }}"
        )
    };
    let list =
        "write one of standard:, nameplate:, physics:, common practice:, own records:, memory: before it";
    for (source, part) in [
        // Each of these was taken for a class by a word inside it.
        ("our own figure: no standard covers this", list),
        ("template we drew up: nobody published one", list),
        ("nonstandard guess", list),
        ("mislabelled", list),
        ("of the plate; 1 % for rounded print", list),
        ("", list),
        ("standard IEC 60252-1", "did you mean \"standard:\"?"),
        ("standrad: IEC 60252-1", "did you mean \"standard:\"?"),
        ("Standard: IEC 60252-1", "did you mean \"standard:\"?"),
        ("common practise: 6 %", "did you mean \"common practice:\"?"),
        ("from memory: 6 %", "did you mean \"memory:\"?"),
        ("own record: 61 units", "did you mean \"own records:\"?"),
        ("standard:", "says nothing after its class"),
        ("memory:   ", "says nothing after its class"),
    ] {
        let all = refused(&rule_of(source));
        assert!(all.contains(part), "wanted {part:?} for {source:?}, got:\n{all}");
        // The place is that of the source itself.
        assert!(all.contains("test-rule.rhai:2:20: "), "{all}");
    }
    for (source, text, class) in [
        ("standard: IEC 60252-1", "IEC 60252-1", SourceClass::Standard),
        ("nameplate: the filter's marking", "the filter's marking", SourceClass::Nameplate),
        ("physics:definition", "definition", SourceClass::Physics),
        ("common practice: no standard covers this", "no standard covers this", SourceClass::CommonPractice),
        ("own records: 2023 to 2025, 61 units", "2023 to 2025, 61 units", SourceClass::OwnRecords),
        ("memory: NEMA MG 1, 14.36", "NEMA MG 1, 14.36", SourceClass::Memory),
    ] {
        let rule = rule(&rule_of(source));
        let limit = &rule.header().limits[0];
        assert_eq!((&*limit.source.text, limit.source.class), (text, class));
    }
}

#[test]
fn the_class_is_demanded_at_a_judgement_and_at_a_default_too() {
    let judge = "fn judge(m, plate) {\n at_most(\"x\", m.x, 5).source(\"no standard\") }";
    let all = refused(&with_header(judge));
    assert!(all.contains("test-rule.rhai:3:30: ") && all.contains("write one of standard:"), "{all}");
    let default = "title(\"T\"); reads(\"x\", \"V\");\nnameplate(\"p\", \"V\", 5, \"unmarked\");\n\
                   fn judge(m, plate) { at_most(\"x\", m.x, plate.p) }";
    let all = refused(default);
    assert!(all.contains("test-rule.rhai:2:24: ") && all.contains("write one of standard:"), "{all}");
}

#[test]
fn nameplate_values_have_bounds_or_a_warning_says_that_they_have_none() {
    let head =
        "title(\"T\"); reads(\"x\", \"uF\");\nnameplate(\"x\", \"uF\"); choice(\"k\", [\"one\", \"two\"]);\n";
    let judge = "fn judge(m, plate) { if plate.k == \"one\" { at_most(\"x\", m.x, plate.x) } else { no_verdict(\"n\") } }";
    let with = |more: &str| format!("{head}{more}\n{judge}");
    let warnings = load(&with("")).unwrap().warnings;
    assert_eq!(warnings.len(), 1, "{}", shown(&warnings));
    assert!(
        warnings[0].found.message.contains("add plausible(\"plate.x\", low, high)"),
        "{}",
        shown(&warnings)
    );
    assert_eq!((warnings[0].severity, warnings[0].found.line), (Severity::Warning, 2));

    // One name may be a reading and a nameplate value; each has its own bounds.
    let loaded = load(&with("plausible(\"x\", -1, 9); plausible(\"plate.x\", 0.5, 200);")).unwrap();
    let header = loaded.set.find("test-rule").unwrap().header().clone();
    assert_eq!(
        (header.points[0].plausible, header.nameplate[0].plausible),
        (Some((-1.0, 9.0)), Some((0.5, 200.0)))
    );
    assert!(loaded.warnings.is_empty(), "{}", shown(&loaded.warnings));

    for (more, part) in [
        ("plausible(\"plate.x\", 5, 1);", "low lies below high"),
        ("plausible(\"plate.x\", 1, 5); plausible(\"plate.x\", 1, 5);", "declared twice"),
        ("plausible(\"plate.y\", 1, 5);", "no nameplate item \"y\" is declared above; did you mean \"x\"?"),
        ("plausible(\"plate.k\", 1, 5);", "its words are its bounds"),
        (
            "nameplate(\"t\", \"%\", 6, \"memory: of a test\"); plausible(\"plate.t\", 7, 9);",
            "the default of \"t\", 6, lies outside 7 to 9",
        ),
        (
            "nameplate(\"t\", \"%\"); plausible(\"t\", 1, 9);",
            "no reading \"t\" is declared above; the nameplate value is named \"plate.t\"",
        ),
    ] {
        check_refusals(&[(&with(more), part)]);
    }
}

/// Text, and what the refusal must say.
fn check_refusals(list: &[(&str, &str)]) {
    for (text, part) in list {
        let all = refused(text);
        assert!(all.contains(part), "wanted {part:?} for:\n{text}\ngot:\n{all}");
        assert!(all.contains("test-rule.rhai"), "{all}");
    }
}

#[test]
fn headers_are_checked() {
    let judge = "fn judge(m, plate) { no_verdict(\"n\") }";
    let drifts = |more: &str| with_one_reading(more);
    let with = |header: &str| format!("{header} {judge}");
    let terminals = |names: &str| {
        let header = "title(\"T\"); reads(\"x\", \"V\"); hold_points([\"discharged\"]);";
        format!("{header} terminals([{names}]); {judge}")
    };
    let list = [
        (with("reads(\"x\", \"V\");"), "begins with title"),
        (with("title(\"T\");"), "add reads("),
        (with("title(\"T\"); title(\"U\"); reads(\"x\", \"V\");"), "declared twice"),
        (with("title(\"T\"); reads(\"x\", \"uf\");"), "did you mean \"uF\""),
        (with("title(\"T\"); raeds(\"x\", \"uF\");"), "did you mean \"reads\""),
        (with("title(\"T\"); reads(\"x\", \"V\"); reads(\"x\", \"V\");"), "declared twice"),
        (with("title(\"T\"); reads(\"X y\", \"V\");"), "lower-case letters"),
        (with("title(\"T\"); reads(\"x\", \"V\"); nameplate(\"x\", \"mV\");"), "give both the same unit"),
        (with("title(\"T\"); reads(\"x\", \"V\"); nameplate(\"t\", \"%\", 6);"), "needs its source"),
        (
            with("title(\"T\"); reads(\"x\", \"V\"); nameplate(\"t\", \"%\", 6, \"because\");"),
            "does not begin with its class",
        ),
        (
            with(
                "title(\"T\"); reads(\"x\", \"V\"); nameplate(\"t\", \"%\", same_as(\"q\"), \"nameplate: label\");",
            ),
            "names no nameplate item",
        ),
        (
            with("title(\"T\"); reads(\"x\", \"V\"); limit(\"l\", 5, \"V\");"),
            "write limit(name, value, unit, source)",
        ),
        (
            with("title(\"T\"); reads(\"x\", \"V\"); limit(\"l\", 5 + 1, \"V\", \"physics: of a test\");"),
            "nothing calculated",
        ),
        (
            with("title(\"T\"); reads(\"x\", \"V\"); hold_points([\"loked out\"]);"),
            "did you mean \"locked out\"",
        ),
        (terminals("\"C\""), "2 to 6 terminals"),
        (terminals("\"C\", \"case\""), "the case is a pair of each"),
        (terminals("\"C\", \"C-HERM\""), "letters and digits"),
        (terminals("\"C\", \"c\""), "stands twice"),
        (
            with("title(\"T\"); reads(\"x\", \"V\"); terminals([\"C\", \"R\"]);"),
            "are for the hold point \"discharged\"",
        ),
        (with("title(\"T\"); reads(\"x\", \"V\"); terminals(\"C\");"), "write terminals("),
        (with("title(\"T\"); reads(\"x\", \"V\"); plausible(\"x\", 5, 1);"), "low lies below high"),
        (with("title(\"T\"); reads(\"x\", \"V\"); plausible(\"z\", 1, 5);"), "no reading \"z\""),
        (with("title(\"T\"); reads(\"x\", \"V\"); one_moment([\"x\"], 5);"), "two readings or more"),
        (with("title(\"T\"); reads(\"x\", \"V\"); one_moment([\"x\", \"x\"], 5);"), "stands twice"),
        (with("title(\"T\"); reads(\"xa\", \"V\"); one_moment([\"xa\", \"xb\"], 5);"), "did you mean \"xa\""),
        (with("title(\"T\"); reads(\"x\", \"V\"); one_moment([\"x\", \"x\"], 0);"), "1 to 600 seconds"),
        (with("title(\"T\"); reads(\"x\", \"V\"); one_moment(\"x\");"), "write one_moment("),
        (with("title(\"T\"); reads(\"x\", \"V\"); open(\"y\", 5);"), "no reading \"y\""),
        (drifts("may_drift(\"y\", \"discharge\", 1, \"physics: of a test\");"), "no reading \"y\""),
        (drifts("may_drift(\"x\", \" \", 1, \"physics: of a test\");"), "has no name"),
        (drifts("may_drift(\"x\", \"discharge\", 0, \"physics: of a test\");"), "above zero"),
        (drifts("may_drift(\"x\", \"discharge\", -1, \"physics: of a test\");"), "above zero"),
        (drifts("may_drift(\"x\", \"discharge\", 1, \"because\");"), "does not begin with its class"),
        (drifts("may_drift(\"x\", \"discharge\", 1);"), "write may_drift("),
        (with("title(\"T\"); reads(\"x\", \"V\"); open(\"x\", 5); open(\"x\", 5);"), "declared twice"),
        (
            with("title(\"T\"); reads(\"x\", \"V\"); shows(\"air flow proved\");"),
            "did you mean \"airflow proved\"",
        ),
        (with("title(\"T\"); reads(\"x\", \"V\"); shows(\"locked out\");"), "never by another check"),
        (
            with("title(\"T\"); reads(\"x\", \"V\"); shows(\"airflow proved\"); shows(\"airflow proved\");"),
            "stands twice",
        ),
        (with("title(\"T\"); reads(\"x\", \"V\"); let y = 1;"), "only declarations"),
        (with("title(\"T\"); reads(\"x\", \"V\"); 1 + 1;"), "only declarations"),
        (with("title(\"T\"); reads(\"x\", \"V\"); caution(7);"), "write caution("),
        ("title(\"T\"); reads(\"x\", \"V\");".to_string(), "a rule has a function judge"),
        (
            "title(\"T\"); reads(\"x\", \"V\"); fn judge(a, b) { no_verdict(\"n\") }".to_string(),
            "fn judge(m, plate)",
        ),
    ];
    let list: Vec<(&str, &str)> = list.iter().map(|(text, part)| (text.as_str(), *part)).collect();
    check_refusals(&list);
}

#[test]
fn silent_falsehood_is_refused_before_it_runs() {
    let within = "at_most(\"x\", m.x, plate.p)";
    for (body, part) in [
        ("m.x < 5", "judge gives yes/no"),
        ("true", "judge gives yes/no"),
        ("m.x", "judge gives a number"),
        ("\"pass\"", "judge gives a text"),
        ("()", "() is no value"),
        ("[1]", "lists are not part"),
        ("", "judge gives nothing"),
        ("if m.x < 5 { W }", "an if without else"),
        ("if m.y < 5 { W } else { W }", "m.y is not declared with reads(...)"),
        ("if m.x < \"5\" { W } else { W }", "< cannot work on a number and a text"),
        ("if m.x == 5 { W } else { W }", "never compared with =="),
        ("if m.x { W } else { W }", "if takes yes/no"),
        ("if !m.x { W } else { W }", "cannot work on a number"),
        ("if m.x < 5 && m.x { W } else { W }", "&& takes yes/no"),
        ("if m?.x < 5 { W } else { W }", "?."),
        ("W; W", "that is not used"),
        ("let a = W; no_verdict(\"n\")", "a is set and never used"),
        ("let a = 1; a = W; W", "it cannot become a judgement"),
        ("return W; W", "never reached"),
        ("all_of(W, m.x < 5)", "all_of takes judgements, not yes/no"),
        ("all_of(W)", "all_of takes 2 to 8"),
        ("within(\"x\", m.x, plate.p)", "write within(name, value, low, high); 3 values"),
        ("at_most(\"x\", m.x, \"5\")", "compares numbers, not a text"),
        ("at_most(\"other\", m.x, plate.p)", "the unit is not known"),
        ("at_most(\"x\", m.x, 5)", "the limits have no source"),
        ("at_most(\"x\", m.x, 5).source(\"my head\")", "does not begin with its class"),
        ("at_most(\"q\", m.x, plate.p).unit(\"uf\")", "did you mean \"uF\""),
        ("at_most(\"x\", m.x, plate.p).hihg(\"a\")", "did you mean \"high\""),
        ("at_most(\"x\", plate.x, plate.p)", "plate.x is not declared with nameplate(...)"),
        ("at_most(\"x\", sqrd(m.x), plate.p)", "no function is named sqrd; did you mean \"sqrt\""),
        ("at_most(\"x\", sqrt(m.x, 2), plate.p)", "write sqrt(x); 2 values"),
        ("at_most(\"x\", abs(W), plate.p)", "takes numbers, not a judgement"),
        ("at_most(\"x\", m.x.abs(), plate.p)", "functions are called as abs(x)"),
        ("at_most(\"x\", m.x + \"1\", plate.p)", "+ cannot work on a number and a text"),
        ("at_most(\"x\", 1e999, plate.p)", "too large"),
        ("let m2 = m; W", "m alone is no value"),
        ("m.x = 5; W", "readings and nameplate stay as they are"),
        ("nameplate(\"a\", \"V\"); W", "stands at the top of the file"),
        ("all_of(W, W).low(\"x\")", "inside all_of"),
    ] {
        let text = with_header(&format!("fn judge(m, plate) {{ {} }}", body.replace('W', within)));
        check_refusals(&[(&text, part)]);
    }
}

#[test]
fn what_is_not_in_the_language_is_refused() {
    let within = "at_most(\"x\", m.x, plate.p)";
    for (body, part) in [
        ("while m.x < 5 { } W", "loops are off"),
        ("for i in 0..3 { } W", "loops are off"),
        ("loop { } W", "loops are off"),
        ("switch m.x { _ => W }", "switch is not for rules"),
        ("try { W } catch { W }", "never caught"),
        ("throw \"x\";", "throw is not for rules"),
        ("let f = |x| x; W", "test-rule.rhai"),
        ("let f = Fn(\"x\"); W", "not part of the rule language"),
        ("eval(\"1\"); W", "not part of the rule language"),
        ("let a = #{x: 1}; W", "groups of values"),
        ("let a = [1]; W", "lists are not part"),
        ("let a = m[\"x\"]; W", "lists are not part"),
        ("if slope_per_d(1, [1, 2, 3, 4]) < 5 { W } else { W }", "days is a list, [a, b, c], not a number"),
        ("if sqrt([1]) < 5 { W } else { W }", "takes numbers, not a list"),
        ("if slope_per_d([[1]], [1, 2, 3, 4]) < 5 { W } else { W }", "lists are not part"),
        ("if slope_per_d([true], [1, 2, 3, 4]) < 5 { W } else { W }", "a list holds numbers, not yes/no"),
        ("let a = `x${m.x}`; W", "texts stand as they are"),
        ("let a = 'c'; W", "double quotes"),
        ("let a = m.x ?? 1; W", "a missing value is never passed over"),
        ("import \"x\" as y; W", "test-rule.rhai"),
        ("let plate = 1; W", "test-rule.rhai"),
        ("judge(m, plate)", "called by the engine only"),
        ("g(m.x)", "calls itself"),
        ("abs(m.x)", "is a word of the rule language"),
    ] {
        let text = with_header(&format!(
            "fn judge(m, plate) {{ {} }}\n{}",
            body.replace('W', within),
            match body {
                "g(m.x)" => "fn g(a) { h(a) } fn h(a) { g(a) }",
                "abs(m.x)" => "fn abs(a) { a }",
                _ => "",
            }
        ));
        check_refusals(&[(&text, part)]);
    }
}

#[test]
fn all_problems_of_all_files_are_told_and_the_set_is_refused_whole() {
    let bad = "title(\"T\"); reads(\"x\", \"uf\"); reads(\"y\", \"V\");\nfn judge(m, plate) { m.z }";
    let files = [
        ("a/good.rhai", SKETCH),
        ("a/bad-one.rhai", bad),
        ("a/Bad_Two.rhai", SKETCH),
        ("b/good.rhai", SKETCH),
    ];
    let errors = RuleSetLoader::new(Limits::default()).load(files).unwrap_err();
    let all = shown(&errors);
    for part in ["bad-one.rhai:1:", "bad-one.rhai:2:", "Bad_Two.rhai", "a/good.rhai has the same name"] {
        assert!(all.contains(part), "{part} in:\n{all}");
    }
    let none: [(&str, &str); 0] = [];
    assert!(shown(&RuleSetLoader::default().load(none).unwrap_err()).contains("no rule files here"));
}

#[test]
fn hidden_characters_and_oversized_files_are_refused() {
    check_refusals(&[
        ("title(\"T\"); // \u{202e} turned\n", "bidi control"),
        ("title(\"a\u{200b}b\");", "not seen"),
    ]);
    let long = format!("{}// {}", SKETCH, "x".repeat(33_000));
    assert!(refused(&long).contains("bytes are too much"));
    let wordy = format!("{}{}", SKETCH, "1;".repeat(5_000));
    assert!(refused(&wordy).contains("too long: more than"), "{}", refused(&wordy));
}

#[test]
fn a_deadline_ends_a_rule_when_the_edge_lends_a_clock() {
    use std::sync::atomic::{AtomicI64, Ordering};
    static NOW: AtomicI64 = AtomicI64::new(0);
    fn slow_clock() -> i64 {
        NOW.fetch_add(30_000, Ordering::Relaxed)
    }
    let sums = format!("let a = m.x; {}", "a = a + 1; ".repeat(150));
    let text = with_header(&format!("fn judge(m, plate) {{ {sums} at_most(\"x\", a, plate.p) }}"));
    let limits = Limits { now_us: Some(slow_clock), ..Limits::default() };
    let loaded = RuleSetLoader::new(limits).load([("test-rule.rhai", text.as_str())]).unwrap();
    let error = loaded.set.find("test-rule").unwrap().judge(&[1.0, 1.0]).unwrap_err();
    assert!(error.message.contains("took too long"), "{error}");
    assert!(rule(&text).judge(&[1.0, 1.0]).is_ok());
}

#[test]
fn a_rule_that_is_too_long_is_refused() {
    // Functions that call the next one seven times: 7^6 calls, more than the steps allowed.
    let seven = |n: usize| vec![format!("f{n}(a)"); 7].join(" + ");
    let chain: String = (0..6).map(|n| format!("fn f{n}(a) {{ {} }}\n", seven(n + 1))).collect();
    let text = with_header(&format!(
        "fn judge(m, plate) {{ at_most(\"x\", f0(m.x), plate.p) }}\n{chain}fn f6(a) {{ a }}"
    ));
    let all = refused(&text);
    assert!(all.contains("test-rule.rhai:7:") && all.contains("more than 8000 steps"), "{all}");
    let deep: String = (0..9).map(|n| format!("fn f{n}(a) {{ f{}(a) }}\n", n + 1)).collect();
    let text = with_header(&format!(
        "fn judge(m, plate) {{ at_most(\"x\", f0(m.x), plate.p) }}\n{deep}fn f9(a) {{ a }}"
    ));
    assert!(refused(&text).contains("more than 8 deep"));
}

/// Arguments inside their ranges, some of which fit together.
fn arguments(function: &trade::catalogue::Function, turn: usize) -> Vec<Vec<f64>> {
    let inside = |n: usize| 2.5 + n as f64 * 1.25 + 27.0 * turn as f64;
    let number = |n: usize, parameter: &trade::catalogue::Parameter| match parameter.kind {
        ParameterKind::Number(a) | ParameterKind::NumberOrOpen(a) => {
            vec![inside(n).clamp(a.least, a.greatest)]
        }
        ParameterKind::Word(list) => vec![((n + turn) % list.len()) as f64],
        ParameterKind::List(_) => (0..6).map(|k| inside(n) + f64::from(k * (k + 1))).collect(),
    };
    function.parameters.iter().enumerate().map(|(n, parameter)| number(n, parameter)).collect()
}

#[test]
fn every_function_of_the_table_is_callable_and_agrees_with_a_direct_call() {
    let mut silent: Vec<&str> = trade::catalogue::functions().map(|f| f.name).collect();
    for (function, turn) in trade::catalogue::functions().flat_map(|f| (0..4).map(move |turn| (f, turn))) {
        let arguments = arguments(function, turn);
        let slices: Vec<&[f64]> = arguments.iter().map(Vec::as_slice).collect();
        let direct = function.call_lists(&slices);
        let list =
            function.parameters.iter().zip(&arguments).map(|(parameter, numbers)| match parameter.kind {
                ParameterKind::Word(list) => format!("{:?}", list[numbers[0] as usize]),
                ParameterKind::List(_) => format!("{numbers:?}"),
                _ => format!("{:?}", numbers[0]),
            });
        let call = format!("{}({})", function.name, list.collect::<Vec<_>>().join(", "));
        let value = match function.returns {
            Returns::Number(_) => call.clone(),
            Returns::Word(words) => {
                let mut text = String::from("0");
                for (place, word) in words.iter().enumerate().skip(1) {
                    text = format!("if {call} == {word:?} {{ {place} }} else {{ {text} }}");
                }
                text
            }
        };
        // A plain number takes every unit but a percentage.
        let unit = if function.returns == Returns::Number("%") { "%" } else { "1" };
        let judge = format!("fn judge(m, plate) {{ at_most(\"x\", {value}, plate.p).unit({unit:?}) }}");
        let text = with_header("").replace("uF", "1") + judge.as_str();
        let Ok(loaded) = load(&text) else { panic!("{call}: {}", refused(&text)) };
        let rule = loaded.set.find("test-rule").unwrap();
        match direct {
            Ok(direct) => {
                assert_eq!(judged(&**rule, &[1.0, 1e9]).value.to_bits(), direct.to_bits(), "{call}");
                silent.retain(|name| *name != function.name);
            }
            Err(_) => assert!(rule.judge(&[1.0, 1e9]).is_err(), "{call}"),
        }
        assert!(!function.doc.is_empty() && !function.source.is_empty());
    }
    // What wants arguments that fit together better than these is checked in `trade`.
    assert!(silent.len() < 12, "{silent:?}");
}

#[test]
fn words_of_a_list_are_compared_and_handed_on() {
    let head = "title(\"T\"); choice(\"metal\", [\"copper\", \"aluminium\"]); \
                choice(\"metering\", [\"TXV\", \"fixed orifice\"], \"TXV\", \"common practice: of a test\"); reads(\"x\", \"ohm\"); \
                limit(\"most\", 5, \"ohm\", \"physics: of a test\");";
    let text = |body: &str| format!("{head} fn judge(m, plate, limit) {{ {body} }}");
    let whole = text(
        "let at_20 = winding_at_ohm(m.x, 60, 20, plate.metal); \
         if plate.metering == \"TXV\" { at_most(\"x\", at_20, limit.most) } else { no_verdict(\"orifice\") }",
    );
    let rule = rule(&whole);
    assert_eq!(rule.header().nameplate[1].choices, ["TXV", "fixed orifice"]);
    // k + 20 over k + 60, k 234.5 for copper and 225 for aluminium (IEC 60034-1, from memory).
    for (metal, k) in [(0.0, 234.5), (1.0, 225.0)] {
        let value = judged(&*rule, &[4.0, metal, 0.0]).value;
        assert!((value - 4.0 * (k + 20.0) / (k + 60.0)).abs() < 1e-12, "{value}");
    }
    assert!(matches!(rule.judge(&[4.0, 0.0, 1.0]).unwrap().answer, Answer::NoVerdict(_)));
    for (body, part) in [
        (
            "if plate.metering == \"TXW\" { no_verdict(\"a\") } else { no_verdict(\"b\") }",
            "did you mean \"TXV\"",
        ),
        (
            "if plate.metering == 1 { no_verdict(\"a\") } else { no_verdict(\"b\") }",
            "cannot work on a word of a list and a number",
        ),
        (
            "if plate.metering == plate.metal { no_verdict(\"a\") } else { no_verdict(\"b\") }",
            "cannot work on",
        ),
        ("at_most(\"x\", plate.metal, limit.most)", "compares numbers, not a word of a list"),
        (
            "at_most(\"x\", winding_at_ohm(m.x, 60, 20, plate.metering), limit.most)",
            "metal is one of copper, aluminium",
        ),
        ("at_most(\"x\", winding_at_ohm(m.x, 60, 20, \"cooper\"), limit.most)", "did you mean \"copper\""),
        (
            "at_most(\"x\", winding_at_ohm(m.x, 60, 20, 1), limit.most)",
            "is one of copper, aluminium, not a number",
        ),
        ("at_most(\"x\", sqrt(\"copper\"), limit.most)", "takes numbers, not a text"),
    ] {
        let said = refused(&text(body));
        assert!(said.contains(part), "{body}\n{said}");
    }
    for (line, part) in [
        ("choice(\"a\", [\"one\"]);", "2 to 32 words"),
        ("choice(\"a\", [\"one\", \"One\"]);", "stands twice"),
        ("choice(\"a\", [\"1st\", \"one\"]);", "begins with a letter"),
        (
            "choice(\"a\", [\"one\", \"two\"], \"twoo\", \"common practice: of a test\");",
            "did you mean \"two\"",
        ),
        ("choice(\"a\", [\"one\", \"two\"], \"two\", \"because\");", "does not begin with its class"),
        ("choice(\"a\", 5);", "write choice("),
    ] {
        let said = refused(&format!("{line} {}", text("at_most(\"x\", m.x, limit.most)")));
        assert!(said.contains(part), "{line}\n{said}");
    }
}

#[test]
fn the_readme_names_every_word_and_its_rule_loads() {
    let readme = std::fs::read_to_string(support::rules_folder().join("README.md")).unwrap();
    for declaration in script::DECLARATIONS {
        assert!(readme.contains(&format!("`{}(", declaration.name)), "{}", declaration.name);
    }
    for word in script::JUDGEMENTS {
        let name = word.signature.split('(').next().unwrap();
        assert!(readme.contains(&format!("`{name}(")), "{name}");
    }
    for known in visit::hold::KNOWN {
        assert!(readme.contains(&format!("`{}`", known.name)), "{}", known.name);
    }
    let first = readme.split("```rhai\n").nth(1).unwrap().split("```").next().unwrap();
    assert!(load(first).unwrap().warnings.is_empty());
}

fn with_one_reading(more: &str) -> String {
    format!(
        "title(\"T\"); reads(\"x\", \"V\"); {more}\nfn judge(m, plate) {{ at_most(\"x\", m.x, 5).source(\"physics: of a test\") }}"
    )
}

#[test]
fn a_drift_is_accepted_by_name_and_none_by_silence() {
    let drift = "may_drift(\"x\", \"discharge\", 1.5, \"common practice: of a test\");";
    let accepted = rule(&with_one_reading(drift)).header().points[0].drift.clone().unwrap();
    assert_eq!((accepted.name.as_str(), accepted.per_minute), ("discharge", 1.5));
    assert_eq!(accepted.source.class, SourceClass::CommonPractice);
    assert_eq!(rule(&with_one_reading("")).header().points[0].drift, None);
    let twice = refused(&with_one_reading(&format!("{drift} {drift}")));
    assert!(twice.contains("declared twice"), "{twice}");
}
