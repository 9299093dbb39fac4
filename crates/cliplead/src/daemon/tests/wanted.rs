//! What whoever types is told: the one thing that is wanted next, from the first hold point to the close, and what can be typed.
use super::*;

impl Bench {
    /// Types a line; what is wanted after it.
    fn then(&mut self, line: &str) -> String {
        self.type_chunk(&format!("{line}\n"));
        self.wanted()
    }

    fn wanted(&mut self) -> String {
        self.core.tell_wanted();
        self.core.wanted.clone()
    }
}

#[test]
fn each_step_says_what_is_wanted_next_and_how_to_type_it() {
    let mut bench = Bench::without_history(&[("one", "run-capacitor"), ("two", "run-capacitor")]);
    let begins = |wanted: &str, with: &str| assert!(wanted.starts_with(with), "{wanted}");
    let first = bench.wanted();
    begins(&first, "locked out: ");
    assert!(first.ends_with(" `confirm locked out`"), "{first}");
    begins(&bench.then("confirm locked out"), "leads proved: ");
    begins(
        &bench.then("confirm leads proved"),
        "proved dead: name the live source that the tester is proved on (`source WHAT`)",
    );
    bench.then("confirm proved dead");
    bench.then("confirm discharged");
    assert_eq!(
        bench.then("confirm one lead off"),
        "terminal to terminal: clip on, or type `capacitance=` and the value in uF"
    );
    assert_eq!(bench.then("capacitance=250uF"), "answer question 1: `yes 1` or `no 1`");
    bench.then("no");
    assert_eq!(
        bench.then("capacitance=40.0uF"),
        "`next` for RTU-01 / two (run-capacitor); `again` for a second look"
    );
    begins(&bench.then("next"), "discharged: ");
    assert_eq!(bench.then("pause"), "`resume` once somebody is at the unit again");
    begins(&bench.then("resume"), "locked out: ");
    begins(&bench.then("skip hatch locked"), "put back one: wires back on, each where it was, spades tight");
    assert!(bench.wanted().ends_with("then `restored one lead off`"), "{}", bench.wanted());
    assert_eq!(bench.then("restored one lead off"), "`close`, or `unit TAG` for another unit");
}

#[test]
fn a_unit_that_shows_life_comes_before_all_else() {
    let mut bench = Bench::without_history(&[("one", "run-capacitor"), ("line", "supply-voltage")]);
    bench.type_chunk("confirm locked out\nnext\n");
    let l1 = bench.view()["check"]["points"][0]["name"].as_str().unwrap().to_owned();
    bench.type_chunk(&format!("{l1}=230 V ac\n"));
    let wanted = bench.wanted();
    assert!(
        wanted.starts_with("hands off RTU-01: `power back` if it was switched on on purpose"),
        "{wanted}"
    );
}

#[test]
fn nobody_is_told_anything_twice_or_in_the_middle_of_lines_that_wait() {
    let mut bench = Bench::new(&[("one", "run-capacitor"), ("two", "run-capacitor")]);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    bench.wanted();
    bench.type_chunk("capacitance=40.0uF\nnext\n");
    let before = bench.wanted();
    assert!(before.starts_with("terminal to terminal: "), "the verdict is not stored yet: {before}");
}

#[test]
fn without_anybody_who_types_nothing_is_told() {
    let mut bench = Bench::without_history(&[("one", "run-capacitor")]);
    bench.core.health.iter_mut().for_each(|health| health.typed = false);
    assert_eq!(bench.wanted(), "");
}

#[test]
fn help_lists_the_names_of_the_check_and_the_words() {
    let mut bench = Bench::without_history(&[("one", "run-capacitor")]);
    bench.wanted();
    let round = bench.core.pipeline.round();
    let text = super::super::wanted::help(&round.view(quantity::Instant::ZERO));
    for part in
        ["capacitance= (in uF)", "confirm locked out, confirm leads proved", "again as left", "take over TAG"]
    {
        assert!(text.contains(part), "{part}: {text}");
    }
    // Whoever asks is then told again what is wanted.
    bench.type_chunk("help\n");
    assert!(bench.core.wanted.is_empty());
    assert!(bench.wanted().starts_with("locked out: "));
    let no_words = bench.core.health[0].summary(bench.core.pipeline.devices());
    assert!(!no_words.contains("not taken"), "a question for help is no mistake: {no_words}");
}

/// A check that asks for power is no place to confirm it while leads are off: what is owed comes first, each by a name of its own.
#[test]
fn what_is_owed_comes_before_power() {
    let mut bench = Bench::without_history(&[
        ("one", "run-capacitor"),
        ("two", "run-capacitor"),
        ("line", "supply-voltage"),
    ]);
    bench.confirm_all();
    bench.type_chunk(
        "capacitance=40.0uF\nnext\nconfirm discharged\nconfirm one lead off\ncapacitance=40.0uF\nnext\n",
    );
    let first = bench.wanted();
    assert!(
        first.starts_with("put back one: wires back on")
            && first.ends_with("then `restored one / one lead off`"),
        "{first}"
    );
    bench.core.publish();
    let prompt = bench.view()["check"]["prompt"].as_str().unwrap().to_owned();
    assert!(prompt.starts_with("Before it gets power, put back and say so: one: wires back on"), "{prompt}");
    let second = bench.then("restored one / one lead off");
    assert!(second.ends_with("then `restored one lead off`"), "{second}");
    assert!(bench.then("restored one lead off").starts_with("power on: "), "{}", bench.wanted());
}
