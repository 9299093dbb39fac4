//! Proofs by the stream, as short lists of displays.
use super::*;
use alloc::vec::Vec;
use quantity::{Decimal, Flags, Sign};

/// `"0.12 ohm x20"`: the display, repeated; ten readings a second.
fn play(proof: &mut Proof, script: &[&str]) -> Vec<Progress> {
    play_paced(proof, 0.1, script)
}

/// The same where the profile states how long a conversion of the display takes.
fn play_paced(proof: &mut Proof, conversion_s: f64, script: &[&str]) -> Vec<Progress> {
    let mut at = 0_i64;
    let mut out = Vec::new();
    for step in script {
        let (display, times) = step.rsplit_once(" x").unwrap();
        let (number, unit) = display.split_once(' ').unwrap();
        let (unit, coupling) = Coupling::strip_from(unit);
        for seq in 0..times.parse::<u64>().unwrap() {
            at += 100_000;
            let state = match number {
                "OL" => State::Overload(Sign::Positive),
                _ => State::Value(Decimal::parse(number).unwrap()),
            };
            out.push(proof.push(&Reading {
                at: Instant::from_micros(at),
                seq,
                channel: 0,
                display: quantity::DisplayUnit { unit: Unit::parse(unit).unwrap(), coupling },
                state,
                flags: Flags::default(),
                accuracy: None,
                timing: quantity::Timing { conversion_s: Some(conversion_s), response_s: None },
            }));
        }
    }
    out
}

fn shown(kind: ByStream, script: &[&str]) -> Option<String> {
    shown_paced(kind, 0.1, script)
}

fn shown_paced(kind: ByStream, conversion_s: f64, script: &[&str]) -> Option<String> {
    let mut proof = Proof::new(kind).unwrap();
    play_paced(&mut proof, conversion_s, script).into_iter().find_map(|progress| match progress {
        Progress::Shown(text) => Some(text),
        Progress::ShownIfOn(text) => Some(format!("{text} (if on)")),
        _ => None,
    })
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

#[test]
fn dead_needs_live_before_and_after() {
    use ByStream::LiveDeadLive as Ldl;
    assert!(shown(Ldl, &["119.8 V ac x20", "0.1 V ac x60", "119.7 V ac x20"]).is_some());
    assert_eq!(shown(Ldl, &["0.1 V ac x60", "119.7 V ac x20"]), None, "no live source first");
    assert_eq!(shown(Ldl, &["119.8 V ac x20", "0.1 V ac x60"]), None, "tester not proved again");
    assert_eq!(shown(Ldl, &["119.8 V ac x20", "38.0 V ac x60", "119.8 V ac x20"]), None, "38 V is not dead");
    assert_eq!(
        shown(Ldl, &["119.8 V dc x20", "0.1 V dc x60", "119.7 V dc x20"]),
        None,
        "dc cannot show ac dead"
    );
    assert_eq!(shown(Ldl, &["119.8 V ac x20", "0.1 V ac x5", "119.7 V ac x20"]), None, "in passing");
}

#[test]
fn discharged_needs_dc_below_five_volts_that_stands() {
    use ByStream::Discharged as Dis;
    assert!(shown(Dis, &["0.3 V dc x60"]).is_some());
    assert_eq!(shown(Dis, &["62.0 V dc x60"]), None);
    assert_eq!(shown(Dis, &["0.0 V ac x60"]), None, "ac is blind to a charge");
    assert_eq!(shown(Dis, &["-48.0 V dc x60"]), None, "sign does not matter");
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
    assert_eq!(shown_paced(Discharged, 2.0, &["3.0 V dc x40"]), None, "two conversions");
    let in_passing = ["119.8 V ac x100", "2.0 V ac x40", "119.7 V ac x100"];
    assert!(shown_paced(Ldl, 0.1, &in_passing).is_some());
    assert_eq!(shown_paced(Ldl, 2.0, &in_passing), None, "two conversions of dead");
}

/// A charge that bleeds off: 370 V, a tenth less each tenth of a second, under 5 V after 4.1 s.
#[test]
fn what_still_falls_proves_nothing_before_its_end_is_known() {
    let display = |i: i32| std::format!("{:.1} V dc x1", 370.0 * 0.9_f64.powi(i));
    let script: Vec<String> = (0..150).map(display).collect();
    let script: Vec<&str> = script.iter().map(String::as_str).collect();
    let mut proof = Proof::new(ByStream::Discharged).unwrap();
    let all = play(&mut proof, &script);
    let at = all.iter().position(|p| matches!(p, Progress::Shown(_) | Progress::ShownIfOn(_))).unwrap();
    assert!(370.0 * 0.9_f64.powi(i32::try_from(at).unwrap()) < 5.0, "shown at reading {at}");
    let after = 370.0 * 0.9_f64.powi(i32::try_from(at).unwrap());
    assert!(matches!(all[at], Progress::ShownIfOn(_)), "at {after} V it may end where leads in the air read");
}

/// What is next to nothing is told by the whole interval: a value near that limit, which still moves, is asked about.
#[test]
fn a_value_that_may_still_end_where_open_leads_read_is_asked_about() {
    let falls = |i: i32| std::format!("{:.2} V dc x1", 0.35 + 1.2 * 0.95_f64.powi(i));
    let script: Vec<String> = (0..200).map(falls).collect();
    let script: Vec<&str> = script.iter().map(String::as_str).collect();
    let says = shown(ByStream::Discharged, &script).unwrap();
    assert!(says.ends_with("(if on)"), "{says}");
}
