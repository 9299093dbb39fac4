//! What a replay hands on, and in which order: recordings of a few lines under a shipped rule.

use alloc::borrow::ToOwned as _;
use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString as _};
use alloc::vec::Vec;

use super::*;
use crate::line::LineEvent;
use visit::act::By;

const RULE: &str = include_str!("../../../../rules/capacitors/run-capacitor.rhai");
const PROFILE: &str = include_str!("../../../../hardware-notes/generic-line-meter/profile.toml");
const HOLD_POINTS: [&str; 5] = ["locked out", "leads proved", "proved dead", "discharged", "one lead off"];

fn rules() -> RuleSet {
    let loader = script::RuleSetLoader::new(script::Limits::default());
    loader.load([("run-capacitor.rhai", RULE)]).unwrap().set
}

/// What stops a replay here.
#[derive(Debug, PartialEq)]
enum Stop {
    Read(ReadError),
    Full,
}

impl From<ReadError> for Stop {
    fn from(error: ReadError) -> Self {
        Self::Read(error)
    }
}

/// A recording made under the rules of this hash.
fn recording(rules: &str, events: &[LineEvent]) -> String {
    let header = format!("{{\"cliplead_recording\":2,\"rules\":\"{rules}\"}}\n");
    events.iter().fold(header, |text, event| format!("{text}{}\n", crate::to_line(event)))
}

/// A check of a capacitor of 45 uF with all its hold points shown, at `t`.
fn armed(t: i64, component: &str) -> Vec<LineEvent> {
    let plate = [("capacitance".to_owned(), "45 uF".to_owned())].into();
    let plan = site::plan("RTU-01", component, "run-capacitor", &plate, &BTreeMap::new()).unwrap();
    let arm = LineEvent::arm(t, &plan);
    let confirm = |name: &str| act(t, Act::Confirm { hold_point: name.to_owned() });
    core::iter::once(arm).chain(HOLD_POINTS.map(confirm)).collect()
}

fn act(t: i64, act: Act) -> LineEvent {
    LineEvent::Act { t, act, by: By::Unsaid }
}

fn typed(t: i64, value: &str) -> LineEvent {
    act(t, Act::typed("capacitance", value, None).unwrap())
}

/// One text for each thing that is heard.
fn heard(text: &str) -> Vec<String> {
    let mut all = Vec::new();
    let mut sink = |heard: &ReplayOutput<'_>| {
        let word = heard.word().map(|word| word.to_string());
        all.push(match heard {
            ReplayOutput::OtherRules => "other rules".to_owned(),
            ReplayOutput::Verdict(verdict) => format!("{}: {}", verdict.component, word.unwrap()),
            ReplayOutput::FollowUp(json, _) => format!("{}: {}", json.event.name(), word.unwrap()),
            ReplayOutput::RulesChanged(line) => format!("line {line}: rules"),
            ReplayOutput::Refused(line, why) => format!("line {line}: refused: {why}"),
            ReplayOutput::StillWaits(number, waits) => {
                format!("check {number}: {}: {}", waits.what, waits.why)
            }
        });
        Ok(())
    };
    play::<Stop>(text.as_bytes(), &script::FrameScripts, &rules(), &mut sink).unwrap();
    all
}

/// Questions about swapped digits are answered under numbers that only the rules of the recording gave.
#[test]
fn under_other_rules_an_answer_is_for_the_open_question() {
    let mut events = armed(1, "one");
    events.push(typed(2, "54.0 uF"));
    // Of the value first, then of the nameplate's.
    events.extend([7, 8].map(|number| act(3, Act::Answer { question: Some(number), yes: true })));
    let own = rules().hash().to_owned();
    for recorded_under in [own.as_str(), ""] {
        let said = heard(&recording(recorded_under, &events));
        let (waits, refused) = said.split_last().unwrap();
        assert!(waits.starts_with("check 1: Run capacitor: terminal to terminal 54.0 uF would"), "{said:?}");
        let refused: Vec<bool> =
            refused.iter().map(|said| said.contains(": refused: the answer is for question ")).collect();
        assert_eq!(refused, [true, true], "the number is of no question: {said:?}");
    }
    assert_eq!(heard(&recording("0", &events)), ["other rules", "one: fail"]);
}

#[test]
fn what_the_last_check_waits_for_is_told_at_the_end() {
    let waits = "check 1: terminal to terminal: no reading";
    assert_eq!(heard(&recording("", &armed(1, "one"))), [waits]);
}

#[test]
fn other_rules_in_the_middle_are_told_and_change_nothing() {
    let rules = LineEvent::Rules { t: 3, hash: "0".to_owned() };
    let events =
        [armed(1, "one"), [typed(2, "45 uF"), rules].into(), armed(4, "two"), [typed(5, "30 uF")].into()];
    assert_eq!(heard(&recording("", &events.concat())), ["one: pass", "line 9: rules", "two: fail"]);
}

/// A meter on a good part, whose leads then move to a weak one: the word that counts is the amendment's.
#[test]
fn an_amendment_counts_with_its_own_word_and_a_figure_with_the_verdicts() {
    let profile = Some(PROFILE.to_owned());
    let joined = LineEvent::Joined { t: 0, device: "meter".to_owned(), profile, typed: false };
    let shows = [0.0; 12].into_iter().chain([45.0; 60]).chain([31.0; 60]);
    let frame = |(number, value): (i64, f64)| {
        let frame = format!("CAP {value:>7.2} {:5} {:4}\r\n", "uF", "");
        LineEvent::bytes(2 + number * 100_000, "meter", frame.as_bytes())
    };
    let events: Vec<LineEvent> =
        core::iter::once(joined).chain(armed(1, "one")).chain((1..).zip(shows).map(frame)).collect();
    let text = recording("", &events);
    assert_eq!(heard(&text), ["one: pass", "completed: pass", "amended: fail"]);
    let pipeline = play::<Stop>(text.as_bytes(), &script::FrameScripts, &rules(), &mut |_| Ok(())).unwrap();
    let readings: Vec<u64> = pipeline.devices().map(|(_, device)| device.readings()).collect();
    // Two lines must bear a value out, so the first of each level is none.
    assert!((120..=132).contains(&readings[0]), "{readings:?}");
}

#[test]
fn what_stops_the_sink_stops_the_replay() {
    let events = [armed(1, "one"), [typed(2, "45 uF")].into(), armed(4, "two"), [typed(5, "30 uF")].into()];
    let mut calls = 0;
    let mut sink = |_: &ReplayOutput<'_>| {
        calls += 1;
        Err(Stop::Full)
    };
    let text = recording("", &events.concat());
    let ended = play(text.as_bytes(), &script::FrameScripts, &rules(), &mut sink).map(drop);
    assert_eq!((ended, calls), (Err(Stop::Full), 1));
}

/// The first reading of a recording finds the fault before anything is played; a second one on its own stops there too.
#[test]
fn a_line_that_cannot_be_read_ends_it() {
    let text = recording("", &armed(1, "one")) + "{\"t\":2,\"event\":\"teleport\"}\n";
    let why = validate(text.as_bytes(), &script::FrameScripts).unwrap_err();
    assert_eq!(why.line, 8);
    let ended = play(text.as_bytes(), &script::FrameScripts, &rules(), &mut |_| Ok(())).map(drop);
    assert_eq!(ended, Err(Stop::Read(why)));
    let cut = text.trim_end().trim_end_matches('}').to_owned();
    assert_eq!(validate(cut.as_bytes(), &script::FrameScripts).unwrap().count(), 1);
}
