//! The proof of a hold point by itself: which device has shown what. What each kind of proof takes is tested beside them.
use alloc::format;

use super::*;
use crate::model::{Line, Supply};
use crate::plan::Plan;
use crate::testing::{at, reading};

/// Leads of so many devices that are to be proved, at ten readings a second; `push` feeds one reading of each in turn.
struct Bench {
    proving: Proving,
    ms: i64,
}

impl Bench {
    fn of(hold_point: &str) -> Self {
        Self { proving: proving(hold_point).unwrap(), ms: 0 }
    }

    /// So many readings of a display from each of these devices; the device that has shown the hold point with one of them.
    fn play(&mut self, devices: &[&str], display: &str, times: usize) -> Option<(String, Proved)> {
        for _ in 0..times {
            self.ms += 100;
            for device in devices {
                let proved = self.proving.push(device, &reading(self.ms, display));
                if proved != Proved::Nothing {
                    return Some((String::from(*device), proved));
                }
            }
        }
        None
    }
}

fn job() -> Job {
    let supply = Supply { line: Line::SinglePhase, ..Supply::default() };
    let plan =
        Plan { unit_tag: "RTU-07".to_string(), component: "C1".to_string(), supply, ..Plan::default() };
    Job { number: 1, plan, rule: None }
}

fn proving(hold_point: &str) -> Option<Proving> {
    Proving::new(hold_point, &job())
}

/// As many readings as leads need that are together, or apart.
const LONG: usize = 30;

fn leads_shown_by(device: &str) -> Option<(String, Proved)> {
    let says = "leads together: 0.12 ohm; leads apart: open";
    Some((String::from(device), Proved::Shown(String::from(says))))
}

#[test]
fn only_what_a_stream_can_show_is_proved() {
    assert!(proving("locked out").is_none());
    assert!(proving("belt guard on").is_none(), "an unknown one");
    for name in ["proved dead", "discharged", "leads proved", "leads open"] {
        assert!(proving(name).is_some(), "{name}");
    }
}

#[test]
fn leads_of_one_meter_prove_nothing_of_anothers() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.play(&["old"], "0.12 ohm", LONG), None);
    assert_eq!(bench.play(&["new"], "OL ohm", LONG), None, "together on one, apart on the other");
    assert_eq!(bench.play(&["old"], "OL ohm", LONG), leads_shown_by("old"));
}

#[test]
fn channels_of_one_device_are_apart_too() {
    let mut proving = proving("leads proved").unwrap();
    let mut push = |channel, from: i64, display| {
        let all = (from..from + 30).map(|tick| Reading { channel, ..reading(100 * tick, display) });
        all.map(|reading| proving.push("logger", &reading)).find(|proved| *proved != Proved::Nothing)
    };
    assert_eq!(push(0, 0, "0.12 ohm"), None);
    assert_eq!(push(1, 30, "OL ohm"), None);
    assert!(push(0, 60, "OL ohm").is_some());
}

#[test]
fn two_devices_prove_at_the_same_time() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.play(&["left", "right"], "0.12 ohm", LONG), None);
    assert_eq!(bench.play(&["right"], "OL ohm", LONG), leads_shown_by("right"));
    assert_eq!(bench.play(&["left"], "OL ohm", LONG), leads_shown_by("left"));
}

#[test]
fn a_lost_link_costs_only_its_own_device() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.play(&["left", "right"], "0.12 ohm", LONG), None);
    assert!(!bench.proving.lose("third"), "it was not under way");
    assert!(bench.proving.lose("left"));
    assert_eq!(bench.proving.says(), "", "what it waited for is past");
    assert!(!bench.proving.lose("left"), "there is nothing left to lose");
    assert_eq!(bench.play(&["left"], "OL ohm", LONG), None, "the lost one begins anew");
    assert_eq!(bench.play(&["right"], "OL ohm", LONG), leads_shown_by("right"));
}

#[test]
fn power_or_a_no_makes_every_device_begin_anew() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.play(&["left", "right"], "0.12 ohm", LONG), None);
    bench.proving.begin_anew();
    assert_eq!(bench.play(&["left", "right"], "OL ohm", LONG), None);
}

#[test]
fn it_says_what_it_waits_for() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.proving.says(), "");
    let _ = bench.play(&["meter"], "0.12 ohm", 1);
    assert_eq!(bench.proving.says(), "clip the leads together and hold");
    let _ = bench.play(&["meter"], "0.12 ohm", LONG);
    assert_eq!(bench.proving.says(), "leads together: 0.12 ohm; now take the leads apart");
    let _ = bench.play(&["probe"], "21.5 °C", 1);
    assert_eq!(
        bench.proving.says(),
        "leads together: 0.12 ohm; now take the leads apart",
        "not of this proof"
    );
    bench.proving.begin_anew();
    assert_eq!(bench.proving.says(), "");
}

/// What the page is to offer: the source, then pair after pair.
#[test]
fn its_picture_shows_what_is_to_be_named_next_and_what_was_read() {
    let picture = |bench: &Bench| {
        let view = bench.proving.view().unwrap();
        let pairs: Vec<String> = view.pairs.iter().map(|of| format!("{} {}", of.pair, of.shown)).collect();
        (view.wants_source, view.next_pair, pairs.join(", "))
    };
    let mut bench = Bench::of("proved dead");
    assert_eq!(picture(&bench), (true, None, "L1-L2 , L1-G , L2-G ".into()));
    assert!(bench.proving.name_pair("L1-L2", at(0)).is_err(), "the source comes first");
    assert_eq!(bench.proving.name_source(" proving  unit", &job(), at(0)), Ok("proving unit".into()));
    assert_eq!(picture(&bench), (false, None, "L1-L2 , L1-G , L2-G ".into()));
    assert!(matches!(bench.play(&["meter"], "121.3 V ac", LONG), Some((_, Proved::Step(_)))));
    assert!(bench.proving.is_on_source());
    assert_eq!(picture(&bench), (false, Some("L1-L2".into()), "L1-L2 , L1-G , L2-G ".into()));
    assert_eq!(bench.proving.name_pair("", at(bench.ms)), Ok("L1-L2".into()));
    assert_eq!(picture(&bench), (false, None, "L1-L2 , L1-G , L2-G ".into()), "it is being read");
    assert!(matches!(bench.play(&["meter"], "0.8 V ac", 2 * LONG), Some((_, Proved::Step(_)))));
    assert!(!bench.proving.is_on_source());
    assert_eq!(picture(&bench), (false, Some("L1-G".into()), "L1-L2 0.8 V ac, L1-G , L2-G ".into()));
    assert_eq!(bench.proving.name_pair("", at(bench.ms)), Ok("L1-G".into()));
    let says = "L1-G reads 120.4 V ac: LIVE. Hands off, leads off";
    let volts = bench.play(&["meter"], "120.4 V ac", 1);
    assert_eq!(volts, Some(("meter".into(), Proved::Volts(says.into()))), "at the first reading");
    assert_eq!(bench.proving.volts(), Some(says));
    assert_eq!(bench.play(&["meter"], "0.8 V ac", 1), None);
    assert_eq!(bench.proving.volts(), None);
    assert!(bench.proving.lose("meter"));
    assert_eq!(picture(&bench), (true, None, "L1-L2 , L1-G , L2-G ".into()));
    assert_eq!(Bench::of("leads proved").proving.view(), None);
    assert_eq!(
        picture(&Bench::of("discharged")),
        (false, Some("1-2".into()), "1-2 , 1-case , 2-case ".into())
    );
}

#[test]
fn more_than_eight_devices_at_once_are_ignored() {
    let mut bench = Bench::of("leads proved");
    let names: Vec<String> = (1..=PROVING_MAX).map(|number| format!("meter {number}")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let all: Vec<&str> = names.iter().copied().chain(["one too many"]).collect();
    assert_eq!(bench.play(&all, "0.12 ohm", LONG), None);
    assert_eq!(bench.play(&["one too many"], "OL ohm", 5), None);
    for name in names {
        assert_eq!(bench.play(&[name], "OL ohm", 5), leads_shown_by(name));
    }
}

#[test]
fn devices_that_measure_something_else_take_no_place_from_the_meter() {
    let mut bench = Bench::of("leads proved");
    let probes: Vec<String> = (0..2 * PROVING_MAX).map(|number| format!("probe {number}")).collect();
    let probes: Vec<&str> = probes.iter().map(String::as_str).collect();
    assert_eq!(bench.play(&probes, "21.5 °C", 3), None);
    assert_eq!(bench.play(&["meter"], "0.12 ohm", LONG), None);
    assert_eq!(bench.play(&["meter"], "OL ohm", LONG), leads_shown_by("meter"));
}
