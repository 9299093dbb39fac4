//! What reaches the core, input by input: in which order it is taken, what each changes, and how a round ends.

use std::path::{Path, PathBuf};
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use judge::limits::Word;
use link::{Disconnect, GapReason, LinkEvent, LinkState};
use record::ReadError;
use record::replay::{ReplayOutput, play};
use site::Device;
use tokio::sync::{mpsc, oneshot};
use visit::act::{Act, By};
use visit::hold::How;
use visit::round::{LapseReason, Output};

use super::{Bench, CAPACITOR, route, typed};
use crate::config;
use crate::daemon::keeper::{Key, Told};
use crate::daemon::store::Store;
use crate::daemon::tape::Tape;
use crate::daemon::{Ask, Ended, Input, Notice};

const TWO: &[(&str, &str)] = &[("one", "run-capacitor"), ("two", "run-capacitor")];
/// The place of the meter among the devices of a bench; before it stands the one that is typed in.
const METER: usize = 1;

fn meter() -> Device {
    let profile = config::profile("generic-line-meter", Path::new(".")).unwrap();
    Device { name: "meter".into(), selector: "stdin:".into(), profile: Some(profile), typed: false }
}

/// A bench with a meter and no history.
fn with_meter() -> Bench {
    Bench::of_parts(CAPACITOR, vec![meter()], None, Store::nothing(), sync_channel(1).1, None)
}

impl Bench {
    fn link(&mut self, event: LinkEvent) {
        let at = self.now();
        self.core.take(Input::Link { device: METER, at, event });
    }

    /// The meter shows this a tenth of a second later.
    fn shows(&mut self, value: &str) {
        self.pass(Duration::from_millis(100));
        self.link(LinkEvent::Bytes(format!("CAP {value:>7} {:5} {:4}\r\n", "uF", "").into_bytes()));
    }

    /// Runs the core over these inputs and answers to its end. Gives how it ended, and what it said as [`words`].
    fn run(self, inputs: Vec<Input>, told: Vec<Told>) -> (Ended, Vec<String>) {
        let Self { core, mut notices, .. } = self;
        let (sender, queue) = mpsc::channel(16);
        inputs.into_iter().for_each(|input| sender.try_send(input).ok().unwrap());
        let (history, answers) = mpsc::channel(16);
        told.into_iter().for_each(|answer| history.try_send(answer).ok().unwrap());
        // Nobody says anything more.
        drop((sender, history));
        let ended = core.run(queue, answers).unwrap();
        (ended, std::iter::from_fn(|| notices.try_recv().ok()).filter_map(|notice| words(&notice)).collect())
    }

    /// What was said since the last look, as [`words`].
    fn told(&mut self) -> Vec<String> {
        std::iter::from_fn(|| self.notices.try_recv().ok()).filter_map(|notice| words(&notice)).collect()
    }
}

fn words(notice: &Notice) -> Option<String> {
    match notice {
        Notice::Verdict(kept) => {
            let reason = kept.verdict.reason.as_ref().map(|why| format!(": {why}")).unwrap_or_default();
            Some(format!("{} {:?}{reason}", kept.verdict.word, kept.saved))
        }
        Notice::Round(Output::Armed { component, .. }) => Some(format!("armed {component}")),
        Notice::Round(Output::HoldPoint { name, .. }) => Some(format!("shown {name}")),
        Notice::Round(Output::Refused { why }) => Some(format!("refused {why}")),
        Notice::Round(_) | Notice::FollowUp(_) => None,
    }
}

fn arm(component: &str) -> Input {
    Input::Arm(Box::new(route(&[(component, "run-capacitor")]).remove(0)))
}

fn first_is_on_its_way(checks: &[(&str, &str)]) -> Bench {
    let mut bench = Bench::new(checks);
    bench.core.told(Told::Open(Vec::new()));
    bench.confirm_all();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.said();
    bench
}

/// What is stored is shown before anything that came after it begins.
#[test]
fn an_answer_of_the_history_is_taken_before_the_inputs_that_wait() {
    let bench = first_is_on_its_way(CAPACITOR);
    let (_, said) = bench.run(vec![arm("another"), Input::Stop], vec![Told::Stored(Key::Verdict(1))]);
    assert_eq!(said[..3], ["pass Yes", "shown capacitor proved", "armed another"], "{said:?}");
}

/// The first of the route is armed already; what stands behind the end is not taken.
#[test]
fn inputs_are_taken_in_their_order_up_to_the_end() {
    let bench = Bench::without_history(TWO);
    let next = Input::Ask(Ask { act: Act::Next, by: By::Page, check: None, reply: None });
    let (ended, said) = bench.run(vec![arm("a"), next, arm("b"), Input::Stop, arm("c")], vec![]);
    let armed: Vec<&str> = said.iter().filter_map(|line| line.strip_prefix("armed ")).collect();
    assert_eq!(armed, ["one", "a", "two", "b"]);
    assert!(ended.in_order);
}

#[test]
fn a_round_that_nobody_can_tell_anything_any_more_ends() {
    let (ended, said) = Bench::without_history(CAPACITOR).run(vec![], vec![]);
    assert!(ended.in_order);
    assert_eq!(
        said.last().unwrap(),
        "no verdict NothingKept: not yet shown: locked out, leads proved, proved dead, discharged, one lead off"
    );
}

/// An open check ends with a word and its reason, one that has its word with nothing more.
#[test]
fn the_end_gives_an_open_check_its_word_and_no_other() {
    let mut bench = Bench::without_history(CAPACITOR);
    bench.confirm_all();
    bench.told();
    let (_, said) = bench.run(vec![Input::Stop], vec![]);
    assert_eq!(said, ["no verdict NothingKept: no reading for: terminal to terminal"]);
    let mut bench = Bench::without_history(CAPACITOR);
    bench.confirm_all();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    bench.told();
    assert_eq!(bench.run(vec![Input::Stop], vec![]).1, [""; 0]);
}

#[test]
fn a_history_whose_thread_is_gone_is_a_fault_and_no_end() {
    let bench = first_is_on_its_way(CAPACITOR);
    let (ended, said) = bench.run(vec![arm("another"), Input::Stop], vec![]);
    assert!(!ended.in_order);
    assert_eq!(said[0], "armed another", "it goes on");
    assert!(said.contains(&"pass No".to_owned()), "{said:?}");
}

/// The leads are put on a good part and `before` happens before this reading of it. Gives the reading at which the word came.
fn word_comes_at(at: usize, mut before: impl FnMut(&mut Bench)) -> Option<usize> {
    let mut bench = with_meter();
    bench.confirm_all();
    (0..12).for_each(|_| bench.shows("0.00"));
    bench.told();
    (1..100).find(|number| {
        if *number == at {
            before(&mut bench);
        }
        bench.shows(if number % 2 == 0 { "40.01" } else { "40.02" });
        bench.told().iter().any(|line| line.starts_with("pass"))
    })
}

/// Bytes are missing before the last reading: nothing from before the gap counts.
#[test]
fn a_gap_lets_a_value_settle_anew() {
    let straight = word_comes_at(0, |_| {}).unwrap();
    let gap = |bench: &mut Bench| bench.link(LinkEvent::Gap(GapReason::Lost(Disconnect::HungUp)));
    let after_a_gap = word_comes_at(straight, gap).unwrap();
    assert!(straight > 1 && after_a_gap >= 2 * straight - 1, "{straight}, {after_a_gap}");
}

/// The last reading wakes the program, and comes too late for its word.
#[test]
fn what_settled_before_a_span_that_nobody_watched_gives_no_word() {
    let straight = word_comes_at(0, |_| {}).unwrap();
    let slept = |bench: &mut Bench| bench.pass(Duration::from_secs(11));
    assert_eq!(word_comes_at(straight, slept), None, "its hold points are to be shown anew");
}

/// A line that was begun before bytes were lost is not put together with what comes behind them.
#[test]
fn a_gap_forgets_a_line_that_was_begun() {
    let mut bench = Bench::without_history(CAPACITOR);
    bench.confirm_all();
    bench.told();
    bench.type_chunk("capacitance=4");
    let at = bench.now();
    let gap = LinkEvent::Gap(GapReason::Overflow { bytes: 7 });
    bench.core.take(Input::Link { device: 0, at, event: gap });
    bench.type_chunk("0.0uF\n");
    assert_eq!(bench.told(), [""; 0]);
    bench.core.beat();
    assert_eq!(bench.view()["devices"][0]["reasons"][0]["reason"], "typed lines that were not taken");
}

/// Whatever wakes the program first: what was shown before the span counts for nothing in it.
#[test]
fn a_span_that_nobody_watched_comes_before_the_input_that_ends_it() {
    let wakes: [fn(&mut Bench); 4] = [
        |bench| bench.shows("40.00"),
        |bench| drop(bench.type_chunk("capacitance=40.0uF\n")),
        |bench| bench.core.told(Told::Open(Vec::new())),
        |bench| bench.core.take(Input::Rules(Err("a rule is broken".into()))),
    ];
    for (number, wake) in wakes.into_iter().enumerate() {
        let mut bench = with_meter();
        bench.confirm_all();
        bench.said();
        bench.pass(Duration::from_secs(11));
        wake(&mut bench);
        let said = bench.said();
        assert_eq!(said[0], format!("lapsed locked out: {}", LapseReason::Unwatched.text()), "{number}");
        assert!(!said.iter().any(|line| line.starts_with("pass")), "{number}: {said:?}");
    }
}

/// Who typed a line is on the evidence.
#[test]
fn a_typed_line_is_said_by_its_device() {
    let mut bench = Bench::without_history(CAPACITOR);
    bench.type_chunk("confirm locked out\n");
    bench.act(Act::Confirm { hold_point: "leads proved".into() }).unwrap();
    let by: Vec<How> = std::iter::from_fn(|| bench.notices.try_recv().ok())
        .filter_map(|notice| match &*notice {
            Notice::Round(Output::HoldPoint { evidence, .. }) => Some(evidence.how.clone()),
            _ => None,
        })
        .collect();
    assert_eq!(by, [How::Confirmed(By::Device("hand".into())), How::Confirmed(By::Page)]);
}

/// A person judges by what the page showed. The check that is armed now is another one.
#[test]
fn an_act_is_for_the_check_that_was_seen() {
    let mut bench = Bench::without_history(TWO);
    let mut ask = |check| {
        let (reply, answer) = oneshot::channel();
        bench.core.take(Input::Ask(Ask { act: Act::Next, by: By::Page, check, reply: Some(reply) }));
        answer.blocking_recv().unwrap()
    };
    assert_eq!(ask(Some(1)), Ok(()));
    assert!(ask(Some(1)).unwrap_err().contains("no longer armed"));
    assert_eq!(ask(Some(2)), Ok(()), "the end of the route is no refusal");
    let view = bench.view();
    assert_eq!(view["check"]["prompt"], "The route is at its end: 0 of 2 checks have a verdict.", "{view}");
}

#[test]
fn what_a_link_says_of_itself_is_on_the_page() {
    let mut bench = with_meter();
    let state = |bench: &Bench| bench.view()["devices"][METER]["state"].as_str().map(str::to_owned);
    bench.core.beat();
    assert_eq!(state(&bench).unwrap(), "opening");
    for said in [LinkState::Live, LinkState::Lost(Disconnect::HungUp)] {
        bench.link(LinkEvent::State(said.clone()));
        assert_eq!(state(&bench).unwrap(), said.to_string());
    }
    bench.core.take(Input::CannotOpen { device: METER, why: "no such port".into() });
    bench.core.beat();
    assert_eq!(state(&bench).unwrap(), "cannot be used: no such port");
    // An index that no device has changes nothing.
    bench.core.take(Input::CannotOpen { device: 7, why: "nobody".into() });
    let at = bench.now();
    bench.core.take(Input::Link { device: 7, at, event: LinkEvent::State(LinkState::Live) });
    assert_eq!(state(&bench).unwrap(), "cannot be used: no such port");
}

/// Rules that are refused leave those in force that were, and are told until good ones come.
#[test]
fn refused_rules_change_nothing_but_what_the_page_says() {
    let mut bench = Bench::without_history(CAPACITOR);
    let of_page = |bench: &Bench| {
        let view = bench.view();
        (view["rules"]["count"].as_u64().unwrap(), view["faults"].as_array().map_or(0, Vec::len))
    };
    bench.core.beat();
    let (all, faults) = of_page(&bench);
    assert_eq!(faults, 0);
    bench.core.take(Input::Rules(Err("line 3: not a rule".into())));
    assert_eq!(of_page(&bench), (all, 1));
    bench.core.take(Input::Rules(Ok(judge::rule::RuleSet::default())));
    assert_eq!(of_page(&bench), (0, 0));
    // The check that is armed keeps the rule that it was armed with.
    bench.confirm_all();
    bench.told();
    bench.act(typed("capacitance", "40.0 uF")).unwrap();
    assert_eq!(bench.told()[0], "pass NothingKept");
    bench.core.take(Input::Rules(Err("line 3: not a rule".into())));
    assert!(!bench.run(vec![Input::Stop], vec![]).0.in_order, "refused at the end");
}

/// A file that goes when the test ends.
struct Gone(PathBuf);

impl Drop for Gone {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
    }
}

/// A recording knows no route. Typed in one chunk, the value behind `next` is for the next check, and the recording says so:
/// it gives the same words without the route.
#[test]
fn next_between_two_values_of_one_chunk_stands_on_the_recording_where_it_was_taken() {
    let path = std::env::temp_dir().join(format!("cliplead-next-{}.jsonl", std::process::id()));
    let _ = std::fs::remove_file(&path);
    let file = Gone(path.clone());
    let tape = Tape::create(&path).unwrap();
    let mut bench = Bench::of_parts(TWO, Vec::new(), Some(tape), Store::nothing(), sync_channel(1).1, None);
    let confirmed = ["locked out", "leads proved", "proved dead", "discharged", "one lead off"]
        .map(|name| format!("confirm {name}\n"))
        .concat();
    bench.type_chunk(&format!("{confirmed}capacitance=40.0uF\nnext\n{confirmed}capacitance=30.0uF\n"));
    let (_, said) = bench.run(vec![Input::Stop], vec![]);
    let live: Vec<&String> = said.iter().filter(|line| line.ends_with("NothingKept")).collect();
    assert_eq!(live, ["pass NothingKept", "fail NothingKept"]);

    let text = std::fs::read_to_string(&file.0).unwrap();
    let rules = crate::rules::load_or_say(None).unwrap();
    let mut words = Vec::new();
    let mut sink = |heard: &ReplayOutput<'_>| {
        words.extend(heard.word());
        Ok::<(), ReadError>(())
    };
    play(text.as_bytes(), &script::FrameScripts, &rules, &mut sink).unwrap();
    assert_eq!(words, [Word::Pass, Word::Fail]);
    // The check stands behind the line that armed it and before the next one.
    let kinds: Vec<&str> = text
        .lines()
        .filter_map(|line| match line {
            line if line.contains("capacitance=") => Some("value"),
            line if line.contains(r#""text":"next"#) => Some("next"),
            line if line.contains(r#""event":"arm""#) => Some("arm"),
            _ => None,
        })
        .collect();
    assert_eq!(kinds, ["arm", "value", "next", "arm", "value"], "{text}");
}
