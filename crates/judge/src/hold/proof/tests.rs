//! Proofs by the stream, as short lists of displays.
use super::*;
use alloc::vec::Vec;
use quantity::{Decimal, Flags, Sign};

/// `"0.12 ohm x20"`: the display, repeated; ten readings a second.
fn play(proof: &mut Proof, script: &[&str]) -> Vec<Progress> {
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
                unit: Unit::parse(unit).unwrap(),
                coupling,
                state,
                flags: Flags::default(),
                accuracy: None,
                timing: quantity::Timing { conversion_s: Some(0.1), response_s: None },
            }));
        }
    }
    out
}

fn shown(kind: ByStream, script: &[&str]) -> Option<String> {
    let mut proof = Proof::new(kind).unwrap();
    play(&mut proof, script).into_iter().find_map(|progress| match progress {
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
