//! Proofs by the stream, as short lists of displays.
use super::*;
use alloc::vec::Vec;

use crate::model::{Line, Supply};

/// `"0.12 ohm x20"`: the display, repeated, ten readings a second; `"source X"` and `"on PAIR"` name what comes next.
struct Bench {
    proof: Proof,
    course: Course,
    conversion_s: f64,
    at: Instant,
}

impl Bench {
    fn new(kind: ByStream, pairs: Pairs) -> Self {
        let proof = Proof::new(kind).unwrap();
        Self { proof, course: Course::of(pairs), conversion_s: 0.1, at: Instant::ZERO }
    }

    /// A single-phase supply, or a part with two terminals.
    fn of(kind: ByStream) -> Self {
        let supply = Supply { line: Line::SinglePhase, ..Supply::default() };
        let pairs =
            if kind == ByStream::Discharged { Pairs::of_terminals(&[]) } else { Pairs::of_supply(&supply) };
        Self::new(kind, pairs)
    }

    fn play(&mut self, script: &[&str]) -> Vec<Progress> {
        let mut out = Vec::new();
        for step in script {
            let subject = Subject { unit_tag: "RTU-07", component: "C1" };
            if let Some(source) = step.strip_prefix("source ") {
                self.course.name_source(source, subject, self.at).unwrap();
                continue;
            }
            if let Some(pair) = step.strip_prefix("on ") {
                self.course.name_pair(pair, self.proof.read(), self.at).unwrap();
                continue;
            }
            let (display, times) = step.rsplit_once(" x").unwrap();
            for _ in 0..times.parse::<u64>().unwrap() {
                self.at = self.at + Duration::from_millis(100);
                let timing = quantity::Timing { conversion_s: Some(self.conversion_s), response_s: None };
                let reading = Reading { at: self.at, timing, ..crate::testing::reading(0, display) };
                out.push(self.proof.push(&reading, &self.course));
            }
        }
        out
    }

    fn shown(&mut self, script: &[&str]) -> Option<String> {
        self.play(script).into_iter().find_map(|progress| match progress {
            Progress::Shown(text) => Some(text),
            Progress::Asks(asks) => Some(asks.says + " (if on)"),
            _ => None,
        })
    }
}

fn shown(kind: ByStream, script: &[&str]) -> Option<String> {
    Bench::of(kind).shown(script)
}

fn shown_paced(kind: ByStream, conversion_s: f64, script: &[&str]) -> Option<String> {
    Bench { conversion_s, ..Bench::of(kind) }.shown(script)
}

#[test]
fn leads_are_proved_shorted_then_open() {
    use ByStream::LeadsShortedThenOpen as Leads;
    assert_eq!(
        shown(Leads, &["OL ohm x5", "0.12 ohm x20", "OL ohm x5"]).unwrap(),
        "leads together: 0.12 ohm; leads apart: open"
    );
    assert_eq!(shown(Leads, &["OL ohm x50"]), None, "open alone proves nothing");
    assert_eq!(shown(Leads, &["0.12 ohm x50"]), None, "short alone proves nothing");
    assert_eq!(shown(Leads, &["0.62 ohm x50", "OL ohm x9"]), None, "0.62 ohm is a bad lead");
    assert_eq!(shown(Leads, &["0.00 uF x50", "OL uF x9"]), None, "not on ohms");
}

/// A single-phase proof in which one step is another.
fn dead_but(from: &str, to: &str) -> Option<String> {
    let script = [
        "source proving unit",
        "119.8 V ac x20",
        "on L1-L2",
        "0.1 V ac x60",
        "on L1-G",
        "0.2 V ac x60",
        "on L2-G",
        "0.3 V ac x60",
        "119.7 V ac x20",
    ];
    let steps = script.map(|step| if step == from { to } else { step });
    let steps: Vec<&str> = steps.into_iter().filter(|step| !step.is_empty()).collect();
    shown(ByStream::LiveDeadLive, &steps)
}

#[test]
fn dead_needs_a_live_source_before_and_after_and_every_pair() {
    assert_eq!(
        dead_but("", "").unwrap(),
        "live source proving unit 119.8 V ac; dead: L1-L2 0.1 V ac, L1-G 0.2 V ac, L2-G 0.3 V ac; live source again 119.7 V ac (if on)"
    );
    for (from, to, why) in [
        ("source proving unit", "", "no source named"),
        ("119.8 V ac x20", "", "no live source first"),
        ("119.8 V ac x20", "119.8 V dc x20", "dc proves no ac tester"),
        ("119.8 V ac x20", "41.0 V ac x20", "a ghost"),
        ("119.8 V ac x20", "89.8 V ac x20", "below 90 V"),
        ("on L1-G", "", "a pair that was not named"),
        ("0.2 V ac x60", "", "a pair that was not read"),
        ("0.2 V ac x60", "0.2 V ac x18", "in passing"),
        ("0.2 V ac x60", "38.0 V ac x60", "38 V is not dead"),
        ("0.2 V ac x60", "3.8 V ac x60", "more than 3 % of 119.8 V"),
        ("0.2 V ac x60", "0.2 V dc x60", "another function"),
        ("119.7 V ac x20", "", "tester not proved again"),
        ("119.7 V ac x20", "90.0 V ac x20", "another source, or a tester that fails"),
        ("119.7 V ac x20", "150.0 V ac x20", "another source"),
    ] {
        assert_eq!(dead_but(from, to), None, "{why}");
    }
    assert!(dead_but("0.2 V ac x60", "3.0 V ac x60").is_some());
    assert!(dead_but("119.7 V ac x20", "101.0 V ac x20").is_some(), "a line that sags");
}

/// Of the shares of a source only the least is asked for: 5 V is never exceeded.
#[test]
fn five_volts_are_never_dead() {
    let of = |volts: &str| {
        let mut bench = Bench::of(ByStream::LiveDeadLive);
        let all = bench.play(&["source panel", "480.0 V ac x20", "on L1-L2", volts]);
        all.iter().filter(|progress| matches!(progress, Progress::Step(_))).count()
    };
    assert_eq!((of("4.0 V ac x60"), of("5.2 V ac x60")), (2, 1));
}

#[test]
fn volts_on_a_pair_are_told_at_the_first_reading_and_end_the_proof_when_they_stay() {
    let begin = ["source proving unit", "119.8 V ac x20", "on L1-L2", "0.1 V ac x60", "on L1-G"];
    for (readings, ends) in [("118.0 V ac x10", false), ("118.0 V ac x11", true), ("OL V ac x11", true)] {
        let mut bench = Bench::of(ByStream::LiveDeadLive);
        let _ = bench.play(&begin);
        let all = bench.play(&[readings]);
        assert!(matches!(&all[0], Progress::Volts(says, true) if says.contains("LIVE")), "{:?}", all[0]);
        let live = all.iter().filter(|progress| matches!(progress, Progress::Live(_))).count();
        assert_eq!(live, usize::from(ends), "{readings}");
        assert_eq!(bench.proof.is_under_way(), !ends);
    }
    let mut bench = Bench::of(ByStream::LiveDeadLive);
    let _ = bench.play(&begin);
    let all = bench.play(&["31.0 V ac x3", "0.1 V ac x60"]);
    assert!(
        matches!(all.iter().rev().find(|of| matches!(of, Progress::Step(_))), Some(Progress::Step(says)) if says.starts_with("L1-G reads 0.1 V ac")),
        "a spike"
    );
}

const TWO: [&str; 6] = ["on 1-2", "0.3 V dc x60", "on 1-case", "0.3 V dc x60", "on 2-case", "0.3 V dc x60"];

#[test]
fn discharged_needs_dc_below_five_volts_that_stands_on_every_pair() {
    let but = |readings: &str| {
        let steps: Vec<&str> =
            TWO.iter().enumerate().map(|(at, step)| if at == 3 { readings } else { step }).collect();
        shown(ByStream::Discharged, &steps)
    };
    assert_eq!(but("0.4 V dc x60").unwrap(), "1-2 0.3 V dc, 1-case 0.4 V dc, 2-case 0.3 V dc (if on)");
    for (readings, why) in [
        ("62.0 V dc x60", "charged"),
        ("0.0 V ac x60", "ac is blind to a charge"),
        ("-48.0 V dc x60", "sign does not matter"),
        ("0.3 V dc x18", "in passing"),
    ] {
        assert_eq!(but(readings), None, "{why}");
    }
}

/// Frames that repeat one conversion are one reading, here as everywhere.
#[test]
fn a_proof_counts_conversions_and_not_frames() {
    use ByStream::{Discharged, LeadsOpen, LeadsShortedThenOpen as Leads, LiveDeadLive as Ldl};
    let short = ["0.12 ohm x25", "OL ohm x30"];
    assert!(shown_paced(Leads, 0.1, &short).is_some());
    assert_eq!(shown_paced(Leads, 1.0, &short), None, "two conversions of the short");
    assert!(shown_paced(Leads, 1.0, &["0.12 ohm x60", "OL ohm x30"]).is_some());
    assert_eq!(shown_paced(Leads, 1.0, &["0.12 ohm x60", "OL ohm x8"]), None, "less than one of the open");
    assert_eq!(shown_paced(LeadsOpen, 1.0, &["OL ohm x8"]), None);
    assert!(shown_paced(LeadsOpen, 1.0, &["OL ohm x12"]).is_some());
    let twice = TWO.map(|step| if step.starts_with("on") { step } else { "3.0 V dc x40" });
    assert!(shown_paced(Discharged, 0.1, &twice).is_some());
    assert_eq!(shown_paced(Discharged, 2.0, &twice), None, "two conversions");
    let steps = |bench: &mut Bench| {
        let all = bench.play(&["source panel", "119.8 V ac x100", "on L1-L2", "2.0 V ac x40"]);
        all.iter().filter(|progress| matches!(progress, Progress::Step(_))).count()
    };
    assert_eq!(steps(&mut Bench::of(Ldl)), 2);
    assert_eq!(steps(&mut Bench { conversion_s: 2.0, ..Bench::of(Ldl) }), 1, "two conversions of dead");
}

/// A charge that bleeds off: 370 V, a tenth less each tenth of a second, under 5 V after 4.1 s.
#[test]
fn what_still_falls_proves_nothing_before_its_end_is_known() {
    let display = |i: i32| std::format!("{:.1} V dc x1", 370.0 * 0.9_f64.powi(i));
    let script: Vec<String> = (0..150).map(display).collect();
    let script: Vec<&str> = core::iter::once("on 1-2").chain(script.iter().map(String::as_str)).collect();
    let all = Bench::of(ByStream::Discharged).play(&script);
    let at = all.iter().position(|p| matches!(p, Progress::Step(_))).unwrap();
    assert!(370.0 * 0.9_f64.powi(i32::try_from(at).unwrap()) < 5.0, "read at reading {at}");
}

#[test]
fn a_pair_counts_only_from_the_time_on_at_which_it_was_named() {
    let mut bench = Bench::of(ByStream::Discharged);
    let _ = bench.play(&["0.3 V dc x60", "on 1-2"]);
    let named = bench.at;
    bench.at = named + Duration::from_millis(-1_000);
    let late = Bench::play(&mut bench, &["0.3 V dc x5"]);
    assert!(!late.iter().any(|progress| matches!(progress, Progress::Step(_))));
    bench.at = named;
    let all = bench.play(&["0.3 V dc x60"]);
    let at = all.iter().position(|progress| matches!(progress, Progress::Step(_))).unwrap();
    assert!(at >= 20, "at rest for two seconds after the naming, not after {at} readings");
}

#[test]
fn all_of_it_happens_within_ten_minutes() {
    let mut bench = Bench::of(ByStream::LiveDeadLive);
    let _ = bench.play(&["source panel", "119.8 V ac x20", "on L1-L2", "0.1 V ac x60", "0.1 V ac x5900"]);
    assert!(bench.proof.is_under_way());
    let _ = bench.play(&["0.1 V ac x100"]);
    assert!(!bench.proof.is_under_way());
    let mut bench = Bench::of(ByStream::Discharged);
    let _ = bench.play(&["on 1-2", "0.1 V dc x6100"]);
    assert!(!bench.proof.is_under_way());
}

/// A display that rises to its value by a time constant of 0.1 s: what it showed counts, not what it might have come to.
#[test]
fn the_source_is_known_by_what_the_display_showed() {
    let rises = |to: f64| -> Vec<String> {
        (1..30).map(|i| std::format!("{:.1} V ac x1", to * (1.0 - (-f64::from(i)).exp()))).collect()
    };
    let (first, again) = (rises(121.6), rises(121.4));
    let mut script = Vec::from(["source proving unit"]);
    script.extend(first.iter().map(String::as_str));
    for pair in ["on L1-L2", "on L1-G", "on L2-G"] {
        script.extend([pair, "0.4 V ac x40"]);
    }
    script.extend(again.iter().map(String::as_str));
    let says = shown(ByStream::LiveDeadLive, &script).unwrap();
    assert!(says.starts_with("live source proving unit 1"), "{says}");
}
